"""People seated, seen from the side, drawn to scale from their measures."""

from collections.abc import Callable, Mapping
from textwrap import fill
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from scipy.interpolate import PchipInterpolator

from sizing.plots.style import FAINT, INK, SHADES, quiet_style
from sizing.plots.teaching import slide_axes

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
