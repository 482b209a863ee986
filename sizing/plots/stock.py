"""Pictures of a stock plan: demand, shortage, cost, and money spent otherwise."""

from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.plots import style
from sizing.plots.style import HATCHES, INK, PAPER, SHADES, SOFT
from sizing.words.numbers import share as percent

_PLAN: dict[str, Any] = {"color": INK, "markerfacecolor": PAPER}
#: Whose bars stand above (-) and below, how they look, and what they show.
_FITS = (
    ("fits", -0.17, 3, 0, "people on an average day who fit the size"),
    ("only", 0.17, 1, 1, "of these, who fit no other size"),
)


def _bars(ax: Axes, places: Any, ends: Any, shade: int, hatch: int, **how: Any) -> None:
    look: Any = {"hatch": HATCHES[hatch], "edgecolor": INK, "linewidth": 0.7}
    ax.barh(places, ends, color=SHADES[shade], **look, **how)


def plot_demand(
    demand: pd.DataFrame, order: pd.DataFrame, *, ax: Axes | None = None
) -> Axes:
    """Draw what is needed of each size, and what the plan holds."""
    ax = style.axes_or_new(ax, width=7.2, height=1.5 + 0.42 * len(order))
    with style.quiet_style():
        place = {key: i for i, key in enumerate(order["key"])}
        for share, shift, shade, hatch, words in _FITS:
            rows = demand[demand["share"] == share]
            y = rows["key"].map(place) + shift
            _bars(ax, y, rows["estimate"], shade, hatch, height=0.32, label=words)
            ax.hlines(y, rows["low"], rows["high"], color=INK, lw=1.4)
        words = "slings held under the plan"
        ax.plot(order["stock"], range(len(order)), "D", ms=8, label=words, **_PLAN)
        style.name_rows(ax, range(len(order)), list(order["key"]))
        ax.set_xlim(left=0)
        style.grid_below(ax)
        ax.set_xlabel("Slings; lines span 90 % of days")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.12), fontsize=9)
    return ax


def plot_shortages(shortages: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the chance that one more sling of each size would be wanted."""
    ax = style.axes_or_new(ax, width=7.2, height=1.2 + 0.34 * len(shortages))
    with style.quiet_style():
        places = range(len(shortages))
        ax.hlines(places, shortages["low"], shortages["high"], color=SOFT, lw=2.2)
        ax.plot(shortages["estimate"], places, "o", color=INK, ms=6)
        for place, share in zip(places, shortages["estimate"], strict=True):
            style.beside(ax, percent(share, places=1), place)
        style.name_rows(ax, places, list(shortages["key"]))
        ax.set_xlim(left=0)
        style.percent_axis(ax.xaxis, decimals=None)
        style.grid_below(ax)
        words = "Share of days on which someone waits for this size (95 % interval)"
        ax.set_xlabel(words)
    return ax


def plot_cost_curve(
    curve: pd.DataFrame,
    *,
    missed: str = "Days on which somebody waits",
    ax: Axes | None = None,
) -> Axes:
    ax = style.axes_or_new(ax, width=7.2, height=4.2)
    with style.quiet_style():
        curve = curve.sort_values("cost")
        # The plan is the cheapest order for its own target, where it has one.
        others, plan = curve[curve["target"].notna()], curve[curve["plan"]]
        ax.vlines(curve["cost"], curve["low"], curve["high"], color=SOFT, lw=2)
        how: dict[str, Any] = {"color": INK, "ms": 5, "lw": 1.2}
        words = "cheapest order for a target"
        ax.plot(others["cost"], others["estimate"], "o-", label=words, **how)
        ax.plot(plan["cost"], plan["estimate"], "D", ms=9, label="the plan", **_PLAN)
        ax.set_ylim(bottom=0)
        style.percent_axis(ax.yaxis, decimals=None)
        ax.xaxis.set_major_formatter("{x:,.0f}")
        ax.grid()
        ax.set_axisbelow(True)
        ax.set_xlabel("Cost of the order")
        ax.set_ylabel(missed)
        ax.legend(fontsize=9)
    return ax


def plot_comparison(comparison: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    ax = style.axes_or_new(ax, width=7.2, height=1.0 + 0.55 * len(comparison))
    with style.quiet_style():
        for i, met in enumerate(comparison["needs_met"]):
            shade = min(i + 1, len(SHADES) - 1)
            _bars(ax, i, met, shade, i % len(HATCHES), height=0.6)
            style.past(ax, percent(met), (met, i), fontsize=9.5)
        style.name_rows(ax, range(len(comparison)), list(comparison["strategy"]))
        ax.set_xlim(0, 1.12)
        ax.set_xticks([0, 0.25, 0.5, 0.75, 1.0])
        style.percent_axis(ax.xaxis)
        ax.set_xlabel("Needs met, of people who fit at least one size")
    return ax
