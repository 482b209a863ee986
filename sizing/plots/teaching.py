"""Pictures for a lesson: ways of choosing, guesses, tapes, repeats."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import PercentFormatter

from sizing.plots.style import (
    FAINT,
    HATCHES,
    INK,
    LINES,
    MARKERS,
    SHADES,
    SOFT,
    axes_or_new,
    percent,
    quiet_style,
)


def plot_ways(
    table: pd.DataFrame,
    *,
    ways: Mapping[str, str],
    outcomes: Mapping[str, str],
    ax: Axes | None = None,
) -> Axes:
    """Draw one stacked bar per way of choosing.

    Parameters
    ----------
    table : DataFrame
        Columns ``way``, ``outcome``, ``estimate`` (shares that add up to 1 over
        the outcomes drawn).
    ways, outcomes : mapping
        Words for each, in the order to be drawn; what is not in them is not drawn.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    names = [way for way in ways if way in set(table["way"])]
    ax = axes_or_new(ax, width=9.0, height=1.6 + 0.55 * len(names))
    share = {
        (str(r["way"]), str(r["outcome"])): float(r["estimate"])
        for r in table.to_dict("records")
    }
    with quiet_style():
        left = np.zeros(len(names))
        for i, (outcome, words) in enumerate(outcomes.items()):
            width = np.array([share.get((way, outcome), 0.0) for way in names])
            shade, hatch = _FILLS[i % len(_FILLS)]
            ax.barh(
                range(len(names)),
                width,
                left=left,
                height=0.74,
                color=shade,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.7,
                label=words,
            )
            for row, (start, size) in enumerate(zip(left, width, strict=True)):
                if size >= 0.035:
                    ax.annotate(
                        percent(size),
                        (start + size / 2, row),
                        ha="center",
                        va="center",
                        fontsize=8.5,
                        bbox={"boxstyle": "round,pad=0.12", "fc": "white", "lw": 0},
                    )
            left += width
        ax.set_yticks(range(len(names)), [ways[way] for way in names])
        ax.tick_params(axis="y", length=0)
        ax.invert_yaxis()
        ax.set_xlim(0, 1)
        ax.xaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
        ax.set_xlabel("Share of the same people")
        ax.legend(loc="upper left", bbox_to_anchor=(-0.3, -0.16), ncols=2, fontsize=9)
    return ax


#: Lightness and pattern of outcomes, in the order of ``CHOICE_OUTCOMES``.
_FILLS: tuple[tuple[str, str], ...] = (
    ("#ffffff", ""),
    ("#dfe2e5", "////"),
    ("#b9bec4", "\\\\\\\\"),
    ("#7a8088", "xxxx"),
    ("#f3f4f5", "...."),
    ("#2b2f34", ""),
    ("#ffffff", "----"),
)


def plot_guess_check(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw what a fitted curve says against what was published, as shares.

    Parameters
    ----------
    table : DataFrame
        One row per published share: ``words`` (what it is), ``value``, ``low``,
        ``high``, ``model``, ``role`` (fitted, predicted).
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = axes_or_new(ax, width=9.0, height=1.5 + 0.36 * len(table))
    with quiet_style():
        for i, row in enumerate(table.to_dict("records")):
            ax.plot([row["low"], row["high"]], [i, i], color=SOFT, lw=3, alpha=0.6)
            ax.plot(row["value"], i, "o", color=INK, ms=7)
            filled = INK if row["role"] == "fitted" else "white"
            ax.plot(row["model"], i, "D", color=INK, mfc=filled, ms=7)
        ax.plot([], [], "o", color=INK, label="published, with its interval")
        ax.plot([], [], "D", color=INK, label="the curve, fitted on this study")
        ax.plot([], [], "D", color=INK, mfc="white", label="the curve, predicting")
        ax.set_yticks(range(len(table)), table["words"])
        ax.tick_params(axis="y", length=0)
        ax.invert_yaxis()
        ax.set_xlim(-0.02, 1)
        ax.xaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
        ax.grid(axis="x")
        ax.set_xlabel("Share of guesses")
        ax.legend(loc="lower right", fontsize=9)
    return ax


def plot_agreement(
    points: pd.DataFrame,
    table: pd.DataFrame,
    *,
    unit: str,
    truth: str = "the scale",
    ax: Axes | None = None,
) -> Axes:
    """Draw the difference of each guess against the mean of guess and truth.

    Parameters
    ----------
    points : DataFrame
        ``participant``, ``mean``, ``difference``.
    table : DataFrame
        ``statistic`` (bias, lower_limit, upper_limit) and ``estimate``, of all
        together.
    unit, truth : str
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = axes_or_new(ax, width=7.6, height=4.6)
    with quiet_style():
        for i, (_, own) in enumerate(points.groupby("participant", sort=False)):
            ax.plot(
                own["mean"],
                own["difference"],
                MARKERS[i % len(MARKERS)],
                color=SHADES[i % 3],
                mec=INK,
                ms=6,
            )
        ax.axhline(0, color=FAINT, lw=1, zorder=0)
        told = dict(zip(table["statistic"], table["estimate"], strict=True))
        for name, words in (
            ("bias", "on average"),
            ("lower_limit", "lower limit"),
            ("upper_limit", "upper limit"),
        ):
            value = told.get(name, np.nan)
            if not np.isfinite(value):
                continue
            ax.axhline(value, color=INK, ls=LINES[0 if name == "bias" else 1], lw=1.4)
            ax.annotate(
                f"{words} {value:+.1f}",
                (1.01, value),
                xycoords=("axes fraction", "data"),
                va="center",
                fontsize=9.5,
            )
        ax.set_xlabel(f"Mean of guess and {truth}, {unit}")
        ax.set_ylabel(f"Guess minus {truth}, {unit}")
    return ax


def plot_measuring_error(
    table: pd.DataFrame, *, labels: Mapping[str, str], ax: Axes | None = None
) -> Axes:
    """Draw each measure's error within and between measurers, and its target.

    Parameters
    ----------
    table : DataFrame
        ``measure``, ``kind``, ``relative_tem``, ``target_relative_tem``, and
        ``tem, low, high`` for the interval.
    labels : mapping
        What measures are called.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    measures = list(dict.fromkeys(table["measure"]))
    ax = axes_or_new(ax, width=7.6, height=1.6 + 0.8 * len(measures))
    with quiet_style():
        for row in table.to_dict("records"):
            within = row["kind"] == "within"
            place = measures.index(row["measure"]) + (-0.2 if within else 0.2)
            scale = row["relative_tem"] / row["tem"] if row["tem"] > 0 else 0.0
            ax.barh(
                place,
                row["relative_tem"],
                height=0.36,
                color=SHADES[3 if within else 1],
                hatch=HATCHES[0 if within else 1],
                edgecolor=INK,
            )
            ends = [row["low"] * scale, row["high"] * scale]
            ax.plot(ends, [place, place], color=INK, lw=1.4)
            target = row["target_relative_tem"]
            if pd.notna(target):
                ax.plot([target] * 2, [place - 0.2, place + 0.2], color=INK, lw=3)
        for kind, shade, hatch in (
            ("the same person again", SHADES[3], HATCHES[0]),
            ("another person", SHADES[1], HATCHES[1]),
        ):
            ax.barh(0, 0, color=shade, hatch=hatch, edgecolor=INK, label=kind)
        ax.plot([], [], color=INK, lw=3, label="published target")
        ax.set_yticks(range(len(measures)), [labels.get(m, m) for m in measures])
        ax.tick_params(axis="y", length=0)
        ax.invert_yaxis()
        # A wide interval of a few readings must not squeeze the bars.
        most = float(table["relative_tem"].max())
        ax.set_xlim(0, max(2.2 * most, 0.025))
        ax.xaxis.set_major_formatter(PercentFormatter(1.0))
        ax.set_xlabel("Technical error of measurement, share of the mean")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.18), ncols=3, fontsize=9)
    return ax


