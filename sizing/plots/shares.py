"""Pictures of shares: whom a chart fits, what moves it; and of people's measures."""

from textwrap import fill
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from sizing.measures import SEATED_AND_GIRTHS
from sizing.plots import style
from sizing.words.labels import labels, sex_words
from sizing.words.numbers import points
from sizing.words.numbers import share as percent


@style.quiet_style()
def plot_shares(table: pd.DataFrame, *, x_label: str, ax: Axes | None = None) -> Axes:
    """Draw one dot with its interval per row, grouped as in the table."""
    ax = style.axes_or_new(ax, width=7.2, height=1.2 + 0.34 * len(table))
    groups = list(dict.fromkeys(table["by"]))
    place, ticks, previous = 0.0, [], None
    for row in table.to_dict("records"):
        if row["by"] != previous and row["by"] != row["level"]:
            place += 0.3
            italic = {"fontsize": 9.5, "fontstyle": "italic", "color": style.SOFT}
            at = {"xycoords": ("axes fraction", "data")}
            style.past(ax, str(row["by"]), (0, place), gap=6, **at, **italic)
            ax.axhline(place - 0.6, color=style.FAINT, linewidth=0.8)
            place += 0.9
        previous = row["by"]
        marker = style.MARKERS[groups.index(row["by"]) % len(style.MARKERS)]
        ax.plot([row["low"], row["high"]], [place, place], color=style.SOFT, lw=2.2)
        ax.plot(row["estimate"], place, marker, color=style.INK, ms=6)
        style.beside(ax, percent(row["estimate"]), place)
        ticks.append(place)
        place += 1
    style.name_rows(ax, ticks, table["level"].astype(str).tolist())
    ax.set_xlim(right=1.0)
    style.percent_axis(ax.xaxis)
    style.grid_below(ax)
    ax.set_xlabel(x_label)
    return ax


