"""The lab begins where it can, and never touches what she wrote in her notebooks."""

import argparse
import json
import os
import re
import socket
from html import unescape

import nbformat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app import serve, show
from sizing.app.serve import notebook_files
from sizing.cli import lab, pages
from sizing.errors import SizingError
from sizing.resources import cautions


def notebook(words):
    cells = [nbformat.v4.new_markdown_cell(words, id="one")]
    return nbformat.writes(nbformat.v4.new_notebook(cells=cells)).encode()


OLD, NEW, HERS = notebook("old"), notebook("new"), notebook("hers")


def lay(folder, content):
    given = {"a.ipynb": content}
    return lab.lay_notebooks(folder, state=folder / ".state", notebooks=given)


def laid(folder):
    return {path.name: path.read_bytes() for path in folder.glob("*.ipynb")}


def test_a_notebook_is_laid_or_renewed_and_hers_kept_with_a_newer_one_beside(tmp_path):
    folder = tmp_path / "deep" / "er"
    for content in (OLD, OLD, NEW, OLD):
        assert lay(folder, content) == {} and laid(folder) == {"a.ipynb": content}
    (folder / "a.ipynb").write_bytes(HERS)
    assert lay(folder, OLD) == {} and laid(folder) == {"a.ipynb": HERS}
    beside = lay(folder, NEW)["a.ipynb"]
    assert laid(folder) == {"a.ipynb": HERS, beside: NEW}
    (folder / beside).write_bytes(OLD)
    assert lay(folder, NEW) == {}
    assert laid(folder) == {"a.ipynb": HERS, beside: OLD}


def test_a_spoilt_list_of_what_was_laid_makes_every_file_hers(tmp_path):
    lay(tmp_path, OLD)
    (record,) = (tmp_path / ".state" / "laid").glob("*/*")
    record.write_text("spoilt", encoding="utf-8")
    beside = lay(tmp_path, NEW)["a.ipynb"]
    (tmp_path / beside).write_bytes(HERS)
    record.unlink()
    assert lay(tmp_path, NEW) == {"a.ipynb": beside}
    assert laid(tmp_path) == {"a.ipynb": OLD, beside: HERS}


STEP = st.tuples(st.sampled_from(["kit", "she"]), st.sampled_from("uvw"))


@settings(max_examples=25)
@given(steps=st.lists(STEP, max_size=6))
def test_whatever_happens_what_she_wrote_is_still_there(steps, tmp_path_factory):
    folder, wrote = tmp_path_factory.mktemp("folder"), None
    for who, words in steps:
        if who == "kit":
            lay(folder, notebook(words))
        else:
            wrote = notebook(f"hers {words}")
            (folder / "a.ipynb").write_bytes(wrote)
    if wrote is not None:
        assert (folder / "a.ipynb").read_bytes() == wrote


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_nothing_is_written_through_a_link_that_came_with_the_folder(tmp_path):
    hers, planned = tmp_path / "hers.txt", tmp_path / "not there"
    hers.write_text("hers", encoding="utf-8")
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "adviser.ipynb").symlink_to(hers)
    (folder / "study.ipynb").symlink_to(planned)
    beside = lab.lay_notebooks(folder, state=tmp_path / "state")
    assert set(beside) == {"adviser.ipynb", "study.ipynb"}
    assert hers.read_text(encoding="utf-8") == "hers"
    assert not planned.exists()


@pytest.mark.parametrize("name", notebook_files())
def test_a_notebook_is_small_folds_its_code_and_tells_the_cautions(name):
    text = notebook_files()[name].read_text(encoding="utf-8")
    assert len(text) < 200 * 1024
    cells = json.loads(text)["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert all(cell["metadata"]["jupyter"]["source_hidden"] for cell in code)
    assert not any(cell["outputs"] for cell in code)
    words = ["".join(cell["source"]) for cell in cells]
    assert words[0].startswith("# ")
    # A cell may get them from its form: the browser tests read them on the page.
    everything = "\n".join(words)
    assert re.search(r"\bcautions\b", everything) or cautions()[0] in everything


def test_the_first_page_needs_no_kernel_and_each_of_its_doors_leads_somewhere():
    text = notebook_files()["start.ipynb"].read_text("utf-8")
    linked = re.findall(r"\((\w+\.ipynb)\)", text)
    assert set(linked) | {"start.ipynb"} == set(notebook_files())
    cells = nbformat.reads(text, 4).cells
    called = [c.source.split("\n")[-1] for c in cells if c.cell_type == "code"]
    shown = [getattr(show, one.removesuffix("()"))().data for one in called]
    assert len(shown) >= 2 and any(cautions()[0] in one for one in map(unescape, shown))


def run(command, *words):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(words))


@pytest.mark.parametrize("command", [lab, pages])
@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--port", "70000", "no port 70000"),
        ("--folder", "file", "is a file.*--folder"),
        ("--folder", "file/mine", "--folder"),
        ("--folder", "locked/mine", "cannot be written to"),
    ],
)
def test_a_place_that_cannot_be_is_told(
    command, option, value, told, tmp_path, monkeypatch
):
    if "locked" in value and (not hasattr(os, "geteuid") or os.geteuid() == 0):
        pytest.skip("root may write anywhere")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "locked").mkdir(mode=0o500)
    with pytest.raises(SizingError, match=f"(?s){told}"):
        run(command, option, value)


def test_a_port_in_use_is_told_before_anything_is_written(tmp_path):
    with socket.socket() as taken:
        taken.bind((lab.HOST, 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        with pytest.raises(SizingError, match=f"Port {port} cannot be used.*--port"):
            run(lab, "--port", port, "--folder", str(tmp_path / "mine"))
    assert not (tmp_path / "mine").exists()


def test_a_lab_that_is_missing_or_stops_by_itself_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "state"))
    words = "import sys; print('no such trait'); sys.exit(3)"
    monkeypatch.setattr(lab, "_options", lambda folder, port: [])
    start = serve._start
    monkeypatch.setattr(serve, "_start", lambda _, *given: start(["-c", words], *given))
    # With its last words.
    with pytest.raises(SizingError, match="no such trait"):
        run(lab, "--folder", str(tmp_path / "mine"), "--no-browser")
    monkeypatch.setattr(lab, "find_spec", lambda name: None)
    with pytest.raises(SizingError, match="pip install jupyterlab"):
        run(lab)


def test_the_settings_ask_no_other_host(tmp_path):
    lab.write_settings(tmp_path)
    place = tmp_path / "config" / "labconfig"
    overrides = json.loads((place / "default_setting_overrides.json").read_text())
    told = overrides["@jupyterlab/apputils-extension:notification"]
    assert told == {"checkForUpdates": False, "fetchNews": "false"}
    disabled = json.loads((place / "page_config.json").read_text())
    assert disabled["disabledExtensions"]["@jupyterlab/extensionmanager-extension"]
