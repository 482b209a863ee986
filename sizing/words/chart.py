"""What is found of a chart and of the people it serves, in plain words."""

import numpy as np
import pandas as pd

from sizing.measures import plain
from sizing.resources import texts
from sizing.words.numbers import (
    Row,
    Say,
    count_in,
    in_100,
    interval,
    probably,
    share,
    span,
    told,
    written,
)

_TEXTS = texts("own_chart")
_T: dict[str, str] = _TEXTS.found
#: So many rows of clients without a size are named in a sentence.
_ROWS = 12


def fits_words(chart: str, row: Row, people: str, *, own: bool) -> str:
    n = row["n"]
    whom = "this one client" if n == 1 else f"these {n:,} clients"
    shares = {"share": share(row["estimate"]) if own else in_100(row["estimate"])}
    shares |= {"whom": whom, "probably": probably(row)}
    words = _T["fits_clients" if own else "fits"]
    return words.format(chart=chart, people=people, n=n, **shares)


def why_words(row: Row, *, say: Say = written) -> str:
    """Return one row of ``why_none`` in plain words, measures written by ``say``."""
    measure, how = str(row["measure"]), _TEXTS.how[str(row["direction"])]
    words = _T["why"].format(share=interval(row), measure=plain(measure), how=how)
    if np.isfinite(row["miss_median"]):
        words += _T["half"].format(miss=say(row["miss_median"], measure, to="tenth"))
    return f"{words}."


def finding_words(findings: pd.DataFrame, *, say: Say = written) -> list[str]:
    return [told(words, say) for words in findings["words"]]


def load_first_words(sizes: pd.DataFrame, *, say: Say = written) -> list[str]:
    return [
        _T["load_first"].format(
            size=row["size"],
            limit=say(row["load_limit_kg"], "load_limit_kg", to="tenth"),
            share=interval(row, "load_first", "load_first_"),
        )
        for _, row in sizes[sizes["load_first"] > 0].iterrows()
    ]


def change_words(changes: pd.DataFrame, *, say: Say = written) -> list[str]:
    lines = []
    for kind, rows in changes.groupby("change", sort=False):
        row = rows.iloc[0]
        ends = zip(rows["measure"], rows["from"], rows["to"], strict=True)
        moved = ", ".join(f"{plain(m)} {span(a, b, m, say)}" for m, a, b in ends)
        given = {"moved": moved, "end": row["end"], "size": row["size"]}
        given |= {"share": interval(row), "left_out": share(row["left_out"])}
        words = (_T["edge" if kind == "edge" else "more"] + _T["reaches"]).format(
            **given
        )
        lines.append(words + _T["unsettled"] * bool(row["low"] <= 0))
    if lines:
        whom = _T["halved" if changes["halved"].iloc[0] else "same"]
        best = _T["proved" if changes["proved"].all() else "searched"]
        lines.append(f"{whom} {best} {_T['try']}")
    return lines


def served_words(clients: pd.DataFrame) -> str:
    named = clients["fits"] != ""
    fit, wait = named.sum(), (named & (clients["measure"] != "")).sum()
    words = _T["served"].format(count=count_in(fit, len(clients)))
    words += _T["waiting"].format(count=count_in(wait, fit)) if wait else ""
    if rows := [str(row) for row in clients.loc[~named, "row"]]:
        more = f" and {len(rows) - _ROWS:,} more" if len(rows) > _ROWS else ""
        which = f"row{'s' * (len(rows) > 1)} {', '.join(rows[:_ROWS])}{more}"
        words += _T["unserved"].format(rows=which)
    return f"{words}."
