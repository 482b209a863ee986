"""People and a chart's sizes in two measures or one; two charts side by side."""

from collections.abc import Hashable
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sizing.client.nudge import Bands
from sizing.plots import style
from sizing.words.numbers import share as percent

_CORNERS = (("left", "bottom"), ("left", "top"), ("right", "top"), ("right", "bottom"))


@style.quiet_style()
def plot_people_and_chart(
    people: pd.DataFrame,
    chart: pd.DataFrame,
    *,
    x: str,
    y: str,
    labels: dict[str, str],
    weight: pd.Series | None = None,
    ax: Axes | None = None,
) -> Axes:
    ax = style.axes_or_new(ax, width=7.2, height=5.6)
    known = people[[x, y]].notna().all(axis=1).to_numpy()
    look: dict[str, Any] = {"cmap": style.DENSITY, "linewidths": 0, "alpha": 0.8}
    ax.hexbin(
        people.loc[known, x],
        people.loc[known, y],
        C=None if weight is None else weight.to_numpy()[known],
        reduce_C_function=sum,
        **{"gridsize": 55, "bins": "log", "zorder": 0, **look},
    )
    limits = (*ax.get_xlim(), *ax.get_ylim())
    numbered = chart.assign(number=range(1, len(chart) + 1))
    groups = numbered.groupby("group", sort=False, dropna=False)
    for at, (_, rows) in enumerate(groups):
        line = style.LINES[at % len(style.LINES)]
        for row in rows.to_dict("records"):
            _box(ax, row, x, y, limits, line, at)
        names = ", ".join(rows["number"].astype(str) + " " + rows["size"].astype(str))
        ax.plot([], [], color=style.INK, linestyle=line, label=names)
    ax.legend(loc="upper left", bbox_to_anchor=(0, -0.13), fontsize=9)
    ax.set(xlabel=labels[x], ylabel=labels[y])
    return ax


def _box(
    ax: Axes,
    row: dict[Hashable, Any],
    x: str,
    y: str,
    limits: tuple[float, float, float, float],
    line: str,
    corner: int,
) -> None:
    """Draw one size's box, and its number in a corner that is its group's own."""
    edges = pd.Series(
        [row.get(f"{m}_{end}") for m in (x, y) for end in ("low", "high")]
    )
    left, right, bottom, top = edges.astype(float).fillna(pd.Series(limits))
    box = Rectangle((left, bottom), right - left, top - bottom, fill=False)
    box.set(edgecolor=style.INK, linestyle=line, linewidth=1.6)
    ax.add_patch(box)
    # Sizes of one group climb, so their numbers part; groups take other corners.
    side, level = _CORNERS[corner % len(_CORNERS)]
    bold: dict[str, Any] = {"fontsize": 11, "fontweight": "bold"}
    ax.annotate(
        str(row["number"]),
        (left if side == "left" else right, bottom if level == "bottom" else top),
        xytext=(4 if side == "left" else -4, 4 if level == "bottom" else -4),
        textcoords="offset points",
        **{"ha": side, "va": level, **bold},
        bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": style.INK, "lw": 0.6},
    )


@style.quiet_style()
def plot_bands(bands: Bands, *, label: str, ax: Axes | None = None) -> Axes:
    """Draw each size's band in one measure over how people are spread in it."""
    n, sizes, density = len(bands.sizes), bands.sizes, bands.density
    ax = style.axes_or_new(ax, width=7.6, height=1.5 + 0.38 * n)
    hatched: dict[str, Any] = {"color": "none", "edgecolor": style.INK}
    hatched["hatch"] = style.HATCHES[1]
    bold: dict[str, Any] = {"ha": "center", "fontsize": 9, "fontweight": "bold"}
    bold["bbox"] = {"fc": "white", "ec": "none", "pad": 0.8}
    tall = density["share"] / (density["share"].max() or 1.0) * n
    ends = (density["value"], n - 0.4, n - 0.4 - tall)
    ax.fill_between(*ends, color=style.FAINT, alpha=0.55, lw=0, zorder=0)
    for place, row in enumerate(sizes.to_dict("records")):
        band = {"width": row["stop"] - row["start"], "left": row["start"]}
        ax.barh(place, height=0.56, color=style.SHADES[3], edgecolor=style.INK, **band)
        if pd.notna(row["from"]):
            wide = row["to"] - row["from"]
            ax.barh(place, wide, left=row["from"], height=0.56, lw=0.6, **hatched)
    for a, b in bands.gaps:
        ax.axvspan(a, b, color=style.SHADES[0], alpha=0.85, lw=0, zorder=3)
        words, at = f"gap {a:g} to {b:g}", ((a + b) / 2, -0.75)
        ax.annotate(words, at, annotation_clip=False, zorder=5, **bold)
    if bands.before.notna().any(axis=None):
        ax.plot([], [], ":", color=style.INK, lw=1.4, label="compared with")
    for place, edges in enumerate(bands.before.itertuples(index=False)):
        for value in edges:
            ax.vlines(value, place - 0.4, place + 0.4, style.INK, ":", lw=1.4)
    ax.barh(0, 0, label="overlap", **hatched)
    ax.plot([], [], color=style.FAINT, lw=8, label="people")
    ax.set_yticks(range(n), sizes["size"] + "\n" + sizes["words"])
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(n - 0.4, -1.0)
    ax.set_xlim(bands.left, bands.right)
    ax.set_xlabel(label)
    ax.legend(loc="upper left", bbox_to_anchor=(0, -0.14), ncols=3, fontsize=9)
    return ax


@style.quiet_style()
def plot_difference(
    table: pd.DataFrame, *, words: dict[str, str], ax: Axes | None = None
) -> Axes:
    ax = style.axes_or_new(ax, width=7.2, height=1.2 + 0.4 * len(table))
    ax.axvline(0, color=style.SOFT, lw=1)
    for place, row in enumerate(table.to_dict("records")):
        ax.plot([row["low"], row["high"]], [place, place], color=style.SOFT, lw=2.4)
        ax.plot(row["estimate"], place, style.MARKERS[0], color=style.INK, ms=6)
        sign = "+" if row["estimate"] > 0 else "-" if row["estimate"] < 0 else ""
        style.beside(ax, f"{sign}{percent(abs(row['estimate']), places=1)}", place)
    style.name_rows(ax, range(len(table)), [words[o] for o in table["outcome"]])
    style.percent_axis(ax.xaxis, decimals=None)
    style.grid_below(ax)
    ax.set_xlabel("Second chart minus first, share of the same people")
    return ax
