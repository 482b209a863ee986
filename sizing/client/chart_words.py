"""What is found of a chart, in plain words."""

import numpy as np
import pandas as pd

from sizing.client.words import plain, share
from sizing.measures.written import Say, written

_HOW = {
    "too_small_for": "their nearest size is too small",
    "too_large_for": "their nearest size is too large",
    "over_load": "their nearest size has too low a load limit",
    "not_measured": "it was not measured",
}


def why_words(row: pd.Series, *, say: Say = written) -> str:
    """Return one row of ``why_none`` in plain words, measures written by ``say``."""
    measure = str(row["measure"])
    words = (
        f"{percent_span(row)} have no size because of {plain(measure)}: "
        f"{_HOW[str(row['direction'])]}"
    )
    if np.isfinite(row["miss_median"]):
        miss = say(row["miss_median"], measure, to="tenth")
        words += f", for half of them by {miss} or less"
    return f"{words}."


def percent_span(row: pd.Series, name: str = "estimate", prefix: str = "") -> str:
    """Return a share of people in whole percent with its interval.

    Examples
    --------
    >>> percent_span(pd.Series({"estimate": 0.541, "low": 0.512, "high": 0.566}))
    '54 % (51 to 57)'
    """
    low, high = row[f"{prefix}low"], row[f"{prefix}high"]
    return f"{share(row[name])} ({100 * low:.0f} to {100 * high:.0f})"


def finding_words(findings: pd.DataFrame) -> list[str]:
    """Return what is doubtful in the chart, measures by their labels."""
    return [
        # The findings say "hip circumference", people "hip girth".
        str(row["words"]).replace(
            str(row["measure"]).rsplit("_", 1)[0].replace("_", " "),
            plain(str(row["measure"])),
        )
        for _, row in findings.iterrows()
    ]


def load_words(sizes: pd.DataFrame, *, say: Say = written) -> list[str]:
    """Return where the load limit rules people out whom the fabric would fit."""
    heavy = sizes[sizes["load_first"] > 0]
    return [
        f"{row['size']}: the load limit of "
        f"{say(row['load_limit_kg'], 'load_limit_kg', to='tenth')} rules out "
        f"{percent_span(row, 'load_first', 'load_first_')} of all people, whom the "
        "fabric would fit."
        for _, row in heavy.iterrows()
    ]