def plot_confusion(
    table: pd.DataFrame, *, sizes: Sequence[str], ax: Axes | None = None
) -> Axes:
    """Draw how often each size was chosen where another was right.

    Parameters
    ----------
    table : DataFrame
        ``right`` (sizes that fit, in words), ``chosen``, ``count``.
    sizes : sequence of str
        The chart's sizes in order; ``none`` is put last.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    order = [*sizes, "none"]
    place = {size: i for i, size in enumerate(order)}
    chosen = [s for s in order if s in set(table["chosen"])]
    right = sorted(set(table["right"]), key=lambda r: place[r.split(" or ")[0]])
    ax = axes_or_new(ax, width=2.6 + 0.95 * len(chosen), height=2.0 + 0.5 * len(right))
    with quiet_style():
        most = float(table["count"].max())
        count = {
            (str(r["right"]), str(r["chosen"])): int(r["count"])
            for r in table.to_dict("records")
        }
        for i, row in enumerate(right):
            for j, column in enumerate(chosen):
                number = count.get((row, column), 0)
                fits = column in row.split(" or ")
                ax.add_patch(
                    _cell(j, i, 0.75 - 0.55 * number / most if number else 1.0, fits)
                )
                if number:
                    ax.annotate(
                        str(number),
                        (j, i),
                        ha="center",
                        va="center",
                        fontweight="bold" if fits else "normal",
                        color=INK if number / most < 0.5 else "white",
                    )
        ax.set_xlim(-0.5, len(chosen) - 0.5)
        ax.set_ylim(len(right) - 0.5, -0.5)
        ax.set_xticks(range(len(chosen)), chosen, rotation=30, ha="right")
        ax.set_yticks(range(len(right)), right)
        ax.tick_params(length=0)
        ax.set_xlabel("Chosen (a thick frame: it fits)")
        ax.set_ylabel("Sizes that fit")
    return ax


def _cell(x: int, y: int, grey: float, fits: bool) -> Rectangle:
    return Rectangle(
        (x - 0.46, y - 0.46),
        0.92,
        0.92,
        facecolor=str(grey),
        edgecolor=INK if fits else FAINT,
        linewidth=2.6 if fits else 0.8,
    )


def plot_repeats(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the chance of a wrong answer by the number of readings.

    Parameters
    ----------
    table : DataFrame
        ``times``, ``by``, ``outcome``, ``estimate``, ``low``, ``high``.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = axes_or_new(ax, width=7.6, height=4.2)
    words = {
        "wrong_size": "put in a size that does not fit",
        "missed": "no size found though one fits",
    }
    with quiet_style():
        shift = 0.0
        for i, (outcome, name) in enumerate(words.items()):
            for j, by in enumerate(dict.fromkeys(table["by"])):
                own = table[(table["outcome"] == outcome) & (table["by"] == by)]
                x = own["times"].to_numpy(dtype=float) + shift
                ax.plot(
                    x,
                    own["estimate"],
                    marker=MARKERS[2 * i + j],
                    ls=LINES[j],
                    color=SHADES[i],
                    mec=INK,
                    label=f"{name}: {by}",
                )
                ax.vlines(x, own["low"], own["high"], color=SOFT, lw=1.2)
                shift += 0.04
        ax.set_xticks(sorted(set(table["times"])))
        ax.set_xlabel("Readings averaged")
        ax.set_ylim(bottom=0)
        ax.yaxis.set_major_formatter(PercentFormatter(1.0))
        ax.grid(axis="y")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.16), fontsize=9)
    return ax
