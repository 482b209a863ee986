"""Where each measure is taken: a person seated, from the side and the front."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Arc, PathPatch, Polygon
from matplotlib.path import Path

from sizing.plots.style import INK, SHADES, SOFT, axes_or_new, quiet_style

Points = Sequence[tuple[float, float]]

# The figures are drawn by eye, about as long as a grown person in cm; they are
# nobody's measures. Seen from the side, x is 0 at the upright behind the person
# and y is 0 on the seat.
_BODY: Points = (
    (6, 0.2), (1.6, 3), (0.2, 9), (1.6, 16), (4.6, 25), (3.4, 35), (1.4, 45),
    (2.6, 53), (6.4, 59), (9.0, 63), (9.0, 67), (6.6, 72), (5.6, 78), (8.4, 85),
    (14.2, 88), (20.6, 85.6), (23.6, 80), (23.4, 77), (25.6, 73.2), (23.8, 71.6),
    (24.0, 69.4), (22.6, 66.6), (18.6, 66.0), (17.4, 63), (18.0, 59), (22.0, 54),
    (25.0, 47), (24.6, 40), (26.0, 33), (27.6, 26), (27.4, 20), (30.0, 16.2),
    (38, 15.8), (47, 15.2), (54, 14), (58.4, 10), (58.8, 4), (56.6, -4),
    (56.0, -16), (54.4, -28), (54.2, -35), (57.0, -38.6), (63.0, -40.6),
    (69.0, -42.4), (70.2, -44.4), (66, -45.2), (56, -45), (48, -45.2),
    (45.6, -43.4), (46.6, -38), (47.4, -32), (45.6, -22), (44.2, -13),
    (46.6, -5), (48, -1.6), (46.4, 0.2), (36, 0.2), (20, 0.2),
)  # fmt: skip
_ARM: Points = (
    (7.2, 53), (8.0, 56.6), (11.4, 57.6), (14.6, 55), (15.2, 48), (16.0, 38),
    (17.4, 30.6), (24, 26.4), (32, 22.4), (37, 21.6), (42, 19.4), (43.4, 17.2),
    (40, 16.2), (34, 17.2), (28, 19.4), (20, 22.4), (13, 25.6), (10.0, 30),
    (8.8, 40), (7.4, 48),
)  # fmt: skip
# From the front; x is 0 in the middle.
_FRONT: Points = (
    (0, 88), (5.6, 86), (7.6, 79), (6.8, 72), (3.8, 67), (4.4, 62), (10, 59.8),
    (15.6, 57), (17.0, 52), (15.6, 44), (14.4, 34), (14.8, 26), (18.0, 20),
    (20.6, 14), (20.6, 7), (18.6, 0), (16.8, -6), (15.6, -18), (14.2, -30),
    (13.6, -40), (15.0, -44), (11.6, -45.4), (7.0, -45), (6.6, -40), (5.2, -28),
    (4.2, -14), (3.6, -2), (1.8, 3.4), (0, 5.4),
)  # fmt: skip
_FRONT_ARM: Points = (
    (14.6, 57.6), (18.4, 56), (20.6, 51), (22.4, 42), (24.0, 32), (22.8, 26),
    (18.6, 20), (15.0, 15.4), (11.6, 14.6), (10.8, 18), (13.4, 22.6), (17.4, 28.6),
    (17.6, 36), (16.4, 46), (14.6, 53),
)  # fmt: skip
# Lying on the back, head to the left; x is 0 at the crown, y is 0 on the bed.
_LYING: Points = (
    (0, 9), (2, 3), (9, 0.4), (17, 2.6), (22, 3), (28, 0.4), (42, 0.2), (56, 2.6),
    (68, 1.2), (80, 0.2), (92, 0.6), (106, 2.4), (121, 3.4), (136, 1.2), (150, 3),
    (160, 1.2), (166.4, 0.4), (168.4, 4), (168.8, 12), (169.6, 21), (166.4, 22.6),
    (163.6, 16), (160, 10), (148, 9.6), (134, 12), (122, 13.4), (116, 13.4),
    (104, 15.6), (92, 17.4), (84, 19.4), (72, 21.6), (60, 20.8), (48, 22.4),
    (38, 22.2), (30, 19), (24.6, 15.6), (21.4, 14.6), (20.4, 18.4), (16.6, 19),
    (13.4, 21.4), (11.6, 19.2), (7, 19), (2, 15.6),
)  # fmt: skip

#: What is drawn, in the order of its numbers: name, place of its words on the
#: picture, and how the words stand to that place.
_PLACES: Mapping[str, tuple[float, float, str]] = {
    "sitting_height_cm": (-25, 74, "right"),
    "shoulder_height_sitting_cm": (-25, 28, "right"),
    "buttock_popliteal_length_cm": (5, -17, "center"),
    "chest_circumference_cm": (33, 47, "left"),
    "waist_circumference_cm": (33, 29, "left"),
    "thigh_circumference_cm": (150, 7, "left"),
    "hip_breadth_sitting_cm": (150, -14, "left"),
    "hip_circumference_cm": (88, -78, "center"),
    "stature_cm": (86, -122, "center"),
}
_FRONT_AT, _BED_AT = 125.0, (1.0, -104.0)


def plot_where(
    words: pd.DataFrame,
    *,
    marked: str | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw where each measure is taken on a person who sits, and on one who lies.

    Parameters
    ----------
    words : DataFrame
        One row per measure: ``name`` and ``label``, as ``vocabulary()`` gives
        them. A measure that is absent is not drawn; body mass has no place.
    marked : str, optional
        One measure to stand out; the others are drawn faintly.
    ax : Axes, optional

    Returns
    -------
    Axes

    Notes
    -----
    A straight line with two ends is a length or a breadth; a curved band is a tape
    around the body. The figures are nobody's measures, and not to scale.
    """
    ax = axes_or_new(ax, width=9.0, height=7.4)
    labels = dict(zip(words["name"], words["label"], strict=True))
    drawn = [name for name in _PLACES if name in labels]
    with quiet_style():
        _figures(ax)
        for number, name in enumerate(drawn, start=1):
            soft = marked is not None and name != marked
            _measure(ax, name, soft=soft)
            x, y, side = _PLACES[name]
            text = f"{number}  {labels[name]}".replace(", ", ",\n    ")
            _words(ax, x, y, side, text, soft=soft)
        ax.set_xlim(-76, 204)
        ax.set_ylim(-128, 100)
        ax.set_aspect("equal")
        ax.set_axis_off()
    return ax


