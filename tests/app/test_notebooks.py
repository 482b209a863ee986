"""The notebooks are laid in her folder and her work is never touched."""

import json
import os
import re
from datetime import date
from pathlib import Path

import nbformat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.notebooks import (
    lay_notebooks,
    notebook_files,
)
from sizing.cautions import cautions
from sizing.errors import SizingError

DAY = date(2031, 5, 6)
PAGE = "adviser.ipynb"


def notebook(words: str) -> bytes:
    cells = [nbformat.v4.new_markdown_cell(words, id="one")]
    return nbformat.writes(nbformat.v4.new_notebook(cells=cells)).encode()


OLD, NEW, HERS = notebook("old"), notebook("new"), notebook("hers")


def lay(folder: Path, content: bytes) -> dict[str, str]:
    laid = lay_notebooks(
        folder, state=folder / ".state", notebooks={"a.ipynb": content}, today=DAY
    )
    return laid.iloc[0].to_dict()


def test_a_missing_notebook_is_laid_and_an_untouched_one_renewed(tmp_path):
    folder = tmp_path / "deep" / "er"
    outcomes = [lay(folder, content)["outcome"] for content in (OLD, OLD, NEW)]
    assert outcomes == ["new", "same", "renewed"]
    assert (folder / "a.ipynb").read_bytes() == NEW


def test_her_notebook_is_kept_and_a_newer_one_laid_beside(tmp_path):
    lay(tmp_path, OLD)
    (tmp_path / "a.ipynb").write_bytes(HERS)
    assert lay(tmp_path, OLD)["outcome"] == "kept"
    assert sorted(p.name for p in tmp_path.glob("*.ipynb")) == ["a.ipynb"]
    row = lay(tmp_path, NEW)
    assert (row["outcome"], row["laid_as"]) == ("beside", "a (new 2031-05-06).ipynb")
    assert (tmp_path / "a.ipynb").read_bytes() == HERS
    assert (tmp_path / row["laid_as"]).read_bytes() == NEW


def test_a_file_of_hers_under_the_new_name_is_kept_too(tmp_path):
    (tmp_path / "a.ipynb").write_bytes(HERS)
    (tmp_path / "a (new 2031-05-06).ipynb").write_bytes(OLD)
    assert lay(tmp_path, NEW)["laid_as"] == "a (new 2031-05-06, 2).ipynb"
    assert (tmp_path / "a (new 2031-05-06).ipynb").read_bytes() == OLD


def test_a_spoilt_list_of_what_was_laid_makes_every_file_hers(tmp_path):
    lay(tmp_path, OLD)
    (record,) = (tmp_path / ".state" / "laid").iterdir()
    record.write_text("spoilt", encoding="utf-8")
    assert lay(tmp_path, NEW)["outcome"] == "beside"
    assert (tmp_path / "a.ipynb").read_bytes() == OLD


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


def spoilt_in_each_way(content: bytes) -> dict[str, bytes]:
    page = json.loads(content)
    first = next(c for c in page["cells"] if c["cell_type"] == "code")
    others = [cell for cell in page["cells"] if cell is not first]
    text = {k: v for k, v in first.items() if k not in ("outputs", "execution_count")}
    as_text = page | {"cells": [*others, text | {"cell_type": "markdown"}]}
    return {
        "no JSON": content[: len(content) // 2],
        "empty": b"",
        "no notebook": b"[]",
        "a form turned into text": json.dumps(as_text).encode(),
        "a form missing": json.dumps(page | {"cells": others}).encode(),
    }


@pytest.mark.parametrize(
    "how", spoilt_in_each_way(OWN := notebook_files()[PAGE].read_bytes())
)
def test_a_damaged_page_is_new_and_the_old_one_kept_beside_it(how, tmp_path):
    folder, state = tmp_path / "mine", tmp_path / "state"
    lay_notebooks(folder, state=state)
    spoilt = spoilt_in_each_way(OWN)[how]
    for count, said in enumerate(("", ", 2"), start=1):
        (folder / PAGE).write_bytes(spoilt)
        laid = lay_notebooks(folder, state=state, today=DAY).set_index("name")
        aside = f"adviser (old 2031-05-06{said}).ipynb"
        assert tuple(laid.loc[PAGE, ["outcome", "laid_as"]]) == ("mended", aside)
        assert (folder / PAGE).read_bytes() == OWN
        assert (folder / aside).read_bytes() == spoilt, count
    assert set(laid.drop(PAGE)["outcome"]) == {"same"}


def test_a_page_whose_cells_she_changed_and_added_to_is_not_damaged(tmp_path):
    folder, state = tmp_path / "mine", tmp_path / "state"
    lay_notebooks(folder, state=state)
    page = json.loads(OWN)
    page["cells"][-1]["source"] = "my own"
    page["cells"].append(nbformat.v4.new_markdown_cell("more of my own"))
    (folder / PAGE).write_text(json.dumps(page), encoding="utf-8")
    laid = lay_notebooks(folder, state=state).set_index("name")
    assert laid.loc[PAGE, "outcome"] == "kept"


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_nothing_is_written_through_a_link_that_came_with_the_folder(tmp_path):
    hers, planned = tmp_path / "hers.txt", tmp_path / "not there"
    hers.write_text("hers", encoding="utf-8")
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / PAGE).symlink_to(hers)
    (folder / "study.ipynb").symlink_to(planned)
    laid = lay_notebooks(folder, state=tmp_path / "state").set_index("name")
    assert set(laid.loc[[PAGE, "study.ipynb"], "outcome"]) == {"beside"}
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
