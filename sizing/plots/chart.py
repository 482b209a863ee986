"""People in two measures, with the boxes of a size chart over them."""

from collections.abc import Hashable
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sizing.plots.style import DENSITY, INK, LINES, axes_or_new, quiet_style

_CORNERS: tuple[tuple[str, str], ...] = (
    ("left", "bottom"),
    ("left", "top"),
    ("right", "top"),
    ("right", "bottom"),
)


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
    """Draw where people are, and the box of each size over them."""
    ax = axes_or_new(ax, width=7.2, height=5.6)
    with quiet_style():
        known = people[[x, y]].notna().all(axis=1).to_numpy()
        ax.hexbin(
            people.loc[known, x],
            people.loc[known, y],
            C=None if weight is None else weight.to_numpy()[known],
            reduce_C_function=sum,
            gridsize=55,
            bins="log",
            cmap=DENSITY,
            linewidths=0,
            alpha=0.8,
            zorder=0,
        )
        limits = (*ax.get_xlim(), *ax.get_ylim())
        groups = list(dict.fromkeys(chart["group"]))
        for number, row in enumerate(chart.to_dict("records"), start=1):
            style = LINES[groups.index(row["group"]) % len(LINES)]
            _box(ax, row, x, y, limits, style, number, groups.index(row["group"]))
        for group in groups:
            style = LINES[groups.index(group) % len(LINES)]
            names = ", ".join(
                f"{number} {size}"
                for number, (size, own) in enumerate(
                    zip(chart["size"], chart["group"], strict=True), start=1
                )
                if own == group
            )
            ax.plot([], [], color=INK, linestyle=style, label=names)
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.13), fontsize=9)
        ax.set_xlabel(labels[x])
        ax.set_ylabel(labels[y])
    return ax


def _box(
    ax: Axes,
    row: dict[Hashable, Any],
    x: str,
    y: str,
    limits: tuple[float, float, float, float],
    style: str,
    number: int,
    corner: int,
) -> None:
    """Draw one size's box, and its number in a corner that is its group's own."""

    def edge(column: str, border: float) -> float:
        value = row.get(column)
        return border if value is None or pd.isna(value) else float(value)

    left, right = edge(f"{x}_low", limits[0]), edge(f"{x}_high", limits[1])
    bottom, top = edge(f"{y}_low", limits[2]), edge(f"{y}_high", limits[3])
    ax.add_patch(
        Rectangle(
            (left, bottom),
            right - left,
            top - bottom,
            fill=False,
            edgecolor=INK,
            linestyle=style,
            linewidth=1.6,
        )
    )
    # Sizes of one group climb, so their numbers part; groups take other corners.
    side, level = _CORNERS[corner % len(_CORNERS)]
    ax.annotate(
        str(number),
        (left if side == "left" else right, bottom if level == "bottom" else top),
        xytext=(4 if side == "left" else -4, 4 if level == "bottom" else -4),
        textcoords="offset points",
        ha=side,
        va=level,
        fontsize=11,
        fontweight="bold",
        bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": INK, "lw": 0.6},
    )
