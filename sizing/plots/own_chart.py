"""A chart's bands in one measure, with their gaps and overlaps, over the people."""

import numpy as np
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
    percent,
    percent_axis,
    quiet_style,
)


def plot_bands(
    chart: pd.DataFrame,
    measure: str,
    *,
    density: pd.DataFrame,
    label: str,
    before: pd.DataFrame | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw each size's band in one measure over how people are spread in it.

    Where two sizes that follow each other overlap the upper band is hatched;
    where a span belongs to no size at all it is marked "gap".
    """
    ax = axes_or_new(ax, width=7.6, height=1.5 + 0.38 * len(chart))
    low_name, high_name = f"{measure}_low", f"{measure}_high"
    with quiet_style():
        left, right = axis_span(chart, low_name, high_name, density)
        top = density["share"].max() or 1.0
        n = len(chart)
        ax.fill_between(
            density["value"],
            n - 0.4,
            n - 0.4 - density["share"] / top * n,
            color=FAINT,
            alpha=0.55,
            lw=0,
            zorder=0,
        )
        ends = []
        for place, row in enumerate(chart.to_dict("records")):
            low, high = row.get(low_name, np.nan), row.get(high_name, np.nan)
            a = left if pd.isna(low) else float(low)
            b = right if pd.isna(high) else float(high)
            ends.append((a, b))
            ax.barh(place, b - a, left=a, height=0.56, color=SHADES[3], edgecolor=INK)
            if place and (shared := min(b, ends[-2][1]) - max(a, ends[-2][0])) > 0:
                ax.barh(
                    place,
                    shared,
                    left=max(a, ends[-2][0]),
                    height=0.56,
                    color="none",
                    hatch=HATCHES[1],
                    edgecolor=INK,
                    lw=0.6,
                )
            text = f"{'' if pd.isna(low) else f'{low:g}'} – " + (
                "" if pd.isna(high) else f"{high:g}"
            )
            ax.annotate(
                text,
                ((a + b) / 2, place),
                ha="center",
                va="center",
                fontsize=8.5,
                bbox={"fc": "white", "ec": "none", "pad": 0.8},
            )
        for a, b in gaps_of(ends):
            ax.axvspan(a, b, color=SHADES[0], alpha=0.85, lw=0, zorder=3)
            ax.annotate(
                f"gap {a:g} to {b:g}",
                ((a + b) / 2, -0.75),
                ha="center",
                fontsize=9,
                fontweight="bold",
                annotation_clip=False,
                zorder=5,
                bbox={"fc": "white", "ec": "none", "pad": 0.8},
            )
        if before is not None:
            _dotted(ax, before, low_name, high_name)
        ax.barh(0, 0, color="none", hatch=HATCHES[1], edgecolor=INK, label="overlap")
        ax.plot([], [], color=FAINT, lw=8, label="people")
        ax.set_yticks(range(n), [str(size) for size in chart["size"]])
        ax.tick_params(axis="y", length=0)
        ax.set_ylim(n - 0.4, -1.0)
        ax.set_xlim(left, right)
        ax.set_xlabel(label)
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.14), ncols=2, fontsize=9)
    return ax


def axis_span(
    chart: pd.DataFrame, low_name: str, high_name: str, density: pd.DataFrame
) -> tuple[float, float]:
    """Return the axis: all edges, and nearly all people."""
    total = density["share"].cumsum() / density["share"].sum()
    body = density.loc[(total > 0.001) & (total < 0.999), "value"]
    edges = [chart[name].dropna() for name in (low_name, high_name) if name in chart]
    values = pd.concat([*edges, body])
    room = 0.04 * (values.max() - values.min())
    return float(max(values.min() - room, 0.0)), float(values.max() + room)


def gaps_of(ends: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return spans between the first and the last band that no band holds."""
    gaps, reach = [], None
    for a, b in sorted(ends):
        # Edges that follow each other by a tenth leave no gap between whole tenths.
        if reach is not None and a > reach + 0.1001:
            gaps.append((reach, a))
        reach = b if reach is None else max(reach, b)
    return gaps


def _dotted(ax: Axes, before: pd.DataFrame, low_name: str, high_name: str) -> None:
    for place, row in enumerate(before.to_dict("records")):
        for name in (low_name, high_name):
            value = row.get(name, np.nan)
            if not pd.isna(value):
                ax.plot(
                    [value, value], [place - 0.4, place + 0.4], ":", color=INK, lw=1.4
                )


def plot_difference(
    table: pd.DataFrame, *, words: dict[str, str], ax: Axes | None = None
) -> Axes:
    """Draw the difference between two charts in each outcome, with its interval."""
    ax = axes_or_new(ax, width=7.2, height=1.2 + 0.4 * len(table))
    with quiet_style():
        ax.axvline(0, color=SOFT, lw=1)
        for place, row in enumerate(table.to_dict("records")):
            ax.plot([row["low"], row["high"]], [place, place], color=SOFT, lw=2.4)
            ax.plot(row["estimate"], place, MARKERS[0], color=INK, ms=6)
            sign = "+" if row["estimate"] > 0 else "-" if row["estimate"] < 0 else ""
            beside(ax, f"{sign}{percent(abs(row['estimate']), places=1)}", place)
        name_rows(ax, range(len(table)), [words[o] for o in table["outcome"]])
        percent_axis(ax.xaxis, decimals=None)
        grid_below(ax)
        ax.set_xlabel("Second chart minus first, share of the same people")
    return ax
