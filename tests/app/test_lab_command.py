"""What is wrong with where or how the lab is to start is told."""

import argparse
import json
import socket

import pytest

from sizing.app import serve
from sizing.cli import lab, pages
from sizing.errors import SizingError


def run(command, *words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(words))


def test_a_port_in_use_is_told_before_anything_is_written(tmp_path):
    with socket.socket() as taken:
        taken.bind((lab.HOST, 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        with pytest.raises(SizingError, match=f"Port {port} cannot be used.*--port"):
            run(lab, "--port", port, "--folder", str(tmp_path / "mine"))
    assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize("command", [lab, pages])
@pytest.mark.parametrize(
    ("option", "value", "told"),
    [("--port", "70000", "no port 70000"), ("--folder", "file", "is a file.*--folder")],
)
def test_a_place_that_cannot_be_is_told(
    command, option, value, told, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SizingError, match=f"(?s){told}"):
        run(command, option, value)


def test_a_missing_jupyterlab_is_told_with_what_to_do(monkeypatch):
    monkeypatch.setattr(lab, "find_spec", lambda name: None)
    with pytest.raises(SizingError, match="pip install jupyterlab"):
        run(lab)


def test_pages_that_stop_by_themselves_are_told_with_their_last_words(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "state"))
    words = "import sys; print('no such trait'); sys.exit(3)"
    monkeypatch.setattr(lab, "_options", lambda folder, port: [])
    start = serve._start
    monkeypatch.setattr(serve, "_start", lambda _, *given: start(["-c", words], *given))
    with pytest.raises(SizingError, match="no such trait"):
        run(lab, "--folder", str(tmp_path / "mine"), "--no-browser")


def test_the_settings_ask_no_other_host(tmp_path):
    lab.write_settings(tmp_path)
    place = tmp_path / "config" / "labconfig"
    overrides = json.loads((place / "default_setting_overrides.json").read_text())
    told = overrides["@jupyterlab/apputils-extension:notification"]
    assert told == {"checkForUpdates": False, "fetchNews": "false"}
    disabled = json.loads((place / "page_config.json").read_text())
    assert disabled["disabledExtensions"]["@jupyterlab/extensionmanager-extension"]