@style.quiet_style()
def plot_misses(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    measures = list(dict.fromkeys(table["measure"]))
    directions = list(dict.fromkeys(table["direction"]))
    ax = style.axes_or_new(ax, width=7.2, height=1.6 + 0.75 * len(measures))
    height = 0.8 / max(len(directions), 1)
    for row in table.to_dict("records"):
        step = directions.index(row["direction"])
        place = measures.index(row["measure"]) + (step + 0.5) * height - 0.4
        _bar(ax, row, place, step, height * 0.92)
        told = percent(row["estimate"], places=1)
        style.past(ax, told, (row["high"], place), fontsize=9)
    for step, direction in enumerate(directions):
        ax.barh(0, 0, label=str(direction), **_fill(step))
    style.name_rows(ax, range(len(measures)), [labels()[m] for m in measures])
    ax.margins(x=0.12)
    ax.set_xlim(left=0)
    style.percent_axis(ax.xaxis, decimals=None)
    style.grid_below(ax)
    ax.set_xlabel("Share of all people")
    ax.legend(loc="upper left", bbox_to_anchor=(0, -0.22), ncols=2, fontsize=9)
    return ax


@style.quiet_style()
def plot_sensitivity(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw one row per assumption, one bar per setting, the biggest on top."""
    size = table["estimate"].abs().groupby(table["assumption"]).max()
    order = list(size.sort_values(ascending=False, kind="stable").index)
    ax = style.axes_or_new(ax, width=7.2, height=1.0 + 0.5 * len(order))
    ticks, place = [], 0.0
    for assumption in order:
        rows = table[table["assumption"] == assumption].to_dict("records")
        for step, row in enumerate(rows):
            _bar(ax, row, place + step, step, 0.86)
            _label(ax, row, place + step)
        ticks.append(place + (len(rows) - 1) / 2)
        place += len(rows) + 0.5
    ax.axvline(0, color=style.INK, lw=1.2)
    style.name_rows(ax, ticks, [fill(str(name), 22) for name in order])
    # Room for the settings' words beside the bars.
    ax.margins(x=0.32, y=0.02)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda change, _: points(change)))
    style.grid_below(ax)
    ax.set_xlabel("Change of the share with at least one size, points")
    return ax


@style.quiet_style()
def plot_widths(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    ax = style.axes_or_new(ax, width=7.2, height=3.2)
    ax.plot(table["scale"], table["share"], "-o", color=style.INK, lw=1.6, ms=4)
    ax.axvline(1, color=style.SOFT, lw=1, linestyle="--")
    near: dict[str, Any] = {"textcoords": "offset points", "fontsize": 9}
    for row in table.to_dict("records"):
        end = row["scale"], row["share"]
        ax.annotate(percent(row["share"]), end, (6, -5), va="top", **near)
    near |= {"xycoords": ("data", "axes fraction"), "color": style.SOFT}
    ax.annotate("the convention", (1, 1), (4, 4), **near)
    ax.margins(x=0.1, y=0.15)
    style.percent_axis(ax.yaxis)
    ax.grid(axis="y")
    ax.set(xlabel="Width of the sizes, times the convention")
    ax.set_ylabel("People with a size")
    return ax


@style.quiet_style()
def plot_frontier(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    ax = style.axes_or_new(ax)
    width = next(name for name in table.columns if name.endswith("_width"))
    measure = width.removesuffix("_width")
    for k, (sizes, part) in enumerate(table.groupby("sizes", sort=True)):
        line = style.LINES[k % len(style.LINES)]
        mark = style.MARKERS[k % len(style.MARKERS)]
        x, shade = part[width], style.SHADES[min(k, 2)]
        ax.plot(x, part["estimate"], line, color=shade, lw=1.8)
        ax.plot(x, part["held_out"], mark, color=shade, ms=5)
        ax.vlines(x, part["low"], part["high"], color=shade, lw=1)
        first = part.iloc[0]
        end = first[width], first["estimate"]
        style.past(ax, f"{sizes} sizes", end, gap=-8, ha="right", color=style.INK)
    style.percent_axis(ax.yaxis)
    ax.grid(axis="y")
    ax.margins(x=0.14)
    ax.set_xlabel(
        f"Width of the bands: {labels().get(measure, measure)}\n"
        "Lines: people fitted to. Marks, bars: people held out, 95 % interval."
    )
    ax.set(ylabel="People who fit a size", title="Coverage and band width")
    return ax


@style.quiet_style()
def plot_edge_stability(
    table: pd.DataFrame, measure: str, *, ax: Axes | None = None
) -> Axes:
    """Draw each size's band in one measure, and how far its ends move."""
    part = table[table["measure"] == measure]
    sizes = sorted(part["size"].unique())
    ax = style.axes_or_new(ax, height=1.6 + 0.55 * len(sizes))
    for size in sizes:
        ends = part[part["size"] == size].set_index("end")
        band = ends.loc[["low", "high"], "estimate"]
        broad: dict[str, Any] = {"color": style.FAINT, "lw": 9, "zorder": 1}
        broad["solid_capstyle"] = "butt"
        ax.plot(band, [size, size], **broad)
        for end, marker in (("low", ">"), ("high", "<")):
            row = ends.loc[end]
            ax.plot(
                row[["low", "high"]], [size] * 2, "-|", color=style.INK, lw=1.6, ms=10
            )
            ax.plot(row["estimate"], size, marker, color=style.INK, ms=6)
    ax.set_yticks(sizes, [f"size {size}" for size in sizes])
    ax.set_ylim(sizes[-1] + 0.6, sizes[0] - 0.6)
    ax.set_xlabel(
        f"{labels().get(measure, measure)}\n"
        "Broad bars: fitted bands. Lines at their ends: 95 % of refits to other "
        "samples."
    )
    ax.set_title("How far the edges move")
    return ax


def _bar(ax: Axes, row: dict[Any, Any], place: float, step: int, height: float) -> None:
    ax.barh(place, row["estimate"], height=height, linewidth=0.7, **_fill(step))
    ax.plot([row["low"], row["high"]], [place, place], color=style.INK, lw=1.4)


def _fill(step: int) -> dict[str, Any]:
    shade = style.SHADES[(step + 1) % len(style.SHADES)]
    hatch = style.HATCHES[step % len(style.HATCHES)]
    return {"color": shade, "hatch": hatch, "edgecolor": style.INK}


def _label(ax: Axes, row: dict[Any, Any], place: float) -> None:
    left = row["estimate"] < 0
    end = min(row["low"], 0) if left else max(row["high"], 0)
    side: dict[str, Any] = {"gap": -4, "ha": "right"} if left else {}
    style.past(
        ax, str(row["label"]), (end, place), fontsize=8.5, color=style.SOFT, **side
    )


@style.quiet_style()
def plot_percentiles(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """``table`` is that of ``sizing.people.profile.percentiles``."""
    whole = table[(table["age_band"] == "everyone") & (table["sex"] != "everyone")]
    places = whole.set_index(["variable", "sex", "statistic"])["estimate"]
    shown = ["stature_cm", *SEATED_AND_GIRTHS]
    shown = [name for name in shown if name in places.index.get_level_values(0)]
    bands = table["age_band"].unique()
    sexes = list(dict.fromkeys(whole["sex"]))
    ax = style.axes_or_new(ax, width=7.2, height=1.2 + 0.42 * len(shown))
    for place, name in enumerate(shown):
        for s, sex in enumerate(sexes):
            row, y = places[name, sex], place + 0.28 * (s - 0.5)
            for low, high, width in (("p01", "p99", 0.8), ("p05", "p95", 2.2)):
                if {low, high} <= set(row.index):
                    ax.plot([row[low], row[high]], [y, y], color=style.SOFT, lw=width)
            label = None if place else sex_words(sex, bands)
            ax.plot(row["p50"], y, style.MARKERS[s], color=style.INK, ms=5, label=label)
    words = labels()
    style.name_rows(
        ax, list(range(len(shown))), [words[n].split(",")[0] for n in shown]
    )
    ax.set_xlabel("cm")
    ax.legend(frameon=False, loc="lower center", bbox_to_anchor=(0.5, 1), ncols=2)
    style.grid_below(ax)
    return ax
