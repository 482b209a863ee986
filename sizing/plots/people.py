"""How large the people of a population are."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.measures import SEATED_AND_GIRTHS
from sizing.plots.style import (
    INK,
    MARKERS,
    SOFT,
    axes_or_new,
    grid_below,
    name_rows,
    quiet_style,
)
from sizing.words.labels import labels, sex_words


def plot_percentiles(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """``table`` is that of ``sizing.people.profile.percentiles``."""
    whole = table[(table["age_band"] == "everyone") & (table["sex"] != "everyone")]
    places = whole.set_index(["variable", "sex", "statistic"])["estimate"]
    shown = ["stature_cm", *SEATED_AND_GIRTHS]
    shown = [name for name in shown if name in places.index.get_level_values(0)]
    bands = table["age_band"].unique()
    sexes = list(dict.fromkeys(whole["sex"]))
    ax = axes_or_new(ax, width=7.2, height=1.2 + 0.42 * len(shown))
    with quiet_style():
        for place, name in enumerate(shown):
            for s, sex in enumerate(sexes):
                row, y = places[name, sex], place + 0.28 * (s - 0.5)
                for low, high, width in (("p01", "p99", 0.8), ("p05", "p95", 2.2)):
                    if {low, high} <= set(row.index):
                        ax.plot([row[low], row[high]], [y, y], color=SOFT, lw=width)
                label = None if place else sex_words(sex, bands)
                ax.plot(row["p50"], y, MARKERS[s], color=INK, ms=5, label=label)
        words = labels()
        name_rows(ax, list(range(len(shown))), [words[n].split(",")[0] for n in shown])
        ax.set_xlabel("cm")
        ax.legend(frameon=False, loc="lower center", bbox_to_anchor=(0.5, 1), ncols=2)
        grid_below(ax)
    return ax
