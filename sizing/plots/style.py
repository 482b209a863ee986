"""One quiet style for every picture, legible without colour."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

INK = "#1f2328"
SOFT = "#6b7178"
FAINT = "#c9cdd2"
PAPER = "#ffffff"
#: Steps of lightness; groups also differ in line pattern, marker and words.
DENSITY = "Greys"
LINES: tuple[str, ...] = ("-", "--", ":", "-.")
MARKERS: tuple[str, ...] = ("o", "s", "D", "^", "v")
HATCHES: tuple[str, ...] = ("", "////", "....", "xxxx", "----")
SHADES: tuple[str, ...] = ("#2b2f34", "#7a8088", "#b9bec4", "#dfe2e5", "#f3f4f5")

# Typed loosely: matplotlib's own stubs list every key of the installed release.
_SETTINGS: Any = {
    "axes.axisbelow": True,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 12,
    "axes.titleweight": "bold",
    "figure.dpi": 110,
    "figure.facecolor": PAPER,
    "font.sans-serif": ["Arial", "DejaVu Sans", "Liberation Sans", "sans-serif"],
    "font.size": 10.5,
    "grid.color": "#e6e8ea",
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "lines.solid_capstyle": "round",
    "patch.edgecolor": "w",
    "patch.force_edgecolor": True,
    "savefig.dpi": 150,
    # Unsalted ids and no date make the same picture the same file.
    "svg.hashsalt": "sizing",
    "text.color": INK,
    # A size may be called anything: a dollar sign in its name is no formula.
    "text.parse_math": False,
    "xtick.color": INK,
    "ytick.color": INK,
}


@contextmanager
def quiet_style() -> Iterator[None]:
    """Draw in the kit's style inside this block and nowhere else."""
    with mpl.rc_context(_SETTINGS):
        yield


def axes_or_new(ax: Axes | None, *, width: float = 7.0, height: float = 4.5) -> Axes:
    """Return ``ax``, or the Axes of a new figure of that size in inches."""
    if ax is not None:
        return ax
    with quiet_style():
        figure = Figure(figsize=(width, height), layout="constrained")
        return figure.subplots()


def figure_of(ax: Axes) -> Figure:
    """Return the figure that an Axes belongs to, however deep in it."""
    figure = ax.figure
    while not isinstance(figure, Figure):
        figure = figure.figure
    return figure


def percent_axis(axis: Axis, *, decimals: int | None = 0) -> None:
    axis.set_major_formatter(PercentFormatter(1.0, decimals=decimals, symbol=" %"))


def name_rows(
    ax: Axes, places: Sequence[float], names: Sequence[str], **style: Any
) -> None:
    ax.set_yticks(places, names, **style)
    ax.tick_params(axis="y", length=0)
    ax.invert_yaxis()


def grid_below(ax: Axes) -> None:
    ax.grid(axis="x")
    ax.set_axisbelow(True)


def beside(ax: Axes, words: str, row: float, *, fontsize: float = 9.5) -> None:
    ends = ("axes fraction", "data")
    ax.annotate(words, (1.01, row), xycoords=ends, va="center", fontsize=fontsize)


def past(
    ax: Axes, words: str, end: tuple[float, float], *, gap: int = 4, **style: Any
) -> None:
    """Write words a gap, in points, right of an end."""
    points = "offset points"
    ax.annotate(words, end, xytext=(gap, 0), textcoords=points, va="center", **style)
