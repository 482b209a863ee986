"""Shares with their intervals: coverage by subgroup, and why people fall between."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.plots.style import (
    FAINT,
    HATCHES,
    INK,
    MARKERS,
    SHADES,
    SOFT,
    axes_or_new,
    beside,
    grid_below,
    name_rows,
    past,
    percent_axis,
    quiet_style,
)
from sizing.words.numbers import share as percent


def plot_shares(table: pd.DataFrame, *, x_label: str, ax: Axes | None = None) -> Axes:
    """Draw one dot with its interval per row, grouped as in the table."""
    ax = axes_or_new(ax, width=7.2, height=1.2 + 0.34 * len(table))
    with quiet_style():
        groups = list(dict.fromkeys(table["by"]))
        place, ticks, names = 0.0, [], []
        previous = None
        for row in table.to_dict("records"):
            if row["by"] != previous and row["by"] != row["level"]:
                place += 0.3
                ax.annotate(
                    str(row["by"]),
                    (0, place),
                    xycoords=("axes fraction", "data"),
                    xytext=(6, 0),
                    textcoords="offset points",
                    va="center",
                    fontsize=9.5,
                    fontstyle="italic",
                    color=SOFT,
                )
                ax.axhline(place - 0.6, color=FAINT, linewidth=0.8)
                place += 0.9
            previous = row["by"]
            marker = MARKERS[groups.index(row["by"]) % len(MARKERS)]
            ax.plot([row["low"], row["high"]], [place, place], color=SOFT, lw=2.2)
            ax.plot(row["estimate"], place, marker, color=INK, ms=6)
            beside(ax, percent(row["estimate"]), place)
            ticks.append(place)
            names.append(str(row["level"]))
            place += 1
        name_rows(ax, ticks, names)
        ax.set_xlim(right=1.0)
        percent_axis(ax.xaxis)
        grid_below(ax)
        ax.set_xlabel(x_label)
    return ax


def plot_misses(
    table: pd.DataFrame, *, labels: dict[str, str], ax: Axes | None = None
) -> Axes:
    """Draw which measure parts people from their nearest size, and which way."""
    measures = list(dict.fromkeys(table["measure"]))
    directions = list(dict.fromkeys(table["direction"]))
    ax = axes_or_new(ax, width=7.2, height=1.6 + 0.75 * len(measures))
    with quiet_style():
        height = 0.8 / max(len(directions), 1)
        for row in table.to_dict("records"):
            step = directions.index(row["direction"])
            place = measures.index(row["measure"]) + (step + 0.5) * height - 0.4
            ax.barh(
                place,
                row["estimate"],
                height=height * 0.92,
                color=SHADES[(step + 1) % len(SHADES)],
                hatch=HATCHES[step % len(HATCHES)],
                edgecolor=INK,
                linewidth=0.7,
            )
            ax.plot([row["low"], row["high"]], [place, place], color=INK, lw=1.4)
            past(
                ax, percent(row["estimate"], places=1), (row["high"], place), fontsize=9
            )
        for step, direction in enumerate(directions):
            ax.barh(
                0,
                0,
                color=SHADES[(step + 1) % len(SHADES)],
                hatch=HATCHES[step % len(HATCHES)],
                edgecolor=INK,
                label=str(direction),
            )
        name_rows(ax, range(len(measures)), [labels[m] for m in measures])
        ax.margins(x=0.12)
        ax.set_xlim(left=0)
        percent_axis(ax.xaxis, decimals=None)
        grid_below(ax)
        ax.set_xlabel("Share of all people")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.22), ncols=2, fontsize=9)
    return ax
