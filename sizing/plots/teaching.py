"""Pictures for a lesson and of trials: ways, guesses, tapes, a room; learned edges."""

from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from textwrap import fill
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sizing.lesson.room import signed
from sizing.measures import labels
from sizing.plots import style
from sizing.plots.style import FAINT, HATCHES, INK, LINES, MARKERS, SHADES, SOFT
from sizing.words.lesson import gain_labels
from sizing.words.numbers import interval, points_interval

#: Inches of a slide: at 200 dots an inch it fills a projector of 1920 by 1080.
WIDE, HIGH = 9.6, 5.4
#: Bars of what is told first, and of what is told second.
_FIRST: dict[str, Any] = {"color": SHADES[1], "edgecolor": INK}
_SECOND: dict[str, Any] = {"color": SHADES[3], "hatch": HATCHES[1], "edgecolor": INK}


def slide_axes(ax: Axes | None) -> Axes:
    """Return ``ax``, or the Axes of a new figure in the shape of a projector."""
    return style.axes_or_new(ax, width=WIDE, height=HIGH)


def _slide(draw: Callable[..., None]) -> Callable[..., Axes]:
    """Have a function draw on ``ax``, or on a new figure in a projector's shape."""

    @wraps(draw)
    def drawn(*given: Any, ax: Axes | None = None, **named: Any) -> Axes:
        ax = slide_axes(ax)
        with style.quiet_style():
            draw(ax, *given, **named)
        return ax

    return drawn


def _legend(ax: Axes, *, ncols: int = 1, below: float = 0.14) -> None:
    ax.legend(loc="upper left", bbox_to_anchor=(0, -below), ncols=ncols)


@_slide
def plot_wrong(ax: Axes, table: pd.DataFrame, *, ways: Mapping[str, str]) -> None:
    parts = [own.set_index("way") for _, own in table.groupby("outcome", sort=False)]
    names = [way for way in ways if way in parts[0].index]
    wrong, none = (100 * part.loc[names, ["estimate", "low", "high"]] for part in parts)
    y, middle = range(len(names)), wrong["estimate"]
    looks: dict[str, Any] = {"height": 0.7, "lw": 0.8, "edgecolor": INK}
    white: dict[str, Any] = {"color": "white", "hatch": "///"}
    ax.barh(y, middle, label="in a wrong size", color=SHADES[1], **looks)
    ax.barh(y, none["estimate"], left=middle, label="in none", **white, **looks)
    ax.plot([wrong["low"], wrong["high"]], [y, y], color=INK, lw=1.6)
    whole = middle + none["estimate"]
    ends = whole.clip(lower=wrong["high"]) + 1.2
    for i, (way, end) in enumerate(zip(names, ends, strict=True)):
        said = (interval(part.loc[way].to_dict()).replace(" %", "") for part in parts)
        words = "{} wrong, {} none".format(*said)
        ax.annotate(words, (end, i), va="center", fontsize=11)
    style.name_rows(ax, y, [ways[way] for way in names], fontsize=12)
    ax.set_xlim(0, max(float(whole.max()) + 46, 60))
    ax.set_xlabel("Of a hundred people who fit at least one size")
    _legend(ax, ncols=2, below=0.12)


@_slide
def plot_repeats(ax: Axes, table: pd.DataFrame) -> None:
    words = {
        "wrong_size": "put in a size that does not fit",
        "missed": "no size found though one fits",
    }
    shift = 0.0
    for i, (outcome, name) in enumerate(words.items()):
        for j, by in enumerate(dict.fromkeys(table["by"])):
            own = table[(table["outcome"] == outcome) & (table["by"] == by)]
            x, label = own["times"].to_numpy(dtype=float) + shift, f"{name}: {by}"
            look: Any = {"marker": MARKERS[2 * i + j], "ls": LINES[j], "mec": INK}
            ax.plot(x, own["estimate"], color=SHADES[i], label=label, **look)
            ax.vlines(x, own["low"], own["high"], color=SOFT, lw=1.2)
            shift += 0.04
    ax.set_xticks(sorted(set(table["times"])))
    ax.set_xlabel("Readings averaged")
    ax.set_ylim(bottom=0)
    style.percent_axis(ax.yaxis, decimals=None)
    ax.grid(axis="y")
    _legend(ax, below=0.13)


