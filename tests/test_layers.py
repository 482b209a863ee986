"""Imports point one way, as the data flows; modules stay short."""

import ast
import re
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import sizing

PACKAGE = Path(sizing.__file__).parent
ORDER = [
    *({"resources"}, {"errors"}, {"files"}, {"measures"}),
    *({"words.numbers"}, {"stats"}, {"surveys"}, {"people"}, {"charts"}),
    *({"coverage"}, {"bands"}, {"words.client"}),
    *({"words.client_notes"}, {"client", "stock", "lesson", "study"}, {"trials"}),
    *({"words"}, {"plots"}, {"pages"}, {"app"}, {"cli"}),
]
LEVEL = {name: level for level, names in enumerate(ORDER) for name in names}
SOURCES = {path: path.read_text("utf-8") for path in sorted(PACKAGE.rglob("*.py"))}


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {module_name(path): path for path in SOURCES}


def layer(module: str) -> str:
    """Return the layer of a module: its room, but for words that results say."""
    parts = module.split(".")[1:3]
    whole = ".".join(parts)
    return whole if whole in LEVEL else parts[0]


def imported(source: str, names: set[str]) -> set[str]:
    """Return the kit's modules that a text imports, at its head or in a function."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "write imports in full"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= inner & names or {node.module}
    return found & names


# The package's own list of public names reaches every room, and none it.
GRAPH = {
    name: imported(SOURCES[path], {*NAMES}) - {"sizing"}
    for name, path in NAMES.items()
    if name != "sizing"
}


def backward(graph: dict[str, set[str]]) -> list[tuple[str, str]]:
    """Return the imports that do not come from an earlier layer."""
    return [
        (module, other)
        for module, others in graph.items()
        for other in others
        if layer(module) != layer(other) and LEVEL[layer(other)] >= LEVEL[layer(module)]
    ]


def circles(graph: dict[str, set[str]]) -> list[str]:
    """Return one circle of imports, if there is any."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return list(found.args[1])
    return []


def test_imports_come_from_earlier_layers_and_lead_nowhere_back():
    rooms = {layer(name) for name in GRAPH} - {"__main__"}
    assert rooms <= set(LEVEL), "a room has no place in the order"
    graph = {name: others for name, others in GRAPH.items() if "__main__" not in name}
    assert backward(graph) == [] and circles(GRAPH) == []


@pytest.mark.parametrize(
    ("sources", "wrong"),
    [
        ({"measures.a": "import sizing.plots.b", "plots.b": ""}, True),
        ({"stock.a": "from sizing.client import b", "client.b": ""}, True),
        ({"coverage.a": "from sizing.charts import b", "charts.b": ""}, False),
        ({"stock.a": "from sizing.stock import b", "stock.b": ""}, False),
        # A circle, though an import stands in a function.
        (
            {
                "stock.a": "import sizing.stock.b",
                "stock.b": "def f(): import sizing.stock.a",
            },
            True,
        ),
    ],
)
def test_a_wrong_import_is_noticed(sources, wrong):
    names = {f"sizing.{name}" for name in sources}
    graph = {f"sizing.{name}": imported(t, names) for name, t in sources.items()}
    assert bool(backward(graph) or circles(graph)) == wrong


#: Filled or lowered while something is worked out or typed, and never handed out.
CHANGING = {"Notes", "_Cell"}


def test_what_holds_figures_cannot_be_changed():
    """A figure changed after it was checked would be one that nobody checked."""
    open_ones = set()
    for source in SOURCES.values():
        for node in ast.walk(ast.parse(source)):
            made = map(ast.unparse, getattr(node, "decorator_list", ()))
            made = [part for part in made if part.startswith("dataclass")]
            if made and "dataclass(frozen=True)" not in made:
                open_ones.add(node.name)
    assert open_ones == CHANGING


def test_modules_stay_short_and_say_in_their_names_what_they_are_about():
    lines = {str(path): len(text.splitlines()) for path, text in SOURCES.items()}
    assert {path: count for path, count in lines.items() if count > 450} == {}
    vague = re.compile(r"(^|_)(parts|more|others|misc|utils|helpers)$")
    files = [*SOURCES, *(PACKAGE.parent / "tests").rglob("*.py")]
    assert [path.name for path in files if vague.search(path.stem)] == []
