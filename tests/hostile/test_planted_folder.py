"""A folder of notebooks that came by mail: opening it runs nothing of its own."""

import json
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import nbformat
import pytest
from nbformat.sign import NotebookNotary

from sizing.files.state import KEEPS, TOKEN, safe_environment, state_folder

websocket = pytest.importorskip("websocket")

#: What each planted file does: it leaves its name where the test looks.
MARK = "open({place!r} + '/' + {name!r}, 'w').close()\n"
OPEN = "c.IdentityProvider.token = ''\nc.ServerApp.token = ''\nc.OneToken.token = ''\n"
OPEN += "c.ServerApp.ip = '0.0.0.0'\nc.ServerApp.allow_origin = '*'\n"
OPEN += "c.ServerApp.allow_unauthenticated_access = True\n"
OPEN += "c.ServerApp.identity_provider_class = 'jupyter_server.auth.IdentityProvider'\n"
MODULES = ("mimetypes", "sitecustomize", "usercustomize", "numpy", "json", "matplotlib")
SETTINGS = ("jupyter_server_config", "jupyter_lab_config", "jupyter_config")
#: Runs in a page's kernel: the names a planted module would have, and what is said.
ASKED = """
import json, mimetypes, numpy, os, sys, matplotlib, sizing
print("TOLD", json.dumps({
    "path": [p for p in sys.path if os.path.realpath(p or ".") == os.getcwd()],
    "sizing": sizing.__file__, "dpi": matplotlib.rcParams["figure.dpi"],
    "token": os.environ.get("SIZING_TOKEN"), "python": os.environ.get("PYTHONPATH"),
}))
"""


def plant(folder: Path, marks: Path) -> None:
    """Lay everything that was ever run, or heeded, from a folder of notebooks."""

    def lay(name: str, more: str = "") -> None:
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        said = MARK.format(place=str(marks), name=name.replace("/", "_"))
        place.write_text(said + more, encoding="utf-8")

    for name in MODULES:
        lay(f"{name}.py")
    lay("sizing/__init__.py")
    lay(".sizing/ipython/profile_default/startup/a.py")
    lay("profile_default/startup/b.py")
    for corner in ("", ".sizing/", ".sizing/config/", ".sizing/ipython/"):
        for name in SETTINGS:
            lay(f"{corner}{name}.py", OPEN)
        lay(f"{corner}ipython_config.py")
        lay(f"{corner}ipython_kernel_config.py")
    lay("start_up.py")
    kernel = {"argv": ["touch", str(marks / "kernel")], "display_name": "x"}
    place = folder / ".sizing" / "data" / "kernels" / "python3" / "kernel.json"
    place.parent.mkdir(parents=True)
    place.write_text(json.dumps(kernel | {"language": "python"}), encoding="utf-8")
    (folder / "matplotlibrc").write_text("figure.dpi: 33\n", encoding="utf-8")
    code = MARK.format(place=str(marks), name="notebook")
    page = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(code)],
    )
    nbformat.write(page, folder / "mailed.ipynb")
    notary = NotebookNotary(data_dir=str(folder / ".sizing" / "data"))
    notary.sign(page)
    notary.store.close()


class Asked:
    """A lab on the planted folder, and what a page may ask of it."""

    def __init__(self, base: str, token: str) -> None:
        self.base, self.token = base, token

    def get(self, what: str, token: str | None = None, **more: object) -> tuple:
        request = urllib.request.Request(f"{self.base}{what}", **more)
        if token:
            request.add_header("Authorization", f"token {token}")
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return answer.status, json.loads(answer.read() or b"{}")
        except urllib.error.HTTPError as error:
            return error.code, None

    def run(self, name: str, code: str) -> str:
        """Open a page as the browser does, run code in its kernel, return its words."""
        wanted = {"path": name, "name": name, "type": "notebook"}
        body = json.dumps(wanted | {"kernel": {"name": "python3"}}).encode()
        _, session = self.get("api/sessions", self.token, data=body, method="POST")
        kernel = session["kernel"]["id"]
        where = self.base.replace("http", "ws") + f"api/kernels/{kernel}/channels"
        line = websocket.create_connection(
            f"{where}?session_id=x", header=[f"Authorization: token {self.token}"]
        )
        header = {"msg_id": "m", "msg_type": "execute_request", "session": "x"}
        header |= {"username": "", "version": "5.3"}
        content = {"code": code, "silent": False, "stop_on_error": True}
        line.send(
            json.dumps(
                {
                    "header": header,
                    "parent_header": {},
                    "metadata": {},
                    "content": content,
                    "channel": "shell",
                }
            )
        )
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


