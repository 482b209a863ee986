"""The one way in which a share, a difference or an interval of them is written."""

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
    """Return words for a page: no line ends between a number and its sign %."""
    return _SIGN.sub("\u00a0%", text)


def share(value: float, *, places: int = 0) -> str:
    """Write an estimated share of 0 to 1 in percent: 95 %, under 1 %, over 99 %."""
    return f"{_of_100(value, places)} %"


def given(value: float) -> str:
    """Write a share that somebody set or published: as it is, and it may be all."""
    return f"{round(100 * value, 2):g} %"


def in_100(value: float, *, places: int = 0) -> str:
    """Write an estimated share as people of a hundred: over 99 in 100."""
    return f"{_of_100(value, places)} in 100"


def sizes_fit(sizes: int, share: float) -> str:
    """Say what a number of sizes fits, the beginning of a sentence."""
    fit = "1 size fits" if sizes == 1 else f"{sizes} sizes fit"
    return f"{fit} {in_100(share)} of these people"


def probably(row: Row) -> str:
    """Write the interval of a share in words: probably between 92 and 94."""
    low, high = (_of_100(row[end], 0) for end in ("low", "high"))
    return f"probably {low if low == high else f'between {low} and {high}'}"


def interval(
    row: Row, name: str = "estimate", prefix: str = "", *, places: int = 0
) -> str:
    """Write an estimated share with its interval, if any is seen: 54 % (51 to 57)."""
    ends = (_of_100(row[prefix + end], places) for end in ("low", "high"))
    return _with_ends(share(row[name], places=places), *ends)


def points(change: float, *, places: int = 0, sign: bool = True) -> str:
    """Write a difference of two shares in points of a hundred: +3."""
    value = round(100 * change, places)
    # Neither "-0" nor "+0": nothing has no sign.
    if value == 0:
        return "0"
    return f"{value:{'+' if sign else ''}.{places}f}"


def points_interval(row: Row, *, places: int = 0) -> str:
    """Write a difference of two shares with its interval: +3 (0 to +6)."""
    ends = (points(row[name], places=places) for name in ("estimate", "low", "high"))
    return _with_ends(*ends)


def count_in(count: int, n: int) -> str:
    """Write what was counted, which is known and may be all or none: 12 of 12."""
    return f"{count:,} of {n:,}"


def quantity_interval(
    row: Row, measure: str, say: Say = written, *, to: str = "half"
) -> str:
    """Write an estimated measure with its interval: 91 cm (88 to 94)."""
    words = [say(row[name], measure, to=to) for name in ("estimate", "low", "high")]
    if all(len(word.split()) == 2 for word in words):
        words[1:] = [word.split()[0] for word in words[1:]]
    return f"{words[0]} ({words[1]} to {words[2]})"


def _with_ends(words: str, low: str, high: str) -> str:
    return words if low == high else f"{words} ({low} to {high})"


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
