"""One client: chance of each size, and where each measure lies in a size's band."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sizing.measures import Say, written
from sizing.plots.style import (
    FAINT,
    INK,
    SHADES,
    SOFT,
    axes_or_new,
    name_rows,
    past,
    percent_axis,
    quiet_style,
)
from sizing.words.numbers import share as percent

#: Bands without one edge are drawn as wide as this share of the other edge.
_OPEN = 0.3


def plot_chances(
    sizes: pd.DataFrame, *, others: int = 0, ax: Axes | None = None
) -> Axes:
    """``others`` is how many sizes are left out, each under 1 %: a line of words."""
    ax = axes_or_new(ax, width=7.0, height=1.0 + 0.36 * len(sizes))
    with quiet_style():
        for place, row in enumerate(sizes.to_dict("records")):
            shade, chance = SHADES[0 if place == 0 else 2], row["estimate"]
            ax.barh(place, chance, height=0.66, color=shade, edgecolor=INK)
            ax.plot([row["low"], row["high"]], [place, place], color=SOFT, lw=2)
            # No draw is not no chance.
            words = "under 1 %" if chance < 0.01 else percent(chance)
            if np.isnan(chance):
                words = f"not judged: at most {percent(row['high'])}"
            elif row["over_load"]:
                words = "over its load limit"
            past(ax, words, (row["high"], place), gap=5)
        name_rows(ax, range(len(sizes)), list(sizes["size"]))
        ax.set_xlim(0, 1.12)
        ax.set_xticks(np.linspace(0, 1, 5))
        percent_axis(ax.xaxis)
        more = f"\nOther sizes ({others}): under 1 % each" if others else ""
        ax.set_xlabel(f"Chance that every measure fits and the load is borne{more}")
    return ax


def plot_margins(
    margins: pd.DataFrame,
    *,
    labels: dict[str, str],
    say: Say = written,
    ax: Axes | None = None,
) -> Axes:
    ax = axes_or_new(ax, width=7.4, height=1.3 + 0.62 * len(margins))
    rows = margins.to_dict("records")
    with quiet_style():
        for place, row in enumerate(rows):
            _margin(ax, place, row, say)
        names = [labels[r["measure"]] + " (decides)" * r["decides"] for r in rows]
        name_rows(ax, range(len(rows)), names)
        ax.set_xticks([0, 1], ["low edge", "high edge"])
        left, right = ax.get_xlim()
        ax.set_xlim(min(left, -0.25), max(right, 1.25))
        ax.set_xlabel(
            "Upright line: as read; full: best estimate of what was read; hollow, "
            "dashed: predicted.\nEach with its 90 % interval and its chance to fit"
        )
    return ax


def _margin(ax: Axes, place: int, row: dict[Any, Any], say: Say) -> None:
    low, high = _band(row)
    ends = np.array([row[n] for n in ("low", "high", "estimate", "reading")], float)
    left, right, best, read_at = (ends - low) / max(high - low, 1e-9)
    ax.barh(place, 1.0, left=0.0, height=0.6, color=SHADES[4], edgecolor=FAINT)
    for edge, name in ((0.0, "low_edge"), (1.0, "high_edge")):
        if np.isfinite(row[name]):
            ax.plot([edge, edge], [place - 0.3, place + 0.3], color=INK, lw=1.6)
            text = say(row[name], row["measure"], to="tenth")
            at: dict[str, Any] = {"ha": "center", "va": "bottom", "fontsize": 8.5}
            ax.annotate(text, (edge, place - 0.32), color=SOFT, **at)
    if np.isnan(row["estimate"]):
        told = "not taken, not predicted"
        ax.annotate(told, (0.5, place), ha="center", va="center", fontsize=9)
        return
    # Predicted is dashed and hollow, measured is whole and full.
    read = row["evidence"] == "measured"
    width, dashes = (3, "-") if read else (1.5, (0, (3, 2)))
    ax.plot([left, right], [place, place], color=SOFT, lw=width, ls=dashes)
    marker, fill = "D" if row["decides"] else "o", INK if read else "white"
    ax.plot(best, place, marker, mec=INK, mfc=fill, ms=7)
    told = f"predicted {say(row['estimate'], row['measure'])}"
    if np.isfinite(row["reading"]):
        ax.plot([read_at] * 2, [place - 0.2, place + 0.2], color=INK)
        value = say(row["reading"], row["measure"], to="tenth")
        told = f"{'read' if read else 'said'} {value}"
    told += f", fits {percent(row['chance'])}"
    beside = ("axes fraction", "data")
    ax.annotate(told, (1.02, place), xycoords=beside, va="center", fontsize=9)


def plot_visits(
    readings: pd.DataFrame,
    bands: pd.DataFrame,
    found: Mapping[Any, Any],
    *,
    size: str = "",
    say: Say = written,
    ax: Axes | None = None,
) -> Axes:
    """Draw one measure's readings over the visits against the chart's sizes.

    ``found``: its row of ``over_visits``; ``size``: the one in use, drawn darker.
    """
    ax = axes_or_new(ax, width=7.4, height=3.6)
    measure = str(found["measure"])
    with quiet_style():
        across = ax.get_yaxis_transform()
        centre: dict[str, Any] = {"transform": across, "ha": "center", "va": "center"}
        value, sd = readings["value"], readings["sd"]
        days = list(readings["on"])
        low, high = (value - 2 * sd).min(), (value + 2 * sd).max()
        if found["edge_on_low"] is not None:
            low, high = min(low, found["edge"]), max(high, found["edge"])
        room = 0.15 * (high - low)
        ax.set_ylim(low - room, high + room)
        ax.set_xmargin(0.08)
        limits, place = ax.get_ylim(), 0
        for row in bands.fillna({"low": -np.inf, "high": np.inf}).to_dict("records"):
            bottom, top = np.clip([row["low"], row["high"]], *limits)
            if bottom == top:
                continue
            # A bar a size beside the picture: where sizes overlap all are seen.
            at = 1.05 + 0.07 * place
            shade = SHADES[2] if row["size"] == size else SHADES[3]
            ax.vlines(at, bottom, top, shade, lw=16, transform=across, clip_on=False)
            middle = (bottom + top) / 2
            ax.text(at, middle, row["size"], rotation=90, fontsize=9, **centre)
            place += 1
        ax.errorbar(days, value, yerr=1.645 * sd, fmt="o", color=INK, capsize=3)
        words = "Dots: as read, with the error of the reading (90 %)."
        if found["edge_on_low"] is not None:
            words += "\nThick: when it passes the edge (90 %)"
            edge, last = found["edge"], found["last_on"]
            furthest = last + (last - found["first_on"])
            ends = [found["edge_on_low"], found["edge_on_high"] or furthest]
            if found["edge_on"] is not None:
                words += "; dotted: at this rate"
                ahead = [last, found["edge_on"]]
                ax.plot(ahead, [value.iloc[-1], edge], ":", color=INK)
            if found["edge_on_high"] is None:
                ax.set_xlim(right=furthest)
            ax.plot(ends, [edge, edge], color=INK, lw=4, solid_capstyle="butt")
        ticks = [tick for tick in ax.get_yticks() if low - room <= tick <= high + room]
        ax.set_yticks(ticks, [say(tick, measure, to="tenth") for tick in ticks])
        ax.set_xlabel(words)
        ax.figure.autofmt_xdate(rotation=30)  # type: ignore[union-attr]
    return ax


def _band(row: dict[Any, Any]) -> tuple[float, float]:
    low, high = float(row["low_edge"]), float(row["high_edge"])
    if np.isnan([low, high]).all():
        return row["low"], row["high"]
    if np.isnan(low):
        low = min(high * (1 - _OPEN), row["low"])
    return low, max(low * (1 + _OPEN), row["high"]) if np.isnan(high) else high
