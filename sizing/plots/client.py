"""Pictures of one client: chances, margins, visits, and the body beside its sizes."""

from collections.abc import Callable, Mapping
from textwrap import fill
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from scipy.interpolate import PchipInterpolator

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
from sizing.plots.teaching import slide_axes
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
    """Draw one measure's readings over the visits against the chart's sizes."""
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


#: Shares of stature for the parts no measure gives, shown by a broken outline
#: (common proportions of drawing, no source).
LOWER_LEG, FOOT, HEAD_WIDTH = 0.25, 0.15, 0.105
#: Heights along the trunk, as shares of the shoulder height.
_BELLY, _CHEST = 0.38, 0.75
_LENGTHS = (
    "stature_cm",
    "sitting_height_cm",
    "shoulder_height_sitting_cm",
    "buttock_popliteal_length_cm",
)
_GIRTHS = [f"{part}_circumference_cm" for part in ("thigh", "waist", "chest", "hip")]
Floats = npt.NDArray[np.float64]


def _metric(value: float, measure: str) -> str:
    return f"{value:.0f} {measure.rsplit('_', 1)[1]}"


def plot_side_views(
    bodies: pd.DataFrame,
    *,
    marked: str | None = None,
    labels: Mapping[str, str] | None = None,
    write: Callable[[float, str], str] = _metric,
    ax: Axes | None = None,
) -> Axes:
    """Draw people side by side, to scale; depths are girth / pi, as if round."""
    ax = slide_axes(ax)
    with quiet_style():
        step = 160.0
        for i, body in enumerate(bodies.to_dict("records")):
            _person(ax, body, i * step, SHADES[2 + i % 2])
            words = fill(f"{body['member']}: {body['size']}", 22)
            if marked is not None:
                _mark(ax, body, i * step, marked)
                name = (labels or {}).get(marked, marked)
                words += f"\n{fill(name, 22)}\n{write(float(body[marked]), marked)}"
            # Above the thighs, before the chest: the picture is empty there.
            text = ax.annotate(words, (i * step + 58, 92), ha="left", va="top")
            text.set(fontsize=13, fontweight="bold", linespacing=1.4)
        end = step * len(bodies)
        ax.plot([end - 50, end - 40], [-48, -48], color=INK, lw=3)
        ax.annotate("10 cm", (end - 45, -46), ha="center", va="bottom", fontsize=11)
        ax.set_xlim(-20, end - 15)
        ax.set_ylim(-60, 105)
        ax.set_aspect("equal")
        ax.set_axis_off()
    return ax


def _person(ax: Axes, body: Mapping[Any, Any], left: float, shade: str) -> None:
    stature, sitting, shoulder, seat = (float(body[name]) for name in _LENGTHS)
    thigh, waist, chest, hip = (float(body[name]) / np.pi for name in _GIRTHS)
    leg, foot, head = stature * LOWER_LEG, stature * FOOT, stature * HEAD_WIDTH
    shin, centre = stature * 0.065, 0.45 * chest
    tall = min(max(sitting - shoulder, 1.0) * 0.8, stature * 0.135)
    angle = np.linspace(0, 2 * np.pi, 60)
    oval = np.column_stack([head * np.cos(angle), tall * np.sin(angle)]) / 2
    face = oval + np.array([centre, sitting - tall / 2])
    ends = centre - head / 3, centre + head / 3
    neck = _box(ends[0], shoulder - 2, ends[1], sitting - 0.8 * tall)
    # Loose parts first, so that the measured outline lies over them.
    calf = _box(seat, -leg, seat + shin, 0)
    sole = _box(seat, -leg - 3, seat + foot, -leg)
    for part in (calf, sole, neck, face):
        _outline(ax, part, left, FAINT, linestyle=(0, (3, 2)), lw=0.9)
    height = np.array([0, 0.12, _BELLY, _CHEST, 0.95, 1.0]) * shoulder
    front = np.array([hip * 0.9, hip, waist, chest, chest * 0.72, chest * 0.55])
    back = np.array([3.0, 0.0, 2.0, 0.5, chest * 0.12, chest * 0.28])
    fine = np.linspace(0, shoulder, 60)
    # Depths between the given heights, without overshooting them.
    sides = (PchipInterpolator(height, depth)(fine) for depth in (back, front))
    behind, before = (np.column_stack([side, fine]) for side in sides)
    trunk = np.vstack([behind, before[::-1]])
    knee = np.linspace(-np.pi / 2, np.pi / 2, 25)
    # The seat's length ends in the hollow of the knee; the knee itself is beyond.
    depth = np.linspace(thigh, thigh * 0.72, 25)
    top = np.column_stack([np.linspace(hip * 0.4, seat, 25), depth])
    over, rise = seat + shin * np.cos(knee), depth[-1] / 2 * (1 + np.sin(knee))
    bend = np.column_stack([over, rise])[::-1]
    edge = np.vstack([top, bend, [(seat, 0.0), (hip * 0.15, 0.0)]])
    edge += np.array([left, 0.0])
    _outline(ax, trunk, left, shade)
    # The thigh grows out of the trunk: its hinder edge is no outline of anybody.
    ax.add_patch(Polygon(edge, facecolor=shade, lw=0))
    ax.plot(edge[:, 0], edge[:, 1], color=INK, lw=1.5, solid_joinstyle="round")
    _outline(ax, _box(-4, -4, seat - 5, 0), left, "white")


def _box(left: float, low: float, right: float, high: float) -> Floats:
    return np.array([(left, low), (right, low), (right, high), (left, high)])


def _outline(
    ax: Axes, points: Floats, left: float, face: str, *, lw: float = 1.5, **line: Any
) -> None:
    style = {"edgecolor": INK, "joinstyle": "round", "lw": lw, **line}
    ax.add_patch(Polygon(points + np.array([left, 0.0]), facecolor=face, **style))


def _mark(ax: Axes, body: Mapping[Any, Any], left: float, measure: str) -> None:
    value, shoulder = float(body[measure]), float(body["shoulder_height_sitting_cm"])
    deep, behind = value / np.pi, left + float(body["hip_circumference_cm"]) / np.pi
    ends = {
        "sitting_height_cm": (left - 9, 0.0, left - 9, value),
        "shoulder_height_sitting_cm": (left - 9, 0.0, left - 9, value),
        "back_along_body_cm": (left - 9, 0.0, left - 9, value),
        "buttock_popliteal_length_cm": (left, -10, left + value, -10),
        "thigh_circumference_cm": (behind + 4, 0, behind + 4, deep),
    }
    for part, share in (("waist", _BELLY), ("chest", _CHEST), ("hip", 0.12)):
        y = share * shoulder
        ends[f"{part}_circumference_cm"] = (left, y, left + deep, y)
    if measure in ends:
        arrow = {"arrowstyle": "<|-|>", "color": INK, "lw": 2.2}
        arrow |= {"shrinkA": 0, "shrinkB": 0}
        start, stop = ends[measure][:2], ends[measure][2:]
        ax.annotate("", start, xytext=stop, arrowprops=arrow, zorder=5)
