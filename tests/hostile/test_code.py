"""What the code never does, read from its syntax tree."""

import ast
from collections.abc import Collection
from pathlib import Path

import pytest

import sizing
from sizing.measures import MEASURES

PACKAGE = Path(sizing.__file__).parent
TEXTS = {
    path.relative_to(PACKAGE).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(PACKAGE.rglob("*.py"))
}
#: Would run or unpack what a file holds.
MODULES_NEVER = {"pickle", "marshal", "shelve", "dill", "joblib", "cloudpickle"}
CALLS_NEVER = {"eval", "exec", "compile", "__import__", "read_pickle", "to_pickle"}
CALLS_NEVER |= {"literal_eval", "system", "popen", "getoutput", "load_module"}
#: Would reach for another machine.
NETWORK = {"requests", "httpx", "aiohttp", "ftplib", "smtplib", "http", "telnetlib"}
NETWORK |= {"socket", "urllib"}
#: The one module that starts and watches the notebooks, on this machine alone.
LAB = "app/serve.py"
#: Where modules are loaded by name: the kit's own, named by its own code and pages.
LOADERS = {"__init__.py", "app/serve.py", "app/server.py", "cli/main.py"}
#: Would leave half a file behind if they were stopped.
WRITES = {"write_text", "write_bytes", "to_csv", "to_excel", "savefig"}


def imported(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        names = [alias.name for alias in getattr(node, "names", ())]
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        if isinstance(node, ast.Import | ast.ImportFrom):
            found |= {name.split(".")[0] for name in names}
    return found


def calls(text: str) -> list[tuple[str, ast.Call]]:
    """Return each call with its function's own name; ``re.compile`` has none."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func).removeprefix("re.compile")
            found.append((name.rpartition(".")[2], node))
    return found


def faults(text: str, where: str) -> list[str]:
    never = MODULES_NEVER | (NETWORK if where != LAB else set())
    found = [f"{where}: imports {name}" for name in imported(ast.parse(text)) & never]
    for name, node in calls(text):
        if name in CALLS_NEVER:
            found.append(f"{where}:{node.lineno}: calls {name}")
        if name == "import_module" and where not in LOADERS:
            found.append(f"{where}:{node.lineno}: loads code by name")
        shell = {k.arg: k.value for k in node.keywords}.get("shell")
        if isinstance(shell, ast.Constant) and shell.value:
            found.append(f"{where}:{node.lineno}: runs a shell")
        if name == "query" and isinstance(node.args[0], ast.JoinedStr):
            found.append(f"{where}:{node.lineno}: runs text as a query")
    return found


def test_nothing_is_unpickled_evaluated_or_fetched():
    assert [f for where, text in TEXTS.items() for f in faults(text, where)] == []


FAULTY = """
import pickle
from pickle import loads
eval('1')
frame.eval('a')
pd.read_pickle('x')
frame.query(f'a > {b}')
import urllib.request
subprocess.run('ls', shell=True)
os.system('ls')
importlib.import_module(name)
"""


@pytest.mark.parametrize("line", FAULTY.strip().splitlines())
def test_the_search_finds_what_it_looks_for(line):
    assert faults(line, "x.py") and not faults("import re\nre.compile('x')", "x.py")


def listed(text: str, measures: Collection[str]) -> list[int]:
    """Return the lines where a text lists more than half of the measures again."""
    found = []
    for node in ast.walk(ast.parse(text)):
        parts = getattr(node, "keys" if isinstance(node, ast.Dict) else "elts", [])
        names = {part.value for part in parts if isinstance(part, ast.Constant)}
        if 2 * len(names & set(measures)) > len(measures):
            found.append(node.lineno)
    return found


def values_by_place(text: str) -> list[int]:
    """Return the lines where a list of values is laid beside that of the measures."""
    tree = ast.parse(text)
    of_the_kit = {
        name.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == "sizing.measures"
        for name in node.names
    } & {"MEASURES", "SEATED_AND_GIRTHS"}
    return [
        node.lineno
        for name, node in calls(text)
        if name == "zip"
        and of_the_kit & {ast.unparse(a) for a in node.args}
        and any(
            isinstance(a, ast.List | ast.Tuple)
            and not any(isinstance(part, ast.Starred) for part in a.elts)
            for a in node.args
        )
    ]


def test_code_and_tests_list_the_measures_nowhere():
    """``measures.csv`` does: a list beside it would break at a measure added."""
    tests = {
        str(p): p.read_text("utf-8") for p in Path(__file__).parents[1].rglob("*.py")
    }
    for name, text in (TEXTS | tests).items():
        assert listed(text, MEASURES) + values_by_place(text) == [], name
    assert listed(repr(MEASURES), MEASURES) == [1]
    given = "from sizing.measures import MEASURES\nzip(MEASURES, [68, 160])"
    assert values_by_place(given) == [2]


#: What buffers are called.
MEMORY = {"buffer", "book", "drawn"}
#: The one place where files are written, and the notebooks' corner with a log that
#: grows while they run.
EXCEPTED = {"files/folders.py", LAB}


def raw_writes(text: str) -> list[str]:
    """Return the calls that write a file otherwise than whole or not at all."""
    found = []
    for name, node in calls(text):
        first = ast.unparse(node.args[0]) if node.args else None
        if name in WRITES and isinstance(node.func, ast.Attribute):
            # Without a place, or into a buffer, a table or picture is no file yet.
            if name.startswith("write") or first not in {None, *MEMORY}:
                found.append(f"{node.lineno}: {name}")
        elif name == "open":
            modes = node.args[1:2] or node.args[:1]
            if any(ast.unparse(mode)[:2] in ("'w", "'a", "'x") for mode in modes):
                found.append(f"{node.lineno}: open")
    return found


def test_every_file_is_written_whole():
    found = {name: raw_writes(TEXTS[name]) for name in TEXTS.keys() - EXCEPTED}
    assert {name: lines for name, lines in found.items() if lines} == {}
    for raw in ("path.write_text('x')", "frame.to_csv(path)", "open(path, 'w')"):
        assert raw_writes(raw)
    assert not raw_writes("frame.to_csv(index=False)\nopen(path)\nopen(path, 'rb')")
