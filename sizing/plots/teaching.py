"""Pictures for a lesson: ways of choosing, guesses, tapes, and a room's own."""

from collections.abc import Mapping, Sequence
from textwrap import fill

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sizing.lesson.agreement import signed
from sizing.plots.style import (
    FAINT,
    HATCHES,
    INK,
    LINES,
    MARKERS,
    SHADES,
    SOFT,
    axes_or_new,
    beside,
    name_rows,
    percent_axis,
    quiet_style,
)
from sizing.words.numbers import interval, points_interval

#: Inches of a slide: at 200 dots an inch it fills a projector of 1920 by 1080.
WIDE, HIGH = 9.6, 5.4


def slide_axes(ax: Axes | None) -> Axes:
    """Return ``ax``, or the Axes of a new figure in the shape of a projector."""
    return axes_or_new(ax, width=WIDE, height=HIGH)


def plot_wrong(
    table: pd.DataFrame, *, ways: Mapping[str, str], ax: Axes | None = None
) -> Axes:
    """Draw how many of a hundred each way puts in a wrong size, and in none."""
    ax = slide_axes(ax)
    rows = table.set_index(["way", "outcome"]).to_dict("index")
    wrong, none = dict.fromkeys(table["outcome"])
    names = [way for way in ways if (way, wrong) in rows]
    with quiet_style():
        for i, way in enumerate(names):
            bad, missed = rows[way, wrong], 100 * rows[way, none]["estimate"]
            middle, low, high = (100 * bad[c] for c in ("estimate", "low", "high"))
            ax.barh(i, middle, height=0.7, color=SHADES[1], edgecolor=INK, lw=0.8)
            ax.barh(i, missed, left=middle, height=0.7, color="white", hatch="///",
                    edgecolor=INK, lw=0.8)  # fmt: skip
            ax.plot([low, high], [i, i], color=INK, lw=1.6)
            ax.annotate(
                f"{interval(bad).replace(' %', '')} wrong, "
                f"{interval(rows[way, none]).replace(' %', '')} none",
                (max(high, middle + missed) + 1.2, i),
                va="center",
                fontsize=11,
            )
        name_rows(ax, range(len(names)), [ways[way] for way in names], fontsize=12)
        most = 100 * float(table.groupby("way")["estimate"].sum().max())
        ax.set_xlim(0, max(most + 46, 60))
        ax.barh(0, 0, color=SHADES[1], edgecolor=INK, label="in a wrong size")
        ax.barh(0, 0, color="white", hatch="///", edgecolor=INK, label="in none")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.12), ncols=2)
        ax.set_xlabel("Of a hundred people who fit at least one size")
    return ax


def plot_repeats(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the chance of a wrong answer by the number of readings."""
    ax = slide_axes(ax)
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
        percent_axis(ax.yaxis, decimals=None)
        ax.grid(axis="y")
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.13))
    return ax


def plot_agreement(
    points: pd.DataFrame, table: pd.DataFrame, *, unit: str, ax: Axes | None = None
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
            beside(ax, f"{words} {signed(value)}", value, fontsize=11)
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
        ax.set_xlabel(
            "How far off a guess is, share of the truth; of sizes: share not right"
        )
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.14), ncols=2)
    return ax


def plot_courses(table: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw each course's share in a wrong size, by the sizes chosen and by tape."""
    ax = slide_axes(ax)
    courses = list(dict.fromkeys(table["course"]))
    with quiet_style():
        for i, (figure, words) in enumerate(
            (("wrong_chosen", "as chosen"), ("wrong_tape", "by their own tapes"))
        ):
            own = table[table["figure"] == figure]
            x = np.array([courses.index(c) for c in own["course"]]) + 0.12 * i
            ax.vlines(x, own["low"], own["high"], color=SOFT, lw=1.6)
            fill_of = INK if i == 0 else "white"
            ax.plot(x, own["estimate"], MARKERS[i], color=INK, mfc=fill_of, label=words)
        # A dozen dates can be read; of more, every second or third is written.
        step = -(-len(courses) // 12)
        places = range(0, len(courses), step)
        ax.set_xticks(places, courses[::step], rotation=30, ha="right")
        ax.set_xlim(-0.5, len(courses) - 0.3)
        ax.set_ylim(-0.02, 1.02)
        percent_axis(ax.yaxis)
        ax.grid(axis="y")
        ax.set_ylabel("In a size that does not fit")
        ax.legend(loc="upper right", ncols=2)
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
                grey = 0.75 - 0.55 * number / most if number else 1.0
                edge, wide = (INK, 2.6) if fits else (FAINT, 0.8)
                cell = Rectangle((j - 0.46, i - 0.46), 0.92, 0.92, fc=str(grey))
                cell.set(edgecolor=edge, linewidth=wide)
                ax.add_patch(cell)
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
