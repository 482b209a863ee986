"""Pictures of fitted bands: the frontier, and the edges' stability."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.measures import vocabulary
from sizing.plots.style import (
    FAINT,
    INK,
    LINES,
    MARKERS,
    SHADES,
    axes_or_new,
    percent_axis,
    quiet_style,
)


def _named(measure: str) -> str:
    """Return a measure's plain name and unit, as the pages write them."""
    words = vocabulary()
    words = words[words["name"] == measure]
    return ", ".join([*words["label"], *words["unit"]]) or measure


def plot_frontier(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw coverage against band width, one line per number of sizes."""
    ax = axes_or_new(ax)
    width = next(name for name in table.columns if name.endswith("_width"))
    measure = width.removesuffix("_width")
    with quiet_style():
        for k, (sizes, part) in enumerate(table.groupby("sizes", sort=True)):
            line = LINES[k % len(LINES)]
            shade = SHADES[min(k, 2)]
            ax.plot(part[width], part["estimate"], line, color=shade, lw=1.8)
            ax.plot(
                part[width],
                part["held_out"],
                MARKERS[k % len(MARKERS)],
                color=shade,
                ms=5,
            )
            ax.vlines(part[width], part["low"], part["high"], color=shade, lw=1)
            first = part.iloc[0]
            ax.annotate(
                f"{sizes} sizes",
                (first[width], first["estimate"]),
                xytext=(-8, 0),
                textcoords="offset points",
                ha="right",
                va="center",
                color=INK,
            )
        percent_axis(ax.yaxis)
        ax.grid(axis="y")
        ax.margins(x=0.14)
        ax.set_xlabel(
            f"Width of the bands: {_named(measure)}\n"
            "Lines: people fitted to. Marks, bars: people held out, 95 % interval."
        )
        ax.set_ylabel("People who fit a size")
        ax.set_title("Coverage and band width")
    return ax


def plot_edge_stability(
    table: pd.DataFrame, measure: str, *, ax: Axes | None = None
) -> Axes:
    """Draw each size's band in one measure, and how far its ends move."""
    part = table[table["measure"] == measure]
    sizes = sorted(part["size"].unique())
    ax = axes_or_new(ax, height=1.6 + 0.55 * len(sizes))
    with quiet_style():
        for size in sizes:
            ends = part[part["size"] == size].set_index("end")
            ax.plot(
                ends.loc[["low", "high"], "estimate"],
                [size, size],
                color=FAINT,
                lw=9,
                solid_capstyle="butt",
                zorder=1,
            )
            for end, marker in (("low", ">"), ("high", "<")):
                row = ends.loc[end]
                ax.plot([row["low"], row["high"]], [size, size], color=INK, lw=1.6)
                ax.plot([row["low"], row["high"]], [size, size], "|", color=INK, ms=10)
                ax.plot(row["estimate"], size, marker, color=INK, ms=6)
        ax.set_yticks(sizes, [f"size {size}" for size in sizes])
        ax.set_ylim(sizes[-1] + 0.6, sizes[0] - 0.6)
        ax.set_xlabel(
            f"{_named(measure)}\n"
            "Broad bars: fitted bands. Lines at their ends: 95 % of refits to other "
            "samples."
        )
        ax.set_title("How far the edges move")
    return ax
