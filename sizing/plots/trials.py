"""Printed bands of a measure, and where trials show that they begin and end."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.plots.style import (
    INK,
    MARKERS,
    SHADES,
    SOFT,
    axes_or_new,
    grid_below,
    name_rows,
    quiet_style,
)


def plot_learned(
    edges: pd.DataFrame, measure: str, *, label: str, ax: Axes | None = None
) -> Axes:
    """Draw each size's printed band, and its learned edges with their intervals."""
    rows = edges[edges["measure"] == measure]
    sizes = list(dict.fromkeys(rows["size"]))
    ax = axes_or_new(ax, width=7.6, height=1.6 + 0.42 * len(sizes))
    with quiet_style():
        printed = rows.pivot_table(index="size", columns="end", values="printed")
        printed = printed.reindex(index=sizes, columns=["low", "high"])
        ends = rows[["printed", "low", "high"]]
        left, right = float(ends.min().min()), float(ends.max().max())
        room = 0.05 * (right - left)
        begins = printed["low"].fillna(left - room)
        ends_at = printed["high"].fillna(right + room)
        ax.barh(
            range(len(sizes)),
            ends_at - begins,
            left=begins,
            height=0.5,
            color=SHADES[3],
            edgecolor=SOFT,
            label="printed",
        )
        for end, marker in zip(("low", "high"), MARKERS, strict=False):
            own = rows[(rows["end"] == end) & rows["estimate"].notna()]
            ax.errorbar(
                own["estimate"],
                [sizes.index(size) for size in own["size"]],
                xerr=[own["estimate"] - own["low"], own["high"] - own["estimate"]],
                fmt=marker,
                color=INK,
                markersize=5,
                capsize=3,
                ls="none",
                label=f"learned: {'begins' if end == 'low' else 'ends'} (90 %)",
            )
        name_rows(ax, range(len(sizes)), sizes)
        grid_below(ax)
        ax.set_xlabel(label)
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, 1.16), ncols=3, fontsize=9)
    return ax
