"""What is known of a body that no survey holds, and which measures it changes."""

import re
from collections.abc import Iterable
from difflib import get_close_matches
from functools import cache

import pandas as pd

from sizing.errors import Problem
from sizing.measures import MEASURES
from sizing.resources import source_table

_ALL = ";".join(MEASURES)


def conditions_table() -> pd.DataFrame:
    """Return the conditions that can be stated of a client.

    Returned: ``key``, ``label``, ``measures`` (those it changes, separated by
    semicolons), ``why``, ``source``.

    >>> conditions_table()["key"].iloc[0], len(conditions_table())
    ('limb_missing_left_above_knee', 14)
    """
    return source_table("conditions.csv").replace({"measures": {"all": _ALL}})


@cache
def _column(name: str) -> dict[str, str]:
    table = conditions_table()
    return dict(zip(map(str, table["key"]), map(str, table[name]), strict=True))


def touched(conditions: Iterable[str]) -> tuple[str, ...]:
    """In the kit's order; what is so changed is not predicted and predicts no other."""
    each = _column("measures")
    found = {name for key in conditions for name in each[key].split(";")}
    return tuple(m for m in MEASURES if m in found)


def condition_labels(conditions: Iterable[str]) -> list[str]:
    return [_column("label")[key] for key in conditions]


def condition_keys(
    stated: str | Iterable[str] | None,
) -> tuple[tuple[str, ...], list[Problem]]:
    """Return the conditions stated by their keys, in the table's order, and problems.

    Capitals, spaces and signs do not matter; keys and labels are both understood.

    >>> condition_keys(["Swelling", "curved spine"])
    (('curved_spine', 'swelling'), [])
    >>> print(condition_keys("oedema")[1][0].what)
    this condition is not among those the kit knows
    """
    words = [stated] if isinstance(stated, str) else list(stated or ())
    keys = list(_column("label"))
    by_name = {_plain(label): key for key, label in _column("label").items()}
    by_name |= dict(zip(keys, keys, strict=True))
    found, problems = set(), []
    for word in words:
        name = _plain(str(word))
        if name in by_name:
            found.add(by_name[name])
        elif name:
            problems.append(_unknown(str(word), name, by_name))
    return tuple(key for key in keys if key in found), problems


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


def _unknown(word: str, name: str, by_name: dict[str, str]) -> Problem:
    near = [key for key in _column("label") if name in key]
    near += [by_name[one] for one in get_close_matches(name, list(by_name), 4, 0.6)]
    near = list(dict.fromkeys(near))
    hint = "'other' stands for whatever is not in the list"
    if near:
        hint = f"did you mean {' or '.join(near)}? Else {hint}"
    return Problem(
        "this condition is not among those the kit knows",
        ", ".join(_column("label")),
        hint,
        column="condition",
        value=word[:60],
    )
