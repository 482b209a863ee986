"""The tables of one client's answer, every cell written for people."""

import numpy as np
import pandas as pd

from sizing.client import ClientAnswer
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, written
from sizing.words.client import chance_words, room_words

#: Sizes less likely than this are left out of a table.
_SHOWN = 0.01


def sizes_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    """Return the sizes that may fit, likeliest first; two at least.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.client import check_client
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68}, loads={"hoist": 60})
    >>> sizes_table(found)["Chance that all fits"].unique().tolist()
    ['over the load limit']
    """
    rows = answer.sizes[answer.sizes["estimate"].fillna(answer.sizes["high"]) >= _SHOWN]
    rows = answer.sizes.head(2) if len(rows) < 2 else rows
    return pd.DataFrame(
        {
            "Size": rows["size"],
            "Chance that all fits": [chance_words(row) for _, row in rows.iterrows()],
            "Decided by": [
                "weight" if over else plain(measure)
                for measure, over in zip(
                    rows["deciding_measure"], rows["over_load"], strict=True
                )
            ],
            "Room": [
                "none: over the load limit"
                if row["over_load"]
                else "not taken, so not judged"
                if row["not_judged"]
                else room_words(
                    float(row["margin"]), str(row["deciding_measure"]), say=say
                )
                for _, row in rows.iterrows()
            ],
        }
    )


def measures_table(
    answer: ClientAnswer, *, say: Say = written, needed: bool = True
) -> pd.DataFrame:
    """Return what was read, how, and beside it the best estimate."""
    rows = answer.measures
    if needed:
        limited = rows["measure"].isin(set(answer.margins["measure"]))
        rows = rows[rows["reading"].notna() | limited]
    names = [str(name) for name in rows["measure"]]

    def each(column: str, to: str, empty: str = "") -> list[str]:
        return [
            say(value, name, to=to) if np.isfinite(value) else empty
            for value, name in zip(rows[column], names, strict=True)
        ]

    readings = each("reading", "tenth", "not taken")
    taken = [each(column, "half") for column in ("estimate", "low", "high")]
    return pd.DataFrame(
        {
            "Measure": rows["label"],
            "Reading": readings,
            "How": [how or "" for how in rows["how"]],
            "Off by (SD)": each("error_sd", "tenth"),
            "Best estimate (90 %)": [
                ("predicted: " if read == "not taken" and row[0] else "") + _span(*row)
                for read, row in zip(readings, zip(*taken, strict=True), strict=True)
            ],
            "Standing": rows["evidence"].replace("missing", "not known"),
        }
    )


def _span(middle: str, low: str, high: str) -> str:
    """Return a value with its interval; one unit is named once."""
    if not middle:
        return "not predicted"
    if all(len(words.split()) == 2 for words in (middle, low, high)):
        low, high = low.split()[0], high.split()[0]
    return f"{middle} ({low} to {high})"


def loads_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    """Return each part's safe working load; of the slings only the first two."""
    slings = answer.loads["part"].str.startswith("sling, size ")
    play = [f"sling, size {name}" for name in answer.sizes["size"].head(2)]
    rows = answer.loads[~slings | answer.loads["part"].isin(play)]
    return pd.DataFrame(
        {
            "Part": rows["part"],
            "Safe working load": [
                load_words(value, say=say) if np.isfinite(value) else "not entered"
                for value in rows["load_limit_kg"]
            ],
        }
    )


def load_words(value: float, *, say: Say = written) -> str:
    """Return a load in the units chosen, and in kg, as labels state it.

    Examples
    --------
    >>> from functools import partial
    >>> load_words(160), load_words(160, say=partial(written, units="pounds"))
    ('160 kg', '352.7 lb (160 kg)')
    """
    words = say(value, "load_limit_kg", to="tenth")
    kept = written(value, "load_limit_kg", to="tenth")
    return words if words == kept else f"{words} ({kept})"
