"""The bands of one measure as a light picture, to follow an edge while it moves.

Drawing the same with matplotlib takes 0.2 to 0.4 s of processor time, this a few
milliseconds; the report keeps matplotlib's.
"""

from collections.abc import Callable
from html import escape

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from sizing.plots.own_chart import axis_span, gaps_of
from sizing.plots.style import FAINT, INK, SHADES, SOFT

_WIDTH, _LEFT, _ROW, _TOP = 760, 130, 30, 34
_TICKS = 7
Place = Callable[[float], float]


def bands_svg(
    chart: pd.DataFrame,
    measure: str,
    *,
    density: pd.DataFrame,
    label: str,
    before: pd.DataFrame,
) -> str:
    """Draw each size's band over the people, as SVG.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> people = pd.DataFrame({"value": [90.0, 100.0], "share": [0.5, 0.5]})
    >>> frame = demo_chart().frame
    >>> text = bands_svg(frame, "hip_circumference_cm", density=people,
    ...                  label="Hip girth, cm", before=frame)
    >>> text.count("adult 2"), text.startswith("<svg")
    (1, True)
    """
    names = f"{measure}_low", f"{measure}_high"
    left, right = axis_span(chart, *names, density)
    height = _TOP + _ROW * len(chart)

    def x(value: float) -> float:
        part = (value - left) / (right - left)
        return round(float(_LEFT + np.clip(part, 0, 1) * (_WIDTH - _LEFT - 10)), 1)

    parts = [_people(density, x, height)]
    ends: list[tuple[float, float]] = []
    for i, row in enumerate(chart.to_dict("records")):
        low, high = (row.get(name, np.nan) for name in names)
        ends.append((left if pd.isna(low) else low, right if pd.isna(high) else high))
        parts += _band(row["size"], ends, low, high, x, _TOP + i * _ROW)
    for i, row in enumerate(before.to_dict("records")):
        y = _TOP + i * _ROW
        parts += [
            f'<path d="M{x(row[n])} {y + 1}V{y + _ROW - 1}" stroke="{INK}" '
            'stroke-dasharray="2 3"/>'
            for n in names
            if not pd.isna(row.get(n, np.nan))
        ]
    for a, b in gaps_of(ends):
        parts.append(
            f'<rect x="{x(a)}" y="{_TOP}" width="{max(x(b) - x(a), 1.5):.1f}" '
            f'height="{_ROW * len(chart)}" fill="{SHADES[0]}" opacity=".85"/>'
            f'<text x="{(x(a) + x(b)) / 2:.1f}" y="{_TOP - 8}" text-anchor="middle" '
            f'font-weight="bold">gap {a:g} to {b:g}</text>'
        )
    parts += [
        f'<text x="{x(tick)}" y="{height + 18}" text-anchor="middle" '
        f'fill="{SOFT}">{tick:g}</text>'
        for tick in MaxNLocator(_TICKS).tick_values(left, right)
        if left <= tick <= right
    ]
    middle = (_LEFT + _WIDTH) / 2
    parts.append(
        f'<text x="{middle}" y="{height + 38}" text-anchor="middle">'
        f"{escape(label)}; shaded: people; hatched: overlap; dotted: before</text>"
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH} {height + 46}" width="100%" role="img" '
        f'font-family="sans-serif" font-size="12" fill="{INK}" '
        f'style="max-width:{_WIDTH}px"><title>Bands of {escape(label)} by size'
        '</title><defs><pattern id="overlap" width="6" height="6" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0V6" stroke="{INK}" stroke-width="1.4"/></pattern></defs>'
        + "".join(parts)
        + "</svg>"
    )


def _people(density: pd.DataFrame, x: Place, height: float) -> str:
    share = density["share"].to_numpy()
    top = share.max() or 1.0
    tall = height - _TOP
    points = " ".join(
        f"{x(v)},{height - s / top * tall:.1f}"
        for v, s in zip(density["value"], share, strict=True)
    )
    first, last = x(density["value"].iloc[0]), x(density["value"].iloc[-1])
    return (
        f'<polygon points="{first},{height} {points} {last},{height}" fill="{FAINT}" '
        'opacity=".6"/>'
    )


def _band(
    size: object,
    ends: list[tuple[float, float]],
    low: float,
    high: float,
    x: Place,
    y: float,
) -> list[str]:
    a, b = (x(end) for end in ends[-1])
    box = f'y="{y + 5}" height="{_ROW - 10}"'
    name = escape(str(size))
    parts = [
        f'<text x="{_LEFT - 8}" y="{y + 19}" text-anchor="end">{name}</text>',
        f'<rect x="{a}" {box} width="{max(b - a, 1):.1f}" fill="{SHADES[3]}" '
        f'stroke="{INK}"/>',
    ]
    if len(ends) > 1:
        start, stop = max(ends[-1][0], ends[-2][0]), min(ends[-1][1], ends[-2][1])
        if stop > start:
            parts.append(
                f'<rect x="{x(start)}" {box} width="{x(stop) - x(start):.1f}" '
                'fill="url(#overlap)" opacity=".6"/>'
            )
    told = " to ".join("" if pd.isna(v) else f"{v:g}" for v in (low, high))
    middle = (a + b) / 2
    wide = 7 * len(told) + 6
    parts.append(
        f'<rect x="{middle - wide / 2:.1f}" y="{y + 7}" width="{wide}" '
        f'height="{_ROW - 14}" fill="#fff"/><text x="{middle:.1f}" y="{y + 19}" '
        f'text-anchor="middle">{told}</text>'
    )
    return parts
