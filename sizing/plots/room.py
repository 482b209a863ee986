"""Pictures of a room's own answers: sizes, guesses, tapes."""

from collections.abc import Mapping, Sequence
from textwrap import fill

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sizing.plots.style import (
    FAINT,
    HATCHES,
    INK,
    LINES,
    SHADES,
    beside,
    name_rows,
    percent_axis,
    quiet_style,
)
from sizing.plots.teaching import slide_axes
from sizing.words.numbers import points as whole
from sizing.words.numbers import points_interval


def plot_agreement(
    points: pd.DataFrame,
    table: pd.DataFrame,
    *,
    unit: str,
    ax: Axes | None = None,
) -> Axes:
    """Draw how far each guess is off, against the truth; no mark says whose."""
    ax = slide_axes(ax)
    with quiet_style():
        ax.plot(
            points["truth"], points["difference"], "o", color=SHADES[1], mec=INK, ms=6
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
            beside(ax, f"{words} {whole(value / 100)}", value, fontsize=11)
        ax.set_xlabel(f"Truth, {unit}")
        ax.set_ylabel(f"Guess minus truth, {unit}")
    return ax


def plot_gain(
    table: pd.DataFrame, *, labels: Mapping[str, str], ax: Axes | None = None
) -> Axes:
    """Draw how far guesses were off before measuring and after, and the gain."""
    ax = slide_axes(ax)
    with quiet_style():
        for i, row in enumerate(table.to_dict("records")):
            for step, (name, shade, hatch) in enumerate(
                (("before", SHADES[1], ""), ("after", SHADES[3], HATCHES[1]))
            ):
                label = {"before": "first guess", "after": "guessed again"}[name]
                ax.barh(
                    i + 0.2 * (2 * step - 1),
                    row[name],
                    height=0.36,
                    color=shade,
                    hatch=hatch,
                    edgecolor=INK,
                    label=label if i == 0 else None,
                )
            words = f"gain {points_interval(row)} points" if row["n"] > 1 else ""
            beside(ax, words, i, fontsize=12)
        names = [labels.get(m, m) for m in table["measure"]]
        name_rows(ax, range(len(table)), names)
        ax.set_xlim(0, 1.15 * float(table[["before", "after"]].to_numpy().max()))
        percent_axis(ax.xaxis)
        ax.set_xlabel("How far off a guess is on average, share of the truth")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.14), ncols=2)
    return ax


def plot_measuring_error(
    table: pd.DataFrame, *, labels: Mapping[str, str], ax: Axes | None = None
) -> Axes:
    """Draw each measure's error within and between measurers, and its target."""
    measures = list(dict.fromkeys(table["measure"]))
    ax = slide_axes(ax)
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
        names = [fill(labels.get(m, m), 18) for m in measures]
        name_rows(ax, range(len(measures)), names)
        # A wide interval of a few readings must not squeeze the bars.
        most = float(table["relative_tem"].max())
        ax.set_xlim(0, max(2.2 * most, 0.025))
        percent_axis(ax.xaxis, decimals=None)
        ax.set_xlabel("Technical error of measurement, share of the mean")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.14), ncols=3)
    return ax


def plot_confusion(
    table: pd.DataFrame, *, sizes: Sequence[str], ax: Axes | None = None
) -> Axes:
    """Draw how often each size was chosen where another was right."""
    order = [*sizes, "none"]
    place = {size: i for i, size in enumerate(order)}
    chosen = [s for s in order if s in set(table["chosen"])]
    right = sorted(set(table["right"]), key=lambda r: (place[r.split(" or ")[0]], r))
    ax = slide_axes(ax)
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
        ax.set_yticks(range(len(right)), [fill(words, 26) for words in right])
        ax.tick_params(length=0)
        ax.set_xlabel("Size chosen; a thick frame: it fits")
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
