"""No command reaches another machine or writes anywhere but where it was told."""

import argparse
import ast
import os
import re
import socket
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import matplotlib
import pandas as pd
import pytest

import sizing.app
from sizing.cli.main import COMMANDS
from sizing.resources import texts
from tests.words.test_texts import NAMES, every_text

#: Runs several commands in one process that refuses every connection and notes
#: every change of a file outside the folder it is given.
WATCHED = r"""
import os, sys
from pathlib import Path

allowed = os.path.realpath(sys.argv[1])
# The list of this machine's fonts is matplotlib's own, and the same for all.
fonts = [os.path.realpath(folder) for folder in sys.argv[2:]]
changed = []

def path_of(value):
    if isinstance(value, int) or value is None:
        return ""
    return os.path.realpath(os.fsdecode(value))

def note(event, value):
    path = path_of(value)
    inside = path == allowed or path.startswith(allowed + os.sep)
    if path in fonts or os.path.basename(path).startswith("fontlist-"):
        inside = any(path.startswith(folder) for folder in fonts)
    if path and not inside and path != os.devnull:
        changed.append(f"{event} {path}")

def watch(event, given):
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg",
                 "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr",
                 "urllib.Request", "webbrowser.open"):
        changed.append(f"{event} {given[1:]}")
        raise OSError(f"no {event} here")
    if event == "open":
        path, mode, flags = given
        writes = isinstance(mode, str) and set(mode) & set("wax+")
        writes = writes or (mode is None and isinstance(flags, int)
                            and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
        if writes:
            note(event, path)
    elif event in ("os.mkdir", "os.remove", "os.rmdir", "os.truncate", "os.symlink"):
        note(event, given[1] if event == "os.symlink" else given[0])
    elif event in ("os.rename", "os.link"):
        note(event, given[0])
        note(event, given[1])
    elif event in ("shutil.rmtree", "shutil.move"):
        note(event, given[0])

sys.addaudithook(watch)
from sizing.cli.main import main

os.chdir(allowed)
Path("chart.csv").write_text(
    "size,group,load_limit_kg,body_mass_kg_low,body_mass_kg_high\n"
    "<img src=x onerror=alert(1)>,adult,200,40,90\nadult 'b' & co,adult,300,90,200\n"
)
Path("clients.csv").write_text("sex,age_years,body_mass_kg\nf,82,51.5\nm,47,90\n")
Path("prices.csv").write_text(
    "size,price\n<img src=x onerror=alert(1)>,100\nadult 'b' & co,120\n"
)
few = ["--people", "bariatric", "--draws", "1"]
commands = [
    ["study", *few, "--chart", "chart.csv", "--out", "study"],
    ["chart", "chart.csv", *few, "--out", "chart.html"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=60", "--note", "note.html"],
    ["people", "bariatric", "--draws", "1"],
    ["bands", "--people", "bariatric", "--widths", "body_mass_kg=60",
     "--sizes", "2", "--splits", "2"],
    ["stock", "--caseload", "clients.csv", "--chart", "chart.csv",
     "--prices", "prices.csv", "--scenarios", "50", "--order", "order.csv",
     "--order", "order.xlsx", "--report", "stock.html"],
    ["lesson", *few, "--chart", "chart.csv", "--clients", "4", "--out", "lesson"],
    ["trials", "--learned", "learned.csv", "--report", "trials.html"],
    ["blank", "chart", "blank.xlsx"],
]
for words in commands:
    status = main(words)
    print("\nRAN", words[0], status)
print("\n".join(f"CHANGED {line}" for line in changed))
try:
    import socket
    socket.create_connection(("192.0.2.1", 80), timeout=1)
except OSError as error:
    print("REFUSED", error)
"""


#: Threads, the seed of hashes, the zone of time and the language.
MACHINES = [("1", "0", "UTC", "C.UTF-8"), ("4", "7", "America/St_Johns", "de_DE.UTF-8")]
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """The folder of all commands' files, and the run; sizes have hostile names."""
    return run_on(tmp_path_factory.mktemp("all"), *MACHINES[0])


def run_on(home, threads, seed, zone, language):
    folder = home / "here"
    # openpyxl builds a sheet in the machine's folder for passing files: left empty.
    passing = folder / "passing"
    passing.mkdir(parents=True)
    fonts = [matplotlib.get_configdir(), matplotlib.get_cachedir()]
    around = {"PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": language, "LANG": language}
    around |= {"PYTHONIOENCODING": "utf-8", "TMPDIR": str(passing)}
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-B", "-c", WATCHED, str(folder), *fonts],
        env=os.environ | dict.fromkeys(THREADS, threads) | around,
        capture_output=True,
        encoding="utf-8",
        timeout=900,
        check=False,
    )
    return folder, run


