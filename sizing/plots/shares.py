"""Shares: by subgroup, why people fall between, and what each assumption moves."""

from textwrap import fill
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

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
from sizing.words.numbers import points
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
            _bar(ax, row, place, step, height * 0.92)
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
                _bar(ax, row, place + step, step, 0.86)
                _label(ax, row, place + step)
            ticks.append(place + (len(rows) - 1) / 2)
            place += len(rows) + 0.5
        ax.axvline(0, color=INK, lw=1.2)
        name_rows(ax, ticks, [fill(str(name), _LETTERS) for name in order])
        # Room for the settings' words beside the bars.
        ax.margins(x=0.32, y=0.02)
        ax.xaxis.set_major_formatter(FuncFormatter(lambda change, _: points(change)))
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


def _bar(ax: Axes, row: dict[Any, Any], place: float, step: int, height: float) -> None:
    """Draw a share as a bar of its own shade and hatch, its interval over it."""
    ax.barh(
        place,
        row["estimate"],
        height=height,
        color=SHADES[(step + 1) % len(SHADES)],
        hatch=HATCHES[step % len(HATCHES)],
        edgecolor=INK,
        linewidth=0.7,
    )
    ax.plot([row["low"], row["high"]], [place, place], color=INK, lw=1.4)


def _label(ax: Axes, row: dict[Any, Any], place: float) -> None:
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