@_slide
def plot_agreement(
    ax: Axes, points: pd.DataFrame, table: pd.DataFrame, *, unit: str
) -> None:
    """Draw how far each guess is off, against the truth; no mark says whose."""
    x, y = points["truth"], points["difference"]
    ax.plot(x, y, "o", color=SHADES[1], mec=INK, ms=6)
    ax.axhline(0, color=FAINT, lw=1, zorder=0)
    told = dict(zip(table["statistic"], table["estimate"], strict=True))
    for name, words, line in (
        ("bias", "on average", LINES[0]),
        ("lower_limit", "lower limit", LINES[1]),
        ("upper_limit", "upper limit", LINES[1]),
    ):
        value = told.get(name, np.nan)
        if np.isfinite(value):
            ax.axhline(value, color=INK, ls=line, lw=1.4)
            style.beside(ax, f"{words} {signed(value)}", value, fontsize=11)
    ax.set(xlabel=f"Truth, {unit}", ylabel=f"Guess minus truth, {unit}")


@_slide
def plot_gain(ax: Axes, table: pd.DataFrame) -> None:
    y, bar = np.arange(len(table)), {"height": 0.36}
    ax.barh(y - 0.2, table["before"], label="first guess", **bar | _FIRST)
    ax.barh(y + 0.2, table["after"], label="guessed again", **bar | _SECOND)
    for i, row in enumerate(table.to_dict("records")):
        words = f"gain {points_interval(row)} points" if row["n"] > 1 else ""
        style.beside(ax, words, i, fontsize=12)
    names = table["measure"].map(gain_labels()).tolist()
    style.name_rows(ax, range(len(table)), names)
    ax.set_xlim(0, 1.15 * float(table[["before", "after"]].to_numpy().max()))
    style.percent_axis(ax.xaxis)
    ax.set_xlabel(
        "How far off a guess is, share of the truth; of sizes: share not right"
    )
    _legend(ax, ncols=2)