def made(folder, run):
    files = (path for path in folder.rglob("*") if path.is_file())
    found = {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
    return found | {"printed": run.stdout}


def test_every_output_is_the_same_on_any_machine(ran, tmp_path):
    """The same seed gives the same bytes, whatever else the machine is set to."""
    first, other = made(*ran), made(*run_on(tmp_path, *MACHINES[1]))
    kinds = {name.rpartition(".")[2] for name in first}
    assert kinds == {"printed", "csv", "xlsx", "html", "json", "png", "svg"}
    assert other.keys() == first.keys()
    assert [name for name in first if first[name] != other[name]] == []


def test_commands_touch_nothing_else_and_nobody(ran):
    folder, run = ran
    assert run.returncode == 0, run.stderr[-3000:]
    done = re.findall(r"^RAN (\w+) (\d+)$", run.stdout, re.MULTILINE)
    assert {name for name, _ in done} == set(COMMANDS) - {"lab", "pages"}
    assert {status for _, status in done} == {"0"}, run.stderr[-3000:]
    changed = re.findall(r"^CHANGED (.*)$", run.stdout, re.MULTILINE)
    assert changed == [], "\n".join(changed)
    assert "REFUSED" in run.stdout
    assert list((folder / "passing").iterdir()) == []
    left = {path.name for path in folder.iterdir()}
    assert {"study", "chart.html", "note.html", "order.xlsx", "lesson"} <= left
    assert not [p for p in folder.rglob("*") if p.name.endswith(".part")]


def test_a_sizes_name_stays_a_name_on_every_page_and_no_table_runs_anything(ran):
    folder, _ = ran
    told, tables = {}, 0
    for path in (p for p in folder.rglob("*") if p.is_file()):
        if path.suffix in (".html", ".svg", ".md"):
            text, first = path.read_text("utf-8"), path.relative_to(folder).parts[0]
            assert "<img src=x" not in text, path
            told[first] = told.get(first, False) or "&lt;img src=x" in text
        elif path.suffix in (".csv", ".xlsx"):
            read = pd.read_csv if path.suffix == ".csv" else pd.read_excel
            cells = read(path, header=None, dtype=str, keep_default_na=False)
            tables += 1
            for text in map(str, cells.to_numpy(object).ravel()):
                number = re.fullmatch(r"[-+]?[\d.]+([eE][-+]?\d+)?", text)
                assert number or not text.startswith(("=", "+", "-", "@")), (path, text)
    assert tables > 8
    assert all(told[name] for name in ("study", "chart.html", "stock.html", "lesson"))


def test_the_tests_themselves_are_offline():
    with (
        socket.socket() as far,
        pytest.raises(OSError, match="tests reach no other machine"),
    ):
        far.settimeout(1)
        far.connect(("192.0.2.1", 80))
    with pytest.raises(OSError, match="tests reach no other machine"):
        socket.getaddrinfo("a.example", 80)
    with socket.socket() as here:
        here.bind(("127.0.0.1", 0))
        here.listen()
        with socket.create_connection(here.getsockname(), timeout=5):
            pass


#: Words under which people would write who somebody is.
PERSONAL = re.compile(
    r"\b(surname|forename|first name|last name|full name|client'?s? name|"
    r"patient'?s? name|your name|birth|dob|home address|street|postcode|phone|"
    r"e-?mail|nhs)\b",
    re.IGNORECASE,
)
#: Where a text says that a name is not wanted.
NOT_ASKED = re.compile(r"\bno (name|date of birth)\b", re.IGNORECASE)


def asked_of_people():
    """Every text of forms and options: in code, in files of words, in commands."""
    for path in Path(sizing.app.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for word in getattr(node, "keywords", ()):
                named = word.arg in {"description", "label", "placeholder"}
                if named and isinstance(word.value, ast.Constant):
                    yield str(word.value.value)
    for name in NAMES:
        yield from every_text(vars(texts(name)))
    for command in COMMANDS:
        parser = argparse.ArgumentParser()
        import_module(f"sizing.cli.{command}").add_arguments(parser)
        for option in parser._actions:
            words = (*option.option_strings, option.dest, option.help)
            yield " ".join(map(str, words)).replace("_", " ")


def asks_who(words):
    return bool(PERSONAL.search(NOT_ASKED.sub("", words)))


def test_no_form_and_no_option_asks_who_somebody_is():
    found = list(asked_of_people())
    # Labels were found: most are a few words.
    assert sum(len(words.split()) <= 4 for words in found) > 300
    assert [words for words in found if asks_who(words)] == []
    assert asks_who("Client's name") and asks_who("No name? Then a date of birth.")
    assert not asks_who("Name of the size")
    assert not asks_who("No name and no date of birth.")