def where_words(words: pd.DataFrame) -> str:
    """Return the drawing in words, for whoever cannot see it.

    Parameters
    ----------
    words : DataFrame
        As for ``plot_where``, with ``landmarks``.

    Returns
    -------
    str

    Examples
    --------
    >>> from sizing.measures import vocabulary
    >>> "Hip girth: level around" in where_words(vocabulary())
    True
    """
    said = {
        str(name): (str(label), str(landmarks).rstrip("."))
        for name, label, landmarks in zip(
            words["name"], words["label"], words["landmarks"], strict=True
        )
    }
    parts = []
    for number, name in enumerate((n for n in _PLACES if n in said), start=1):
        label, landmarks = said[name]
        parts.append(f"{number}, {label}: {landmarks[0].lower()}{landmarks[1:]}")
    return (
        "Drawing of a person seated against an upright, from the side and from the "
        "front, and lying on the back, with numbered lines where each measure is "
        "taken. " + "; ".join(parts) + "."
    )


def _figures(ax: Axes) -> None:
    """Draw the three figures and what they rest on."""
    _slab(ax, [(-4, -4), (43, -4), (43, 0), (-4, 0)])
    _slab(ax, [(-4, -4), (0, -4), (0, 95), (-4, 95)])
    _slab(ax, [(30, -49), (76, -49), (76, -45.4), (30, -45.4)])
    _shape(ax, _BODY, SHADES[3])
    _shape(ax, _ARM, SHADES[4])
    ax.plot(11.2, 56.2, marker="o", color=INK, markersize=4)
    left, base = _FRONT_AT, -45.4
    _slab(
        ax, [(left - 24, -49), (left + 24, -49), (left + 24, base), (left - 24, base)]
    )
    _slab(ax, [(left - 25, -4), (left + 25, -4), (left + 25, 0), (left - 25, 0)])
    both = [*_FRONT, *((-x, y) for x, y in reversed(_FRONT))]
    _shape(ax, [(left + x, y) for x, y in both], SHADES[3])
    for turn in (-1, 1):
        _shape(ax, [(left + turn * x, y) for x, y in _FRONT_ARM], SHADES[4])
    x0, y0 = _BED_AT
    _slab(ax, [(x0 - 4, y0 - 4), (x0 + 176, y0 - 4), (x0 + 176, y0), (x0 - 4, y0)])
    _shape(ax, [(x0 + x, y0 + y) for x, y in _LYING], SHADES[3])


