"""How far the share covered moves with each assumption, biggest first."""

from textwrap import fill
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from sizing.plots.style import (
    HATCHES,
    INK,
    SHADES,
    SOFT,
    axes_or_new,
    grid_below,
    name_rows,
    percent_axis,
    quiet_style,
)
from sizing.words.numbers import share as percent

#: Letters of an assumption's name in one line.
_LETTERS = 22


def plot_sensitivity(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw one row per assumption, one bar per setting, the biggest on top."""
    size = table["estimate"].abs().groupby(table["assumption"]).max()
    order = list(size.sort_values(ascending=False, kind="stable").index)
    ax = axes_or_new(ax, width=7.2, height=1.0 + 0.5 * len(order))
    with quiet_style():
        ticks, place = [], 0.0
        for assumption in order:
            rows = table[table["assumption"] == assumption].to_dict("records")
            for step, row in enumerate(rows):
                _bar(ax, row, place + step, step)
            ticks.append(place + (len(rows) - 1) / 2)
            place += len(rows) + 0.5
        ax.axvline(0, color=INK, lw=1.2)
        name_rows(ax, ticks, [fill(str(name), _LETTERS) for name in order])
        # Room for the settings' words beside the bars.
        ax.margins(x=0.32, y=0.02)
        ax.xaxis.set_major_formatter(FuncFormatter(_points))
        grid_below(ax)
        ax.set_xlabel("Change of the share with at least one size, points")
    return ax


def plot_widths(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the share with a size against the width of the sizes, 1 marked."""
    ax = axes_or_new(ax, width=7.2, height=3.2)
    with quiet_style():
        ax.plot(table["scale"], table["share"], "-o", color=INK, lw=1.6, ms=4)
        ax.axvline(1, color=SOFT, lw=1, linestyle="--")
        for row in table.to_dict("records"):
            ax.annotate(
                percent(row["share"]),
                (row["scale"], row["share"]),
                (6, -5),
                textcoords="offset points",
                va="top",
                fontsize=9,
            )
        ax.annotate(
            "the convention",
            (1, 1),
            (4, 4),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            fontsize=9,
            color=SOFT,
        )
        ax.margins(x=0.1, y=0.15)
        percent_axis(ax.yaxis)
        ax.grid(axis="y")
        ax.set_xlabel("Width of the sizes, times the convention")
        ax.set_ylabel("People with a size")
    return ax


def _points(change: float, _: int) -> str:
    return f"{100 * change:+.0f}" if round(100 * change) else "0"


def _bar(ax: Axes, row: dict[str, Any], place: float, step: int) -> None:
    ax.barh(
        place,
        row["estimate"],
        height=0.86,
        color=SHADES[(step + 1) % len(SHADES)],
        hatch=HATCHES[step % len(HATCHES)],
        edgecolor=INK,
        linewidth=0.7,
    )
    ax.plot([row["low"], row["high"]], [place, place], color=INK, lw=1.4)
    left = row["estimate"] < 0
    ax.annotate(
        str(row["label"]),
        (min(row["low"], 0) if left else max(row["high"], 0), place),
        xytext=(-4 if left else 4, 0),
        textcoords="offset points",
        ha="right" if left else "left",
        va="center",
        fontsize=8.5,
        color=SOFT,
    )
