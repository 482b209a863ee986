"""What is wrong with where or how the lab is to start is told."""

import argparse
import json
import socket

import pytest

from sizing.app import serve
from sizing.cli import lab
from sizing.errors import SizingError


def arguments(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    lab.add_arguments(parser)
    return parser.parse_args(words)


def test_a_port_in_use_is_told_before_anything_is_written(tmp_path):
    with socket.socket() as taken:
        taken.bind((lab.HOST, 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        with pytest.raises(SizingError, match=f"Port {port} cannot be used.*--port"):
            lab.run(arguments("--port", port, "--folder", str(tmp_path / "mine")))
    assert not (tmp_path / "mine").exists()


def test_a_port_that_cannot_be_is_told():
    with pytest.raises(SizingError, match="no port 70000"):
        lab.run(arguments("--port", "70000"))


def test_a_folder_that_is_a_file_is_told(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SizingError, match="is a file"):
        lab.run(arguments("--folder", str(tmp_path / "file")))


def test_a_missing_jupyterlab_is_told_with_what_to_do(monkeypatch):
    monkeypatch.setattr(lab, "find_spec", lambda name: None)
    with pytest.raises(SizingError, match="pip install jupyterlab"):
        lab.run(arguments())


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
        lab.run(arguments("--folder", str(tmp_path / "mine"), "--no-browser"))


def test_the_settings_ask_no_other_host(tmp_path):
    lab.write_settings(tmp_path)
    place = tmp_path / "config" / "labconfig"
    overrides = json.loads((place / "default_setting_overrides.json").read_text())
    told = overrides["@jupyterlab/apputils-extension:notification"]
    assert told == {"checkForUpdates": False, "fetchNews": "false"}
    disabled = json.loads((place / "page_config.json").read_text())
    assert disabled["disabledExtensions"]["@jupyterlab/extensionmanager-extension"]
