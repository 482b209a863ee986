"""The one way in which a share, a length, a weight or an interval is written.

What is estimated is never said to be all or none: a share that would round to 0 or
100 % is "under 1 %" or "over 99 %", whatever its last digits. An interval whose ends
round to the share itself says nothing and is left out. Lengths and weights are
written by ``written``, in the units asked for.
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import pandas as pd

from sizing.measures import UNITS as UNITS
from sizing.measures import Amount as Amount
from sizing.measures import Said as Said
from sizing.measures import Say as Say
from sizing.measures import joined as joined
from sizing.measures import kind_of as kind_of
from sizing.measures import span as span
from sizing.measures import told as told
from sizing.measures import unit_of as unit_of
from sizing.measures import written as written

_SIGN = re.compile(r"(?<=\d) %")
#: A row of a table, however it was taken out.
Row: TypeAlias = Mapping[Any, Any] | pd.Series


def unbroken(text: str) -> str:
    """Return words for a page: no line ends between a number and its sign %.

    >>> unbroken("95 % of 3").split(" ")[1]
    'of'
    """
    return _SIGN.sub("\u00a0%", text)


def share(value: float, *, places: int = 0) -> str:
    """Write an estimated share of 0 to 1 in percent.

    >>> share(0.947), share(0.004), share(0.0), share(0.9996), share(1.0)
    ('95 %', 'under 1 %', 'under 1 %', 'over 99 %', 'over 99 %')
    >>> share(0.0312, places=1), share(0.0, places=1), share(0.99999, places=1)
    ('3.1 %', 'under 0.1 %', 'over 99.9 %')
    """
    return f"{_of_100(value, places)} %"


def given(value: float) -> str:
    """Write a share that somebody set or published: as it is, and it may be all.

    >>> given(0.07), given(1), given(0.985)
    ('7 %', '100 %', '98.5 %')
    """
    return f"{round(100 * value, 2):g} %"


def in_100(value: float, *, places: int = 0) -> str:
    """Write an estimated share as people of a hundred.

    >>> in_100(0.93), in_100(0.9996), in_100(0.001)
    ('93 in 100', 'over 99 in 100', 'under 1 in 100')
    """
    return f"{_of_100(value, places)} in 100"


def sizes_fit(sizes: int, share: float) -> str:
    """Say what a number of sizes fits, the beginning of a sentence.

    >>> sizes_fit(3, 0.93), sizes_fit(1, 0.3)
    ('3 sizes fit 93 in 100 of these people', '1 size fits 30 in 100 of these people')
    """
    fit = "1 size fits" if sizes == 1 else f"{sizes} sizes fit"
    return f"{fit} {in_100(share)} of these people"


def probably(row: Row) -> str:
    """Write the interval of a share as people of a hundred, in words.

    >>> probably({"low": 0.92, "high": 0.941}), probably({"low": 0.997, "high": 1})
    ('probably between 92 and 94', 'probably over 99')
    """
    low, high = (_of_100(row[end], 0) for end in ("low", "high"))
    return f"probably {low if low == high else f'between {low} and {high}'}"


def interval(
    row: Row, name: str = "estimate", prefix: str = "", *, places: int = 0
) -> str:
    """Write an estimated share with its interval, where there is one to see.

    >>> interval({"estimate": 0.541, "low": 0.512, "high": 0.566})
    '54 % (51 to 57)'
    >>> interval({"estimate": 0.9991, "low": 0.9985, "high": 0.9996})
    'over 99 %'
    >>> interval({"estimate": 0.97, "low": 0.82, "high": 0.998})
    '97 % (82 to over 99)'
    >>> interval({"fits": 0.3, "fits_low": 0.25, "fits_high": 0.36}, "fits", "fits_")
    '30 % (25 to 36)'
    """
    ends = [_of_100(row[prefix + end], places) for end in ("low", "high")]
    words = share(row[name], places=places)
    return words if ends[0] == ends[1] else f"{words} ({ends[0]} to {ends[1]})"


def points(change: float, *, places: int = 0, sign: bool = True) -> str:
    """Write a difference of two shares in points of a hundred.

    >>> points(0.031), points(-0.0004), points(-0.0312, places=1)
    ('+3', '0', '-3.1')
    >>> points(0.031, sign=False)
    '3'
    """
    value = round(100 * change, places)
    # Neither "-0" nor "+0": nothing has no sign.
    if value == 0:
        return "0"
    return f"{value:{'+' if sign else ''}.{places}f}"


def points_interval(row: Row, *, places: int = 0) -> str:
    """Write a difference of two shares with its interval.

    >>> points_interval({"estimate": 0.031, "low": -0.002, "high": 0.06})
    '+3 (0 to +6)'
    """
    middle, low, high = (
        points(row[name], places=places) for name in ("estimate", "low", "high")
    )
    return middle if low == high else f"{middle} ({low} to {high})"


def count_in(count: int, n: int) -> str:
    """Write what was counted, which is known and may be all or none.

    >>> count_in(12, 12), count_in(0, 8)
    ('12 of 12', '0 of 8')
    """
    return f"{count:,} of {n:,}"


def quantity_interval(
    row: Row, measure: str, say: Say = written, *, to: str = "half"
) -> str:
    """Write an estimated measure with its interval.

    >>> quantity_interval({"estimate": 91.2, "low": 88, "high": 94}, "stature_cm")
    '91 cm (88 to 94)'
    """
    words = [say(row[name], measure, to=to) for name in ("estimate", "low", "high")]
    if all(len(word.split()) == 2 for word in words):
        words[1:] = [word.split()[0] for word in words[1:]]
    return f"{words[0]} ({words[1]} to {words[2]})"


def _of_100(value: float, places: int) -> str:
    step = 10.0**-places
    if round(100 * value, places) <= 0:
        return f"under {step:.{places}f}"
    if round(100 * value, places) >= 100:
        return f"over {100 - step:.{places}f}"
    return f"{100 * value:.{places}f}"


def prose(subject: str, name: str, *told: object) -> str:
    """Return what a macro of ``words/texts/SUBJECT.j2`` says: each paragraph a line."""
    said = str(getattr(_prose(subject), name)(*told)).strip()
    lines = re.split(r"\n[ \n]*\n", said)
    return "\n".join(re.sub(r" *\n *", " ", line.strip(" ")) for line in lines)


@cache
def _prose(subject: str) -> Any:
    # Most commands say nothing by templates.
    import jinja2

    path = Path(__file__).parent / "texts" / f"{subject}.j2"
    made = jinja2.Environment(
        trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    made.globals |= {one.__name__: one for one in (share, given, in_100)}
    made.globals["points_interval"] = points_interval
    return made.from_string(path.read_text("utf-8")).module
