"""The public names load their rooms when asked for, and are documented whole."""

import pytest
from numpydoc.validate import validate

import sizing


def test_each_public_name_is_fetched_from_its_room():
    told = sizing._LAYER_OF
    assert len(told) > 20
    assert not set(told) & set(told.values())  # no package is a function too
    assert sorted(told) == sizing.__all__
    assert set(told) <= set(dir(sizing))
    for name, layer in told.items():
        found = getattr(sizing, name)
        where = getattr(found, "__module__", f"sizing.{layer}")
        assert where.startswith(f"sizing.{layer}"), name
    assert sizing.__version__.count(".") == 2 and not hasattr(sizing, "no_such_name")


#: What each must have, by numpydoc's own codes: a summary, every parameter named
#: as it is called, typed and described, what is returned described, and an example.
ASKED = {
    *("GL01", "GL02", "GL03", "GL06", "GL07", "GL08", "SS01", "SS02", "SS03", "SS04"),
    *("PR01", "PR02", "PR03", "PR04", "PR06", "PR07", "PR10", "RT01", "RT03", "YD01"),
    "EX01",
}
PUBLIC = {name: getattr(sizing, name) for name in sizing.__all__}
FUNCTIONS = [
    name
    for name, thing in PUBLIC.items()
    if callable(thing) and not isinstance(thing, type)
]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_is_documented_whole(name):
    thing = PUBLIC[name]
    found = validate(f"{thing.__module__}.{thing.__qualname__}")["errors"]
    assert [f"{code} {words}" for code, words in found if code in ASKED] == []
