"""Every fixed text is used, and every text that is used is there."""

import re
from pathlib import Path

import pytest

import sizing
from sizing.cli.main import COMMANDS
from sizing.resources import texts
from tests.reading import long_sentences

PACKAGE = Path(sizing.__file__).parent
NAMES = sorted(path.stem for path in (PACKAGE / "words/texts").glob("*.toml"))


def asked() -> dict[str, set[str]]:
    """Return the keys that modules ask for, by the name of the texts."""
    found: dict[str, set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        code = path.read_text("utf-8")
        for variable, name in re.findall(r'^(\w+) = texts\("(\w+)"\)', code, re.M):
            keys = re.findall(rf"\b{variable}\.(\w+)", code)
            found.setdefault(name, set()).update(keys)
    # These are asked for by the names of the commands.
    return found | {"options": {*COMMANDS, "commands", "shared"}}


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
