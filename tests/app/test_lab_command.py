"""The lab starts, keeps to this machine, and stops; mistakes are told."""

import argparse
import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import psutil
import pytest

from sizing.app import serve
from sizing.cli import lab
from sizing.errors import SizingError


def arguments(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    lab.add_arguments(parser)
    return parser.parse_args(words)


@pytest.fixture
def running(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "sizing", "lab", "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=tmp_path,
        env=os.environ
        | {
            "JUPYTER_CONFIG_DIR": "elsewhere",
            "XDG_STATE_HOME": str(tmp_path / "state"),
            "LOCALAPPDATA": str(tmp_path / "state"),
        },
    )
    said = ""
    for line in process.stdout:
        said += line
        if "Ctrl-C" in line:
            break
    yield process, said
    if process.poll() is None:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)


def ask(address: str, token: str | None = None) -> tuple[int, str]:
    headers = {"Authorization": f"token {token}"} if token else {}
    try:
        with urllib.request.urlopen(
            urllib.request.Request(address, headers=headers), timeout=30
        ) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, ""


def test_the_lab_serves_this_machine_alone_and_stops_whole(running, tmp_path):
    process, said = running
    found = re.search(r"(http://127\.0\.0\.1:(\d+)/)(\S+)\?token=(\w+)", said)
    assert found, said
    base, port, path, token = found.groups()
    assert path == "lab"
    assert (tmp_path / "my-notebooks" / "adviser.ipynb").is_file()
    assert not (tmp_path / "elsewhere").exists()
    mine = tmp_path / "my-notebooks"
    assert {place.suffix for place in mine.iterdir()} == {".ipynb"}

    assert ask(f"{base}api/contents")[0] == 403
    status, text = ask(f"{base}api/contents", token)
    names = {entry["name"] for entry in json.loads(text)["content"]}
    assert status == 200
    assert {"study.ipynb", "adviser.ipynb", "purchaser.ipynb"} <= names

    _, page = ask(f"{base}lab", token)
    settings = json.loads(
        re.search(r'jupyter-config-data"[^>]*>\s*({.*?})\s*<', page)[1]
    )
    off = settings["disabledExtensions"]
    assert "@jupyterlab/apputils-extension:announcements" in off
    assert settings["news"] == {"disabled": True}

    below = psutil.Process(process.pid).children(recursive=True)
    heard = []
    for child in below:
        # A helper that JupyterLab starts for a moment may be gone by now.
        with contextlib.suppress(psutil.NoSuchProcess):
            heard += [
                connection.laddr
                for connection in child.net_connections(kind="inet")
                if connection.status == psutil.CONN_LISTEN
            ]
    assert str(port) in {str(address.port) for address in heard}
    assert {address.ip for address in heard} == {"127.0.0.1"}

    process.send_signal(signal.SIGINT)
    rest, _ = process.communicate(timeout=60)
    assert process.returncode == 0, rest
    assert "Stopped" in rest
    _, alive = psutil.wait_procs(below, timeout=10)
    assert alive == []


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
