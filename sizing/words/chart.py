"""What is found of a chart and of the people it serves, in plain words."""

import numpy as np
import pandas as pd

from sizing.measures.vocabulary import plain
from sizing.words.numbers import (
    Row,
    Say,
    count_in,
    interval,
    share,
    span,
    told,
    written,
)

_HOW = {
    "too_small_for": "their nearest size is too small",
    "too_large_for": "their nearest size is too large",
    "over_load": "their nearest size has too low a load limit",
    "not_measured": "it was not measured",
}
_HALVED = (
    "Each change was chosen among one half of these people, and counted among the "
    "other half."
)
_SAME = "Each was chosen and counted among the same people: expect less of others."
_PROVED = (
    "Where it was chosen, no other edge moved so far reaches more, nor any other size "
    "of the chart's usual widths."
)
_SEARCHED = (
    "Where it was chosen, no other edge moved so far reaches more; of other sizes of "
    "the chart's usual widths that is not proved."
)
_TRY = "Whether a sling holds so much more, only its supplier and trying it on can say."
#: So many rows of clients without a size are named in a sentence.
_ROWS = 12


def why_words(row: Row, *, say: Say = written) -> str:
    """Return one row of ``why_none`` in plain words, measures written by ``say``."""
    measure = str(row["measure"])
    words = (
        f"{interval(row)} have no size because of {plain(measure)}: "
        f"{_HOW[str(row['direction'])]}"
    )
    if np.isfinite(row["miss_median"]):
        miss = say(row["miss_median"], measure, to="tenth")
        words += f", for half of them by {miss} or less"
    return f"{words}."


def finding_words(findings: pd.DataFrame, *, say: Say = written) -> list[str]:
    """Return what is doubtful in a chart, measures written by ``say``."""
    return [told(words, say) for words in findings["words"]]


def load_first_words(sizes: pd.DataFrame, *, say: Say = written) -> list[str]:
    """Return where the load limit rules people out although the fabric would fit."""
    heavy = sizes[sizes["load_first"] > 0]
    return [
        f"{row['size']}: the load limit of "
        f"{say(row['load_limit_kg'], 'load_limit_kg', to='tenth')} rules out "
        f"{interval(row, 'load_first', 'load_first_')} of all people, though the "
        "fabric would fit."
        for _, row in heavy.iterrows()
    ]


def change_words(changes: pd.DataFrame, *, say: Say = written) -> list[str]:
    """Return what would reach most of those whom a chart leaves out."""
    lines = []
    for kind, rows in changes.groupby("change", sort=False):
        row = rows.iloc[0]
        moved = [
            f"{plain(name)} {span(low, high, name, say)}"
            for name, low, high in zip(
                rows["measure"], rows["from"], rows["to"], strict=True
            )
        ]
        words = f"One size more: {', '.join(moved)}."
        if kind == "edge":
            words = f"One edge moved: the {row['end']} edge of '{row['size']}' in"
            words += f" {moved[0]}."
        words += f" It would give a size to {interval(row)} of all people"
        words += f"; {share(row['left_out'])} have none now."
        if row["low"] <= 0:
            words += " These people do not settle whether it reaches anybody."
        lines.append(words)
    if lines:
        whom = _HALVED if changes["halved"].iloc[0] else _SAME
        best = _PROVED if changes["proved"].all() else _SEARCHED
        lines.append(f"{whom} {best} {_TRY}")
    return lines


def served_words(clients: pd.DataFrame) -> str:
    """Return how many of a list of clients are served, and the rows of the others."""
    named = clients["fits"] != ""
    fit, wait = named.sum(), (named & (clients["measure"] != "")).sum()
    words = "One by one, with the error of each reading, a size more likely fits than "
    words += f"not for {count_in(fit, len(clients))} clients"
    if wait:
        words += f"; for {count_in(wait, fit)} something is still to be measured"
    rows = [str(row) for row in clients.loc[~named, "row"]]
    if not rows:
        return f"{words}."
    more = f" and {len(rows) - _ROWS:,} more" if len(rows) > _ROWS else ""
    which = "row" if len(rows) == 1 else "rows"
    return f"{words}. No size is named for {which} {', '.join(rows[:_ROWS])}{more}."
