"""A folder of notebooks that came by mail: the lab runs nothing of it."""

import json
import os
import re
import sys

import pytest

from sizing.files.places import KEEPS, TOKEN, safe_environment, state_folder
from tests.served import Served, served

websocket = pytest.importorskip("websocket")

#: Runs in a page's kernel: the names a planted module would have, and what is said.
ASKED = """
import json, mimetypes, numpy, os, sys, matplotlib, sizing
print("TOLD", json.dumps({
    "path": [p for p in sys.path if os.path.realpath(p or ".") == os.getcwd()],
    "sizing": sizing.__file__, "dpi": matplotlib.rcParams["figure.dpi"],
    "token": os.environ.get("SIZING_TOKEN"), "python": os.environ.get("PYTHONPATH"),
}))
"""


def run_in_page(lab: Served, name: str, code: str) -> str:
    """Open a page as the browser does, run code in its kernel, return its words."""
    wanted = {"path": name, "name": name, "type": "notebook"}
    body = json.dumps(wanted | {"kernel": {"name": "python3"}}).encode()
    _, session, _ = lab.ask("api/sessions", data=body, method="POST")
    kernel = json.loads(session)["kernel"]["id"]
    where = lab.base.replace("http", "ws") + f"api/kernels/{kernel}/channels"
    line = websocket.create_connection(
        f"{where}?session_id=x", header=[f"Authorization: token {lab.token}"]
    )
    header = {"msg_id": "m", "msg_type": "execute_request", "session": "x"}
    header |= {"username": "", "version": "5.3"}
    content = {"code": code, "silent": False, "stop_on_error": True}
    message = {"header": header, "parent_header": {}, "metadata": {}}
    line.send(json.dumps(message | {"content": content, "channel": "shell"}))
    said = ""
    while True:
        told = json.loads(line.recv())
        if told["parent_header"].get("msg_id") != "m":
            continue
        said += told["content"].get("text", "")
        if told["msg_type"] == "error":
            said += "\n".join(told["content"]["traceback"])
        if told["content"].get("execution_state") == "idle":
            line.close()
            return said


def test_the_lab_serves_this_machine_alone_and_runs_nothing_of_its_folder(tmp_path):
    """Asked last: that what it started ends with it, and that nothing planted ran."""
    with served("lab", tmp_path) as lab:
        assert lab.path == "lab"
        for token in (None, "known"):
            assert lab.ask("api/contents", token)[0] == 403
            assert lab.ask("api/kernels", token)[0] == 403
        status, text, _ = lab.ask("api/contents")
        names = {entry["name"] for entry in json.loads(text)["content"]}
        assert status == 200
        assert {"study.ipynb", "adviser.ipynb", "purchaser.ipynb"} <= names
        _, text, _ = lab.ask("api/contents/mailed.ipynb?content=1")
        cells = json.loads(text)["content"]["cells"]
        assert [cell["metadata"].get("trusted", False) for cell in cells] == [False]
        assert lab.ask("api/contents/.sizing")[0] == 404
        assert lab.ask("api/terminals")[0] == 404

        _, page, _ = lab.ask("lab")
        told = re.search(r'jupyter-config-data"[^>]*>\s*({.*?})\s*<', page)[1]
        settings = json.loads(told)
        off = settings["disabledExtensions"]
        assert "@jupyterlab/apputils-extension:announcements" in off
        assert settings["news"] == {"disabled": True}
        assert lab.heard() == {"127.0.0.1"}

        said = run_in_page(lab, "adviser.ipynb", ASKED)
        assert "TOLD" in said, said
        told = json.loads(said.split("TOLD", 1)[1])
        assert told["path"] == []
        assert "mailed" not in told["sizing"]
        assert told["dpi"] != 33
        assert told["token"] is None and told["python"] is None


@pytest.mark.skipif(os.name != "posix", reason="other systems have other rights")
def test_the_users_own_folder_is_opened_by_nobody_else(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "deep" / "er"))
    folder = state_folder()
    assert folder == tmp_path / "deep" / "er" / "sizing"
    assert folder.stat().st_mode & 0o777 == 0o700
    folder.chmod(0o755)
    assert state_folder().stat().st_mode & 0o777 == 0o700
    monkeypatch.setenv("XDG_STATE_HOME", "here")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert state_folder() == tmp_path / "home" / ".local" / "state" / "sizing"
    monkeypatch.setattr(sys, "platform", "darwin")
    library = tmp_path / "home" / "Library" / "Application Support"
    assert state_folder() == library / "sizing"


def test_what_names_code_or_settings_is_not_handed_on(tmp_path, monkeypatch):
    named = ("PYTHONPATH", "PYTHONSTARTUP", "PYTHONHOME", "PYTHONINSPECT")
    named += ("JUPYTER_CONFIG_PATH", "JUPYTER_TOKEN", "IPYTHON_X", "MATPLOTLIBRC")
    for name in named:
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setenv("LANG", "xx")
    made = safe_environment(tmp_path / "state", "secret")
    assert not {name for name in named if made.get(name) == str(tmp_path)}
    assert made["PYTHONSAFEPATH"] == "1" and made["LANG"] == "xx"
    assert made[KEEPS] == str(tmp_path / "state") and made[TOKEN] == "secret"
