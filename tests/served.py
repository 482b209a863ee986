"""A server of the kit's, started as a user starts it from a folder that came by mail.

Whatever was ever run, or heeded, from the folder of a server is planted there, so that
every test of the pages also shows that nothing of it is.
"""

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat
import psutil
from nbformat.sign import NotebookNotary

#: What each planted file does: it leaves its name where the test looks.
MARK = "open({place!r} + '/' + {name!r}, 'w').close()\n"
OPEN = "c.IdentityProvider.token = ''\nc.ServerApp.token = ''\nc.OneToken.token = ''\n"
OPEN += "c.ServerApp.ip = '0.0.0.0'\nc.ServerApp.allow_origin = '*'\n"
OPEN += "c.ServerApp.allow_unauthenticated_access = True\n"
OPEN += "c.ServerApp.identity_provider_class = 'jupyter_server.auth.IdentityProvider'\n"
MODULES = ("mimetypes", "sitecustomize", "usercustomize", "numpy", "json", "matplotlib")
SETTINGS = ("jupyter_server_config", "jupyter_lab_config", "jupyter_config")
#: Seconds: one slow machine may run several of these at once.
PATIENCE = 240


@dataclass(frozen=True)
class Served:
    """A running server, where it serves, and what marks what was run unasked."""

    process: subprocess.Popen[str]
    base: str
    path: str
    token: str
    folder: Path
    marks: Path

    @property
    def address(self) -> str:
        """The address that lets a browser in."""
        return f"{self.base}{self.path}?token={self.token}"

    def page(self, name: str) -> str:
        """Return the address of one page, for whoever has been let in."""
        return f"{self.base}pages/{name}"

    def ask(self, path: str, token: str | None = "", **more: Any) -> tuple:
        """Return status, text and answer; with the token unless another is given."""
        request = urllib.request.Request(f"{self.base}{path}", **more)
        if token is not None:
            request.add_header("Authorization", f"token {token or self.token}")
        try:
            with urllib.request.urlopen(request, timeout=PATIENCE) as answer:
                return answer.status, answer.read().decode(), answer
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode(), error

    def below(self) -> list[psutil.Process]:
        """Return what the command started."""
        return psutil.Process(self.process.pid).children(recursive=True)

    def memory(self) -> int:
        """Return the bytes that the largest kernel holds."""
        held = [0]
        for process in self.below():
            # What is started for a moment may be gone by now.
            with contextlib.suppress(psutil.NoSuchProcess):
                if "ipykernel_launcher" in " ".join(process.cmdline()):
                    held.append(process.memory_info().rss)
        return max(held)

    def heard(self) -> set[str]:
        """Return the addresses at which anything of it listens."""
        found = set()
        for process in self.below():
            with contextlib.suppress(psutil.NoSuchProcess):
                found |= {
                    connection.laddr.ip
                    for connection in process.net_connections(kind="inet")
                    if connection.status == psutil.CONN_LISTEN
                }
        return found


@contextmanager
def served(command: str, home: Path) -> Iterator[Served]:
    """Start the pages or the lab from a planted folder; stop it, and all it started."""
    folder, marks, state = (home / name for name in ("mailed", "marks", "state"))
    for place in (folder, marks):
        place.mkdir()
    plant(folder, marks)
    # Even a settings file in the user's own folder does not open the pages.
    own = state / "sizing" / "config" / "jupyter_server_config.py"
    own.parent.mkdir(parents=True)
    own.write_text(OPEN, encoding="utf-8")
    names = ("JUPYTER_CONFIG_DIR", "JUPYTER_CONFIG_PATH", "IPYTHONDIR", "JUPYTER_PATH")
    around = os.environ | dict.fromkeys(names, str(folder / ".sizing" / "config"))
    around |= {"XDG_STATE_HOME": str(state), "LOCALAPPDATA": str(state)}
    around |= {"JUPYTER_TOKEN": "known", "PYTHONUNBUFFERED": "1"}
    around |= {"PYTHONSTARTUP": str(folder / "start_up.py")}
    script = Path(sys.executable).with_name("sizing")
    words = [script] if script.is_file() else [sys.executable, "-P", "-m", "sizing"]
    process = subprocess.Popen(
        [*words, command, "--no-browser", "--folder", "."],
        cwd=folder,
        env=around,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    said, below = "", []
    try:
        for line in process.stdout or ():
            said += line
            if "Ctrl-C" in line:
                break
        found = re.search(r"(http://127\.0\.0\.1:\d+/)(\S+)\?token=(\w+)", said)
        assert found, said
        made = Served(process, found[1], found[2], found[3], folder, marks)
        below = made.below()
        yield made
    finally:
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=PATIENCE)
    assert process.returncode == 0, rest
    assert "Stopped" in rest
    assert psutil.wait_procs(below, timeout=60)[1] == []
    assert list(marks.iterdir()) == []


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
    page = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(code)])
    nbformat.write(page, folder / "mailed.ipynb")
    notary = NotebookNotary(data_dir=str(folder / ".sizing" / "data"))
    notary.sign(page)
    notary.store.close()