def _measure(ax: Axes, name: str, *, soft: bool) -> None:
    """Draw the line or the tape of one measure."""
    if name == "sitting_height_cm":
        _guide(ax, (-24, 88), (14, 88))
        _span(ax, (-21, 0), (-21, 88), soft=soft)
    elif name == "shoulder_height_sitting_cm":
        _guide(ax, (-16, 56.2), (11, 56.2))
        _span(ax, (-13, 0), (-13, 56.2), soft=soft)
    elif name == "buttock_popliteal_length_cm":
        _guide(ax, (0, -4), (0, -13))
        _guide(ax, (48, -2), (48, -13))
        _span(ax, (0, -10), (48, -10), soft=soft)
    elif name == "chest_circumference_cm":
        _tape(ax, (1.6, 47), (25, 47), soft=soft)
    elif name == "waist_circumference_cm":
        _tape(ax, (4.4, 27), (27.4, 27), soft=soft)
    elif name == "thigh_circumference_cm":
        _tape(ax, (_FRONT_AT + 2, 7), (_FRONT_AT + 20.6, 7), soft=soft)
    elif name == "hip_breadth_sitting_cm":
        for side in (-20.8, 20.8):
            _guide(ax, (_FRONT_AT + side, 14), (_FRONT_AT + side, -17))
        _span(ax, (_FRONT_AT - 20.8, -14), (_FRONT_AT + 20.8, -14), soft=soft)
    elif name == "hip_circumference_cm":
        x = _BED_AT[0] + 86
        _tape(ax, (x, _BED_AT[1] + 0.4), (x, _BED_AT[1] + 19), soft=soft)
    elif name == "stature_cm":
        y = _BED_AT[1] - 11
        _span(ax, (_BED_AT[0], y), (_BED_AT[0] + 168.4, y), soft=soft)
        _guide(ax, (_BED_AT[0], y - 3), (_BED_AT[0], _BED_AT[1] + 8))
        _guide(ax, (_BED_AT[0] + 168.4, y - 3), (_BED_AT[0] + 168.4, _BED_AT[1] + 4))


def _shape(ax: Axes, points: Points, face: str) -> None:
    """Fill a smooth closed outline through the points."""
    ring = np.asarray(points, dtype=float)
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    step = (after - before) / 6
    # A Catmull-Rom spline, written as the Bezier curves that matplotlib draws.
    vertices: list[npt.NDArray[np.float64]] = [ring[0]]
    for i in range(len(ring)):
        j = (i + 1) % len(ring)
        vertices += [ring[i] + step[i], ring[j] - step[j], ring[j]]
    codes = [Path.MOVETO] + [Path.CURVE4] * (len(vertices) - 1)
    outline = Path(np.asarray(vertices), codes)
    ax.add_patch(PathPatch(outline, facecolor=face, edgecolor=INK, lw=1.4))


def _slab(ax: Axes, points: Points) -> None:
    ax.add_patch(
        Polygon(
            np.asarray(points), facecolor="white", edgecolor=SOFT, lw=0.8, hatch="////"
        )
    )


def _span(
    ax: Axes, start: tuple[float, float], end: tuple[float, float], *, soft: bool
) -> None:
    """Draw a length between two ends."""
    ax.annotate(
        "",
        start,
        xytext=end,
        zorder=5,
        arrowprops={
            "arrowstyle": "<|-|>",
            "color": SHADES[2] if soft else INK,
            "lw": 1.8,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )


def _guide(ax: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Lead from a landmark to its line."""
    xs, ys = zip(start, end, strict=True)
    ax.plot(xs, ys, color=SOFT, lw=0.8, linestyle=(0, (4, 2)), zorder=4)


def _tape(
    ax: Axes, start: tuple[float, float], end: tuple[float, float], *, soft: bool
) -> None:
    """Draw the near half of a tape around the body, and the far half broken."""
    (x0, y0), (x1, y1) = start, end
    length = float(np.hypot(x1 - x0, y1 - y0))
    centre = ((x0 + x1) / 2, (y0 + y1) / 2)
    turned = float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))
    colour = SHADES[2] if soft else INK
    for first, last, line, width in ((180, 360, "-", 2.6), (0, 180, "--", 1.2)):
        ax.add_patch(
            Arc(
                centre,
                length,
                length * 0.26,
                angle=turned,
                theta1=first,
                theta2=last,
                color=colour,
                lw=width,
                linestyle=line,
                zorder=6,
            )
        )


def _words(ax: Axes, x: float, y: float, side: str, text: str, *, soft: bool) -> None:
    ax.annotate(
        text,
        (x, y),
        ha=side,
        va="center",
        multialignment="left",
        fontsize=10.5,
        color=SOFT if soft else INK,
        fontweight="normal" if soft else "bold",
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": "none"},
        zorder=7,
        annotation_clip=False,
    )
