"""What a study found, as tables of finished cells for its page and its notebook."""

import pandas as pd

from sizing.bands import GroupsFit
from sizing.charts import OUTCOME_WORDS
from sizing.coverage import Coverage
from sizing.measures import MEASURES
from sizing.plots.style import percent
from sizing.study.study import Study
from sizing.words.labels import (
    BY_WORDS,
    LEVEL_WORDS,
    covered_rows,
    labels,
    length,
    miss_rows,
)

#: How to read odds ratios.
ODDS = (
    "Odds ratios compare a group with the one named beside it, the other things in "
    "the table being equal: above 1, they fall between sizes more often."
)


def fit_words(fitted: GroupsFit) -> pd.DataFrame:
    """Say how near each group's sizes come to the best there could be."""
    return pd.DataFrame(
        {
            "Group": group,
            "Fitted to them": percent(fit.share, places=1),
            "At best": percent(fit.upper_bound, places=1),
            "People not fitted to": f"{percent(fit.held_out, places=1)} "
            f"({percent(fit.held_out_low, places=1)} to "
            f"{percent(fit.held_out_high, places=1)})",
            "Simple bands, same people": percent(fit.rival_held_out, places=1),
        }
        for group, fit in fitted.fits.items()
    )


def coverage_words(found: Coverage) -> pd.DataFrame:
    """Say who has at least one size, by subgroup."""
    rows = covered_rows(found)
    return pd.DataFrame(
        {
            "Group": rows["by"],
            "Level": rows["level"],
            "With a size": rows["estimate"].map(percent),
            "95 % interval": [
                f"{percent(low)} to {percent(high)}"
                for low, high in zip(rows["low"], rows["high"], strict=True)
            ],
            "People": [
                f"{n:,}{' (few)' if few else ''}"
                for n, few in zip(rows["n"], rows["small_group"], strict=True)
            ],
        }
    )


def outcome_words(study: Study) -> pd.DataFrame:
    """Say what comes of it for everyone."""
    rows = [study.overall(outcome) for outcome in OUTCOME_WORDS]
    return pd.DataFrame(
        {
            "Outcome": [OUTCOME_WORDS[row["outcome"]] for row in rows],
            "Share": [percent(row["estimate"], places=1) for row in rows],
            "95 % interval": [
                f"{percent(row['low'], places=1)} to {percent(row['high'], places=1)}"
                for row in rows
            ],
        }
    )


def miss_words(misses: pd.DataFrame) -> pd.DataFrame:
    """Say which measure keeps people from their nearest size, and by how much."""
    rows = miss_rows(misses)
    units = {m: m.rsplit("_", 1)[1] for m in MEASURES}
    return pd.DataFrame(
        {
            "Measure that fails": rows["measure"].map(labels()),
            "Which way": rows["direction"],
            "Share of everyone": _shares(rows),
            "By how much": [
                f"half of them by up to {length(mid)} {units[m]}, 95 in 100 by "
                f"up to {length(most)} {units[m]}"
                for m, mid, most in zip(
                    rows["measure"], rows["miss_median"], rows["miss_most"], strict=True
                )
            ],
        }
    )


def odds_words(between: pd.DataFrame) -> pd.DataFrame:
    """Say who falls between sizes more often than whom."""
    rows = between[between["level"] != between["reference"]]
    return pd.DataFrame(
        {
            "Among": rows["fitted_to"],
            "Group": [
                f"{BY_WORDS.get(term, term)}: {LEVEL_WORDS.get(level, level)}"
                for term, level in zip(rows["term"], rows["level"], strict=True)
            ],
            "Compared with": [LEVEL_WORDS.get(r, r) for r in rows["reference"]],
            "Times as likely (95 % interval)": [
                message if pd.isna(e) else f"{e:.1f} ({lo:.1f} to {hi:.1f})"
                for e, lo, hi, message in zip(
                    rows["estimate"],
                    rows["low"],
                    rows["high"],
                    rows["message"],
                    strict=True,
                )
            ],
        }
    )


def size_words(study: Study) -> pd.DataFrame:
    """Say how many fit each size, and how many no other."""
    rows = study.coverage.by_size
    words = {
        share: _shares(rows[rows["share"] == share]) for share in ("fits", "only_size")
    }
    return pd.DataFrame(
        {
            "Size": list(study.chart.sizes),
            "Fits it": words["fits"],
            "Fits no other": words["only_size"],
        }
    )


def _shares(rows: pd.DataFrame) -> list[str]:
    return [
        f"{percent(e, places=1)} ({percent(lo, places=1)} to {percent(hi, places=1)})"
        for e, lo, hi in zip(rows["estimate"], rows["low"], rows["high"], strict=True)
    ]