@_slide
def plot_courses(ax: Axes, table: pd.DataFrame) -> None:
    courses = list(dict.fromkeys(table["course"]))
    figures = {"wrong_chosen": "as chosen", "wrong_tape": "by their own tapes"}
    for i, (figure, words) in enumerate(figures.items()):
        own = table[table["figure"] == figure]
        x = np.array([courses.index(c) for c in own["course"]]) + 0.12 * i
        ax.vlines(x, own["low"], own["high"], color=SOFT, lw=1.6)
        look: Any = {"color": INK, "mfc": (INK, "white")[i], "label": words}
        ax.plot(x, own["estimate"], MARKERS[i], **look)
    # A dozen dates can be read; of more, every second or third is written.
    step = -(-len(courses) // 12)
    places = range(0, len(courses), step)
    ax.set_xticks(places, courses[::step], rotation=30, ha="right")
    ax.set(xlim=(-0.5, len(courses) - 0.3), ylim=(-0.02, 1.02))
    style.percent_axis(ax.yaxis)
    ax.grid(axis="y")
    ax.set_ylabel("In a size that does not fit")
    ax.legend(loc="upper right", ncols=2)


@_slide
def plot_measuring_error(ax: Axes, table: pd.DataFrame) -> None:
    measures = list(dict.fromkeys(table["measure"]))
    kinds = {
        "within": ("the same person again", -0.2, _SECOND | {"hatch": HATCHES[0]}),
        "between": ("another person", 0.2, _FIRST | {"hatch": HATCHES[1]}),
    }
    for kind, (words, off, look) in kinds.items():
        own = table[table["kind"] == kind]
        y, share = own["measure"].map(measures.index) + off, own["relative_tem"]
        ax.barh(y, share, height=0.36, **look)
        scale = (share / own["tem"]).fillna(0.0)
        ax.plot([own["low"] * scale, own["high"] * scale], [y, y], color=INK, lw=1.4)
        target = own["target_relative_tem"].astype(float)
        ax.plot([target, target], [y - 0.2, y + 0.2], color=INK, lw=3)
        ax.barh(0, 0, label=words, **look)
    ax.plot([], [], color=INK, lw=3, label="published target")
    names = [fill(labels()[measure], 18) for measure in measures]
    style.name_rows(ax, range(len(measures)), names)
    # A wide interval of a few readings must not squeeze the bars.
    ax.set_xlim(0, max(2.2 * float(table["relative_tem"].max()), 0.025))
    style.percent_axis(ax.xaxis, decimals=None)
    ax.set_xlabel("Technical error of measurement, share of the mean")
    _legend(ax, ncols=3)


@_slide
def plot_confusion(ax: Axes, table: pd.DataFrame, *, sizes: Sequence[str]) -> None:
    order = [*sizes, "none"]
    chosen = [s for s in order if s in set(table["chosen"])]
    right = sorted(
        set(table["right"]), key=lambda r: (order.index(r.split(" or ")[0]), r)
    )
    most = float(table["count"].max())
    count = table.set_index(["right", "chosen"])["count"].to_dict()
    for i, row in enumerate(right):
        for j, column in enumerate(chosen):
            number, fits = count.get((row, column), 0), column in row.split(" or ")
            grey = 0.75 - 0.55 * number / most if number else 1.0
            edge, wide = (INK, 2.6) if fits else (FAINT, 0.8)
            look: Any = {"fc": str(grey), "edgecolor": edge, "linewidth": wide}
            ax.add_patch(Rectangle((j - 0.46, i - 0.46), 0.92, 0.92, **look))
            if number:
                bold = "bold" if fits else "normal"
                ink: Any = {"color": INK if number / most < 0.5 else "white"}
                ink |= {"ha": "center", "va": "center", "fontweight": bold}
                ax.annotate(str(number), (j, i), **ink)
    ax.set(xlim=(-0.5, len(chosen) - 0.5), ylim=(len(right) - 0.5, -0.5))
    ax.set_xticks(range(len(chosen)), chosen, rotation=30, ha="right")
    ax.set_yticks(range(len(right)), [fill(words, 26) for words in right])
    ax.tick_params(length=0)
    ax.set(xlabel="Size chosen; a thick frame: it fits", ylabel="Sizes that fit")


def plot_learned(rows: pd.DataFrame, *, label: str, ax: Axes | None = None) -> Axes:
    """Draw each size's printed band, and its learned edges with their intervals."""
    sizes = list(dict.fromkeys(rows["size"]))
    ax = style.axes_or_new(ax, width=7.6, height=1.6 + 0.42 * len(sizes))
    printed = rows.pivot_table(index="size", columns="end", values="printed")
    printed = printed.reindex(index=sizes, columns=["low", "high"])
    ends = rows[["printed", "low", "high"]].to_numpy()
    left, right = float(np.nanmin(ends)), float(np.nanmax(ends))
    room = 0.05 * (right - left)
    begins = printed["low"].fillna(left - room)
    wide = printed["high"].fillna(right + room) - begins
    grey: Any = {"color": SHADES[3], "edgecolor": SOFT, "label": "printed"}
    mark: Any = {"color": INK, "markersize": 5, "capsize": 3, "ls": "none"}
    with style.quiet_style():
        ax.barh(range(len(sizes)), wide, left=begins, height=0.5, **grey)
        for i, (end, word) in enumerate((("low", "begins"), ("high", "ends"))):
            own = rows[(rows["end"] == end) & rows["estimate"].notna()]
            middle, y = own["estimate"], own["size"].map(sizes.index)
            about = [middle - own["low"], own["high"] - middle]
            said: Any = {"fmt": MARKERS[i], "label": f"learned: {word} (90 %)"}
            ax.errorbar(middle, y, xerr=about, **said, **mark)
        style.name_rows(ax, range(len(sizes)), sizes)
        style.grid_below(ax)
        ax.set_xlabel(label)
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, 1.16), ncols=3, fontsize=9)
    return ax
