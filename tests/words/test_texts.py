"""Every fixed text is used, and every text that is used is there."""

import ast
from pathlib import Path

import pytest

import sizing
from sizing.cli.main import COMMANDS
from sizing.resources import texts
from tests.reading import long_sentences

PACKAGE = Path(sizing.__file__).parent
NAMES = sorted(path.stem for path in (PACKAGE / "words/texts").glob("*.toml"))


def name_of(node: ast.AST) -> str | None:
    """Return the name in ``texts("name")``, if that is what stands there."""
    called = isinstance(node, ast.Call) and ast.unparse(node.func) == "texts"
    return ast.literal_eval(node.args[0]) if called and node.args else None


def asked() -> dict[str, set[str]]:
    """Return the keys that modules ask for, by the name of the texts."""
    # These are asked for by the names of the commands.
    found = {name: set() for name in NAMES}
    found["options"] = {*COMMANDS, "commands", "shared"}
    for path in PACKAGE.rglob("*.py"):
        nodes, held = list(ast.walk(ast.parse(path.read_text("utf-8")))), {}
        for node in nodes:
            if isinstance(node, ast.Assign | ast.AnnAssign) and node.value:
                target = (
                    node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
                )
                pairs = zip(
                    getattr(target, "elts", [target]),
                    getattr(node.value, "elts", [node.value]),
                    strict=False,
                )
                held |= {ast.unparse(one): name_of(value) for one, value in pairs}
        for node in nodes:
            if isinstance(node, ast.Attribute):
                name = name_of(node.value) or held.get(ast.unparse(node.value))
                if name:
                    found[name].add(node.attr)
    return found


def every_text(value: object) -> list[str]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [text for part in value for text in every_text(part)]
    return [str(value)]


def test_texts_asked_for_are_those_there_are():
    assert asked() == {name: set(vars(texts(name))) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_no_sentence_of_a_text_is_long(name):
    for text in every_text(vars(texts(name))):
        assert long_sentences(text) == [], text
