"""The notebooks are laid in her folder and her work is never touched."""

import json
import os
import re
from html import unescape
from pathlib import Path

import nbformat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app import show
from sizing.app.serve import notebook_files
from sizing.cli.lab import lay_notebooks
from sizing.errors import SizingError
from sizing.resources import cautions

PAGE = "adviser.ipynb"


def notebook(words: str) -> bytes:
    cells = [nbformat.v4.new_markdown_cell(words, id="one")]
    return nbformat.writes(nbformat.v4.new_notebook(cells=cells)).encode()


OLD, NEW, HERS = notebook("old"), notebook("new"), notebook("hers")


def lay(folder: Path, content: bytes) -> dict[str, str]:
    return lay_notebooks(
        folder, state=folder / ".state", notebooks={"a.ipynb": content}
    )


def laid(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.ipynb")}


def test_a_missing_notebook_is_laid_and_an_untouched_one_renewed(tmp_path):
    folder = tmp_path / "deep" / "er"
    for content in (OLD, OLD, NEW):
        assert lay(folder, content) == {}
        assert laid(folder) == {"a.ipynb": content}


def test_her_notebook_is_kept_and_a_newer_one_laid_beside(tmp_path):
    lay(tmp_path, OLD)
    (tmp_path / "a.ipynb").write_bytes(HERS)
    assert lay(tmp_path, OLD) == {} and laid(tmp_path) == {"a.ipynb": HERS}
    beside = lay(tmp_path, NEW)["a.ipynb"]
    assert laid(tmp_path) == {"a.ipynb": HERS, beside: NEW}
    (tmp_path / beside).write_bytes(OLD)
    assert lay(tmp_path, NEW) == {}
    assert laid(tmp_path) == {"a.ipynb": HERS, beside: OLD}


def test_a_spoilt_list_of_what_was_laid_makes_every_file_hers(tmp_path):
    lay(tmp_path, OLD)
    (record,) = (tmp_path / ".state" / "laid").glob("*/*")
    record.write_text("spoilt", encoding="utf-8")
    beside = lay(tmp_path, NEW)["a.ipynb"]
    (tmp_path / beside).write_bytes(HERS)
    record.unlink()
    assert lay(tmp_path, NEW) == {"a.ipynb": beside}
    assert laid(tmp_path) == {"a.ipynb": OLD, beside: HERS}


@settings(max_examples=25)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(["kit", "she"]), st.sampled_from("uvw")), max_size=6
    )
)
def test_whatever_happens_what_she_wrote_is_still_there(steps, tmp_path_factory):
    folder = tmp_path_factory.mktemp("folder")
    wrote = None
    for who, words in steps:
        if who == "kit":
            lay(folder, notebook(words))
        else:
            wrote = notebook(f"hers {words}")
            (folder / "a.ipynb").write_bytes(wrote)
    if wrote is not None:
        assert (folder / "a.ipynb").read_bytes() == wrote


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere"
)
def test_a_folder_that_cannot_be_written_to_is_told(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(SizingError, match="cannot be written to"):
        lay(tmp_path / "mine", OLD)


def test_a_folder_below_a_file_is_told(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SizingError, match="--folder"):
        lay(tmp_path / "file" / "mine", OLD)


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_nothing_is_written_through_a_link_that_came_with_the_folder(tmp_path):
    hers, planned = tmp_path / "hers.txt", tmp_path / "not there"
    hers.write_text("hers", encoding="utf-8")
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / PAGE).symlink_to(hers)
    (folder / "study.ipynb").symlink_to(planned)
    beside = lay_notebooks(folder, state=tmp_path / "state")
    assert set(beside) == {PAGE, "study.ipynb"}
    assert hers.read_text(encoding="utf-8") == "hers"
    assert not planned.exists()


@pytest.mark.parametrize("name", notebook_files())
def test_a_notebook_is_small_folds_its_code_and_tells_the_cautions(name):
    text = notebook_files()[name].read_text(encoding="utf-8")
    assert len(text) < 200 * 1024
    cells = json.loads(text)["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert all(cell["metadata"]["jupyter"]["source_hidden"] for cell in code)
    words = ["".join(cell["source"]) for cell in cells]
    assert words[0].startswith("# ")
    # A cell may get them from its form: the browser tests read them on the page.
    everything = "\n".join(words)
    assert re.search(r"\bcautions\b", everything) or cautions()[0] in everything
    assert not any(cell["outputs"] for cell in code)


def test_every_door_leads_to_a_notebook():
    text = notebook_files()["start.ipynb"].read_text(encoding="utf-8")
    linked = re.findall(r"\((\w+\.ipynb)\)", text)
    assert set(linked) | {"start.ipynb"} == set(notebook_files())


def test_the_first_page_needs_no_kernel():
    page = nbformat.reads(notebook_files()["start.ipynb"].read_text("utf-8"), 4)
    cells = [cell.source for cell in page.cells if cell.cell_type == "code"]
    called = [cell.split("\n")[-1] for cell in cells]
    shown = [getattr(show, one.removesuffix("()"))().data for one in called]
    assert len(shown) >= 2 and any(cautions()[0] in one for one in map(unescape, shown))
