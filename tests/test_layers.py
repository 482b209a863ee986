"""Imports point one way, as the data flows; no code names a machine or a name."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import sizing

PACKAGE = Path(sizing.__file__).parent
ORDER = [
    {"errors"},
    {"resources"},
    {"kinds"},
    {"files"},
    {"measures"},
    {"words.numbers"},
    {"stats"},
    {"surveys"},
    {"people"},
    {"charts"},
    {"coverage"},
    {"bands"},
    {"words.chart"},
    {"words.client"},
    {"words.client_notes"},
    {"client", "stock", "lesson", "study"},
    {"trials"},
    {"words"},
    {"plots"},
    {"pages"},
    {"app"},
    {"cli"},
]
LEVEL = {name: level for level, names in enumerate(ORDER) for name in names}
MODULES = sorted(PACKAGE.rglob("*.py"))


def layer_of(path: Path) -> str:
    return _layer(path.relative_to(PACKAGE).with_suffix("").parts)


def _layer(parts: tuple[str, ...]) -> str:
    """Return the layer of a module: its room, but for words that results say."""
    whole = ".".join(parts[:2])
    return whole if whole in LEVEL else parts[0]


def imported_layers(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            names = [node.module or ""]
            if names == ["sizing.words"]:
                names = [f"sizing.words.{alias.name}" for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "sizing" and len(parts) > 1:
                found.add(_layer(tuple(parts[1:])))
            elif parts[0] == "sizing":
                found.add("")
    return found


def backward(layer: str, imported: set[str]) -> list[str]:
    """Return the imports that do not come from an earlier layer."""
    return [
        name
        for name in sorted(imported)
        if name != layer and (name not in LEVEL or LEVEL[name] >= LEVEL[layer])
    ]


def test_modules_import_only_from_the_layers_before_them():
    wrong = {}
    for path in MODULES:
        layer = layer_of(path)
        if layer not in {"__init__", "__main__"}:
            assert layer in LEVEL, f"{layer} has no place in the order"
            wrong[str(path)] = backward(layer, imported_layers(path))
    assert {path: found for path, found in wrong.items() if found} == {}


def test_the_order_is_noticed_when_broken():
    assert backward("measures", {"plots"}) == ["plots"]
    assert backward("stock", {"client", "charts"}) == ["client"]
    assert backward("coverage", {"charts", "measures"}) == []


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {module_name(path) for path in MODULES}


def imported_modules(source: str, names: set[str]) -> set[str]:
    """Return the kit's modules that a text imports, at its head or in a function."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            module = node.module or ""
            inner = {f"{module}.{alias.name}" for alias in node.names}
            found |= inner & names or {module}
    return found & names


def circles(graph: dict[str, set[str]]) -> list[str]:
    """Return one circle of imports, if there is any."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return list(found.args[1])
    return []


def test_no_import_leads_back_to_where_it_began():
    # The package's own list of public names reaches every room, and none it.
    graph = {
        module_name(path): imported_modules(path.read_text("utf-8"), NAMES) - {"sizing"}
        for path in MODULES
        if module_name(path) != "sizing"
    }
    assert circles(graph) == []


def test_a_circle_is_noticed_though_an_import_stands_in_a_function():
    names = {"sizing.a", "sizing.b", "sizing.c"}
    graph = {
        "sizing.a": imported_modules("from sizing import b", names),
        "sizing.b": imported_modules("def f():\n    import sizing.c", names),
        "sizing.c": imported_modules("from sizing.a import x", names),
    }
    assert sorted(set(circles(graph))) == sorted(names)
    graph["sizing.c"] = set()
    assert circles(graph) == []


#: Filled or lowered while something is worked out, and never handed out.
CHANGING = {"Notes"}


def test_what_holds_figures_cannot_be_changed():
    """A figure changed after it was checked would be one that nobody checked."""
    open_ones = set()
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                made = [ast.unparse(part) for part in node.decorator_list]
                if any(part.startswith("dataclass") for part in made):
                    open_ones |= (
                        set() if "dataclass(frozen=True)" in made else {node.name}
                    )
    assert open_ones == CHANGING


def test_modules_stay_short():
    lines = {str(p): len(p.read_text("utf-8").splitlines()) for p in MODULES}
    assert {path: count for path, count in lines.items() if count > 450} == {}