@pytest.fixture
def served(tmp_path, request):
    folder, marks, state = (tmp_path / name for name in ("mailed", "marks", "state"))
    for place in (folder, marks):
        place.mkdir()
    plant(folder, marks)
    # Even a settings file in the user's own folder does not open the pages.
    own = state / "sizing" / "config" / "jupyter_server_config.py"
    own.parent.mkdir(parents=True)
    own.write_text(OPEN, encoding="utf-8")
    named = dict.fromkeys(
        ("JUPYTER_CONFIG_DIR", "JUPYTER_CONFIG_PATH", "IPYTHONDIR", "JUPYTER_PATH"),
        str(folder / ".sizing" / "config"),
    )
    environment = os.environ | named
    environment |= {"XDG_STATE_HOME": str(state), "LOCALAPPDATA": str(state)}
    environment |= {"HOME": str(tmp_path), "JUPYTER_TOKEN": "known"}
    environment |= {"PYTHONSTARTUP": str(folder / "start_up.py")}
    script = Path(sys.executable).with_name("sizing")
    words = [script] if script.is_file() else [sys.executable, "-P", "-m", "sizing"]
    process = subprocess.Popen(
        [*words, request.param, "--no-browser", "--folder", "."],
        cwd=folder,
        env=environment | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    said = ""
    for line in process.stdout:
        said += line
        if "Ctrl-C" in line:
            break
    found = re.search(r"(http://127\.0\.0\.1:\d+/)\S+\?token=(\w+)", said)
    try:
        assert found, said
        yield Asked(*found.groups()), marks
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)


@pytest.mark.parametrize("served", ["pages"], indirect=True)
def test_pages_that_save_into_a_folder_that_came_by_mail_run_nothing_of_it(served):
    asked, marks = served
    for token in (None, "known"):
        assert asked.get("pages/adviser.ipynb", token)[0] == 403
    request = urllib.request.Request(f"{asked.base}pages/adviser.ipynb")
    request.add_header("Authorization", f"token {asked.token}")
    with urllib.request.urlopen(request, timeout=240) as answer:
        page = answer.read().decode()
    assert "could not be made" not in page and "sizing-form" in page
    assert asked.get("pages/mailed.ipynb", asked.token)[0] == 404
    assert list(marks.iterdir()) == []


@pytest.mark.parametrize("served", ["lab"], indirect=True)
def test_a_folder_that_came_by_mail_runs_nothing_and_opens_nothing(served):
    asked, marks = served
    for token in (None, "known"):
        assert asked.get("api/contents", token)[0] == 403
        assert asked.get("api/kernels", token)[0] == 403
    status, page = asked.get("api/contents/mailed.ipynb?content=1", asked.token)
    assert status == 200
    cells = page["content"]["cells"]
    assert [cell["metadata"].get("trusted", False) for cell in cells] == [False]
    assert asked.get("api/contents/.sizing", asked.token)[0] == 404
    assert asked.get("api/terminals", asked.token)[0] == 404

    said = asked.run("adviser.ipynb", ASKED)
    assert "TOLD" in said, said
    told = json.loads(said.split("TOLD", 1)[1])
    assert told["path"] == []
    assert "mailed" not in told["sizing"]
    assert told["dpi"] != 33
    assert told["token"] is None and told["python"] is None
    assert list(marks.iterdir()) == []


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
