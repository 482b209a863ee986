"""Public functions are documented whole: every parameter, what comes back, types."""

import pytest
from numpydoc.validate import validate

import sizing

#: What each must have, by numpydoc's own codes: a summary, every parameter named
#: as it is called, typed and described, what is returned described, and an example.
ASKED = {
    *("GL01", "GL02", "GL03", "GL06", "GL07", "GL08", "SS01", "SS02", "SS03", "SS04"),
    *("PR01", "PR02", "PR03", "PR04", "PR06", "PR07", "PR10", "RT01", "RT03", "YD01"),
    "EX01",
}
FUNCTIONS = [
    name
    for name in sizing.__all__
    if callable(getattr(sizing, name)) and not isinstance(getattr(sizing, name), type)
]


def lacking(name: str) -> list[str]:
    thing = getattr(sizing, name)
    found = validate(f"{thing.__module__}.{thing.__qualname__}")["errors"]
    return [f"{code} {words}" for code, words in found if code in ASKED]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_is_documented_whole(name):
    assert lacking(name) == []


def test_the_version_is_the_installed_one():
    assert sizing.__version__.count(".") == 2
