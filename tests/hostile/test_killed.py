"""Killed at any point, or twice at once: what is written is whole, nothing is left."""

import json
import os
import subprocess
import sys
import threading

import pytest

from sizing.files.folders import _exchange, _part, clear_leftovers, write_folder

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")

#: Runs a write in a child that kills itself at its n-th call to the system, for
#: every n, and says after each what was found and what a next run left.
SCRIPT = """
import json, os, shutil, signal, sys
from pathlib import Path
from sizing.files import folders as files

os.fsync = lambda number: None  # for a lost machine, not a killed run
home, start, swap = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
out = home / "out"
new = {"a.csv": b"new", "form.csv": b"blank", "pictures/b.png": b"new"}
old = {"a.csv": b"old", "form.csv": b"blank", "pictures/b.png": b"old",
       "gone.png": b"old"}
if swap == "two steps":
    files._exchange = lambda one, other: False

def lay():
    shutil.rmtree(home, ignore_errors=True)
    home.mkdir()
    if start == "a file":
        out.write_bytes(b"old")
    elif start != "nothing":
        files.write_folder(out, old)
        (out / "mine.txt").write_bytes(b"mine")
        (out / "pictures" / "mine.txt").write_bytes(b"mine")
        (out / "form.csv").write_bytes(b"filled in")

def write():
    if start == "a file":
        return files.write_bytes(out, b"new")
    files.write_folder(out, new, kept={"form.csv": "form_blank.csv"},
                       stale=["gone.png"])

def found():
    return {p.relative_to(home).as_posix(): p.read_text()
            for p in home.rglob("*") if p.is_file() and ".part" not in str(p)}

def killed(n):
    child = os.fork()
    if child == 0:
        left = [n]
        def hook(event, words):
            if event.split(".")[0] in ("open", "os", "shutil", "ctypes"):
                left[0] -= 1
                if left[0] == -1:
                    os.kill(os.getpid(), signal.SIGKILL)
        sys.addaudithook(hook)
        write()
        os._exit(0)
    return os.waitpid(child, 0)[1] == signal.SIGKILL

lay(); before = found(); write(); after = found()
rows, n = [], 0
while True:
    lay()
    if not killed(n):
        break
    at_once = found()
    files.clear_leftovers(home)
    cleared = found()
    stray = [p.name for p in home.iterdir() if p != out]
    write()
    rows.append([at_once, cleared, stray, found()])
    n += 1
print(json.dumps([before, after, rows]))
"""


@pytest.mark.parametrize(
    ("start", "swap"),
    [
        ("a file", "one step"),
        *(("nothing", swap) for swap in ("one step", "two steps")),
        *(("results", swap) for swap in ("one step", "two steps")),
    ],
)
def test_what_is_written_is_as_it_was_or_complete_wherever_its_writer_is_killed(
    start, swap, tmp_path
):
    """Where folders cannot be swapped in one step, after the next run's clearing."""
    words = [sys.executable, "-c", SCRIPT, str(tmp_path / "home"), start, swap]
    done = subprocess.run(words, capture_output=True, timeout=120, check=True)
    before, after, rows = json.loads(done.stdout)
    if start == "a file":
        assert (before, after) == ({"out": "old"}, {"out": "new"})
    else:
        assert after["out/a.csv"] == "new" and "out/gone.png" not in after
    if start == "results":
        assert after["out/form.csv"] == "filled in"
        assert after["out/form_blank.csv"] == "blank"
        assert after["out/mine.txt"] == after["out/pictures/mine.txt"] == "mine"
    assert len(rows) > (4 if start == "a file" else 15)
    whole = (before, after)
    for at_once, cleared, stray, again in rows:
        assert cleared in whole and stray == [] and again == after
        assert at_once in whole or (swap == "two steps" and at_once == {})
    reached = [after in row[:2] for row in rows]
    assert True in reached and False in reached


def test_what_a_running_writer_holds_is_left_alone(tmp_path):
    with _part(tmp_path) as (file, _), _part(tmp_path, folder=True) as (folder, _):
        clear_leftovers(tmp_path)
        assert file.exists() and folder.exists()
    assert os.listdir(tmp_path) == []


def test_runs_at_once_leave_the_results_of_one(tmp_path):
    out = tmp_path / "out"
    names = [f"{n}.csv" for n in range(5)]
    write_folder(out, dict.fromkeys(names, b"first"))
    (out / "mine.txt").write_bytes(b"mine")

    def write(content: bytes) -> None:
        for _ in range(10):
            write_folder(out, dict.fromkeys(names, content))

    both = [threading.Thread(target=write, args=[c]) for c in (b"one", b"two")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert len({(out / name).read_bytes() for name in names}) == 1
    assert sorted(os.listdir(out)) == [*names, "mine.txt"]
    assert os.listdir(tmp_path) == ["out"]


def test_folders_are_swapped_in_one_step_here(tmp_path):
    """Or the test above only ever saw the other way."""
    if sys.platform != "linux":
        pytest.skip("only tried on Linux")
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    assert _exchange(tmp_path / "a", tmp_path / "b")
    assert os.listdir(tmp_path / "a") == ["b"]
