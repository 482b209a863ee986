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


def names(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


def calls(tree: ast.AST) -> list[ast.Call]:
    return [node for node in ast.walk(tree) if isinstance(node, ast.Call)]


def called(node: ast.Call) -> str:
    function = node.func
    if isinstance(function, ast.Attribute):
        # re.compile compiles a pattern, and pandas' eval is caught by its name.
        whose = function.value
        is_pattern = isinstance(whose, ast.Name) and whose.id == "re"
        return "" if is_pattern else function.attr
    return function.id if isinstance(function, ast.Name) else ""


def faults(text: str, where: str) -> list[str]:
    tree = ast.parse(text)
    found = [f"{where}: imports {name}" for name in names(tree) & MODULES_NEVER]
    if where != LAB:
        found += [f"{where}: imports {name}" for name in names(tree) & NETWORK]
    for node in calls(tree):
        name = called(node)
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


@pytest.mark.parametrize(
    "line",
    [
        "import pickle",
        "from pickle import loads",
        "eval('1')",
        "frame.eval('a')",
        "pd.read_pickle('x')",
        "frame.query(f'a > {b}')",
        "import urllib.request",
        "subprocess.run('ls', shell=True)",
        "os.system('ls')",
        "importlib.import_module(name)",
    ],
)
def test_the_search_finds_what_it_looks_for(line):
    assert faults(line, "x.py")


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
        for node in calls(tree)
        if called(node) == "zip"
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


def raw_writes(text: str) -> list[str]:
    """Return the calls that write a file otherwise than whole or not at all."""
    found = []
    for node in calls(ast.parse(text)):
        function = node.func
        if not isinstance(function, ast.Attribute) or function.attr not in WRITES:
            if called(node) == "open" and any(
                isinstance(word, ast.Constant) and str(word.value)[:1] in "wax"
                for word in node.args[1:2] or node.args[:1]
            ):
                found.append(f"{node.lineno}: open")
            continue
        # Without a place, or into a buffer, a table or picture is no file yet.
        first = node.args[0] if node.args else None
        in_memory = first is None or (
            isinstance(first, ast.Name) and first.id in MEMORY
        )
        if function.attr in ("write_text", "write_bytes") or not in_memory:
            found.append(f"{node.lineno}: {function.attr}")
    return found


#: What buffers are called.
MEMORY = {"buffer", "book", "drawn"}
#: The one place where files are written, and the notebooks' corner with a log that
#: grows while they run.
EXCEPTED = {"files/folders.py", LAB}


def test_every_file_is_written_whole():
    found = {name: raw_writes(TEXTS[name]) for name in TEXTS.keys() - EXCEPTED}
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_a_raw_write_is_found():
    assert raw_writes("path.write_text('x')")
    assert raw_writes("frame.to_csv(path)")
    assert raw_writes("open(path, 'w')")
    assert not raw_writes("frame.to_csv(index=False)\nopen(path)\nopen(path, 'rb')")
