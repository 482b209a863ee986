"""Pictures of a stock plan: demand, shortage, cost, and money spent otherwise."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.plots.style import (
    HATCHES,
    INK,
    PAPER,
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


def plot_demand(
    demand: pd.DataFrame, order: pd.DataFrame, *, ax: Axes | None = None
) -> Axes:
    """Draw what is needed of each size, and what the plan holds."""
    ax = axes_or_new(ax, width=7.2, height=1.5 + 0.42 * len(order))
    with quiet_style():
        place = {key: i for i, key in enumerate(order["key"])}
        looks = {"fits": (-0.17, 3, 0), "only": (0.17, 1, 1)}
        for share, (shift, shade, hatch) in looks.items():
            rows = demand[demand["share"] == share]
            y = rows["key"].map(place) + shift
            words = {
                "fits": "people on an average day who fit the size",
                "only": "of these, who fit no other size",
            }
            ax.barh(
                y,
                rows["estimate"],
                height=0.32,
                color=SHADES[shade],
                hatch=HATCHES[hatch],
                edgecolor=INK,
                linewidth=0.7,
                label=words[share],
            )
            ax.hlines(y, rows["low"], rows["high"], color=INK, lw=1.4)
        ax.plot(
            order["stock"],
            order["key"].map(place),
            "D",
            color=INK,
            markerfacecolor=PAPER,
            ms=8,
            label="slings held under the plan",
        )
        name_rows(ax, range(len(order)), list(order["key"]))
        ax.set_xlim(left=0)
        grid_below(ax)
        ax.set_xlabel("Slings; lines span 90 % of days")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.12), fontsize=9)
    return ax


def plot_shortages(shortages: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the chance that one more sling of each size would be wanted."""
    ax = axes_or_new(ax, width=7.2, height=1.2 + 0.34 * len(shortages))
    with quiet_style():
        places = range(len(shortages))
        ax.hlines(places, shortages["low"], shortages["high"], color=SOFT, lw=2.2)
        ax.plot(shortages["estimate"], places, "o", color=INK, ms=6)
        for place, share in zip(places, shortages["estimate"], strict=True):
            beside(ax, percent(share, places=1), place)
        name_rows(ax, places, list(shortages["key"]))
        ax.set_xlim(left=0)
        percent_axis(ax.xaxis, decimals=None)
        grid_below(ax)
        ax.set_xlabel(
            "Share of days on which someone waits for this size (95 % interval)"
        )
    return ax


def plot_cost_curve(
    curve: pd.DataFrame,
    *,
    missed: str = "Days on which somebody waits",
    ax: Axes | None = None,
) -> Axes:
    ax = axes_or_new(ax, width=7.2, height=4.2)
    with quiet_style():
        curve = curve.sort_values("cost")
        # The plan is the cheapest order for its own target, where it has one.
        others = curve[curve["target"].notna()]
        ax.vlines(curve["cost"], curve["low"], curve["high"], color=SOFT, lw=2)
        ax.plot(
            others["cost"], others["estimate"], "o-", color=INK, ms=5, lw=1.2,
            label="cheapest order for a target",
        )  # fmt: skip
        plan = curve[curve["plan"]]
        ax.plot(
            plan["cost"], plan["estimate"], "D", color=INK, markerfacecolor=PAPER,
            ms=9, label="the plan",
        )  # fmt: skip
        ax.set_ylim(bottom=0)
        percent_axis(ax.yaxis, decimals=None)
        ax.xaxis.set_major_formatter("{x:,.0f}")
        ax.grid()
        ax.set_axisbelow(True)
        ax.set_xlabel("Cost of the order")
        ax.set_ylabel(missed)
        ax.legend(fontsize=9)
    return ax


def plot_comparison(comparison: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    ax = axes_or_new(ax, width=7.2, height=1.0 + 0.55 * len(comparison))
    with quiet_style():
        for i, row in enumerate(comparison.to_dict("records")):
            ax.barh(
                i,
                row["needs_met"],
                height=0.6,
                color=SHADES[min(i + 1, len(SHADES) - 1)],
                hatch=HATCHES[i % len(HATCHES)],
                edgecolor=INK,
                linewidth=0.7,
            )
            past(ax, percent(row["needs_met"]), (row["needs_met"], i), fontsize=9.5)
        name_rows(ax, range(len(comparison)), list(comparison["strategy"]))
        ax.set_xlim(0, 1.12)
        ax.set_xticks([0, 0.25, 0.5, 0.75, 1.0])
        percent_axis(ax.xaxis)
        ax.set_xlabel("Needs met, of people who fit at least one size")
    return ax
