"""What stands under an answer about one client: entries, measures, growth, notes."""

import numpy as np
import pandas as pd

from sizing.errors import Problem
from sizing.measures.typed import like_pounds
from sizing.measures.vocabulary import plain
from sizing.words.client import (
    LITTLE,
    Answer,
    answer_lines,
    capital,
    chance_words,
    listed,
    records,
)
from sizing.words.numbers import (
    Amount,
    Row,
    Said,
    Say,
    points_interval,
    quantity_interval,
    share,
    told,
    written,
)

#: Ways of coming by a value that put neither tape nor scale to the person.
_NOT_READ = ("reported", "guessed", "estimated")
_CENTILE = " The present centile is taken to stay; children do change centile."


def summary_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return the whole answer, a line each: three lines, then the figures.

    Where no part bears the body mass nothing is said of sizes: another measure
    would not help.
    """
    lines = list(answer_lines(answer, say=say))
    if not answer.nothing_bears:
        lines += borderline_words(answer, say=say)
        lines += [next_words(answer), play_words(answer)]
    lines += [_measure(row, say) for row in records(answer.measures)]
    lines.append(allowance_words(answer, say=say))
    return lines + further_lines(answer, say=say)


def borderline_words(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what one more or less of the deciding measure would change."""
    lines = []
    for measure, rows in answer.borderline.groupby("measure", sort=False):
        name = str(measure)
        each = [
            f"{change_words(row, say=say)}: {fits_words(row)}" for row in records(rows)
        ]
        lines.append(f"One step of {plain(name)}: {'; '.join(each)}.")
    return lines


def change_words(row: Row, *, say: Say = written) -> str:
    """Return by how much the deciding measure is changed."""
    amount = say(abs(row["change"]), row["measure"], to="tenth")
    return f"{amount} {'more' if row['change'] > 0 else 'less'}"


def fits_words(row: Row) -> str:
    """Return what would fit then."""
    if row["same"]:
        return "no change"
    return f"{row['fits'] or 'no size'} would fit"


def next_words(answer: Answer) -> str:
    """Return what to measure next, and what it is expected to settle."""
    if answer.unjudged:
        return f"Measure first: {', '.join(plain(m) for m in answer.unjudged)}."
    table = answer.next_measure
    if table.empty and answer.limiting:
        return f"Measure first: {', '.join(plain(m) for m in answer.limiting)}."
    if table.empty:
        return "Every measure is taken; take those near an edge a second time."
    row = table.iloc[0]
    if row["estimate"] < LITTLE:
        return f"No further measure is expected to settle more; {_second_time(answer)}"
    more = ""
    if len(table) > 1 and table["estimate"].iloc[1] >= LITTLE:
        second = table.iloc[1]
        more = f" Next after it: {plain(second['measure'])} ({share(second['after'])})."
    return (
        f"Measure next: {plain(row['measure'])}. The chance that the likeliest answer "
        f"is right is expected to go from {share(row['now'])} to {share(row['after'])} "
        f"(gain in points: {points_interval(row)}).{more}"
    )


def play_words(answer: Answer) -> str:
    """Return the sizes in play, each with its chance."""
    rows = answer.sizes[answer.sizes["size"].isin(answer.in_play)]
    named = ", ".join(f"{row['size']} {chance_words(row)}" for row in records(rows))
    return f"Sizes in play: {named or 'none'}."


def _second_time(answer: Answer) -> str:
    decides = plain(str(answer.first["deciding_measure"]))
    if answer.first["deciding_measure"] in answer.limiting:
        return f"measure {decides} all the same: it is only predicted."
    return f"taking {decides} a second time is the best check of the size named first."


def _measure(row: dict[str, object], say: Say) -> str:
    measure, name = str(row["measure"]), capital(plain(str(row["measure"])))
    if row["evidence"] == "missing":
        return f"{name}: not taken, and not predicted"
    how = f", {row['how']}" if row["how"] else ""
    best = quantity_interval(row, measure, say)
    read = "not taken, predicted "
    if np.isfinite(float(str(row["reading"]))):
        amount = say(float(str(row["reading"])), measure, to="tenth")
        way = row["how"] if row["how"] in _NOT_READ else "read"
        read = f"{way} {amount}, best estimate "
    return f"{name}: {read}{best[:-1]}, 90 %; {row['evidence']}{how})"


def further_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what else to know: growth, notes, and what was confirmed."""
    lines = []
    if not answer.nothing_bears:
        lines += [
            capital(line) + ("" if line.endswith(".") else ".")
            for line in growth_words(answer, say=say)
        ]
    lines += [f"Note: {told(note, say)}" for note in notes(answer)]
    return lines + [
        f"Confirmed although it looked wrong: {doubt}"
        for doubt in doubt_lines(answer, say=say)
    ]


def growth_words(answer: Answer, *, say: Say = written) -> list[str]:
    """Return when a child leaves the size, and when to measure again."""
    if answer.client.age_years is None or answer.client.age_years >= 20:
        return []
    lines = []
    for row in records(answer.growth):
        measure = str(row["measure"])
        if np.isfinite(row["estimate"]):
            high = f"{row['high']:.1f}" if np.isfinite(row["high"]) else "after 20"
            lines.append(
                f"{plain(measure)} leaves {answer.first['size']} "
                f"({say(row['high_edge'], measure, to='tenth')}) at about "
                f"{row['estimate']:.1f} years (9 in 10: {row['low']:.1f} to {high})"
            )
        else:
            lines.append(
                f"{plain(measure)} stays within {answer.first['size']} until 20 "
                f"with a chance of {share(row['beyond_20'])}"
            )
    months = answer.again_in_months
    when = "now and at every lift" if months < 1 else f"within {months:.0f} months"
    lines.append(
        f"Measure again {when}, and after any illness, operation or growth spurt."
        + ("" if answer.growth.empty else _CENTILE)
    )
    return lines


def kept_words(row: Row) -> str:
    """Return one client of the list of those kept."""
    if row["problem"]:
        return f"{row['reference']}: cannot be read. {row['problem']}"
    size = f"size {row['size']}" if row["size"] else "no size chosen"
    visits = "1 visit" if row["visits"] == 1 else f"{row['visits']} visits"
    return (
        f"{row['reference']}: {row['due']}; last seen {row['last_visit_on']} "
        f"({visits}), {size}."
    )


def visits_words(table: pd.DataFrame, size: str, *, say: Say = written) -> list[str]:
    """Return how each measure changed over the visits, and when the next size comes."""
    lines = []
    for row in records(table):
        name = str(row["measure"])
        # An amount of change reads a tenth: half a unit would hide what is small.
        first, last = (say(row[one], name, to="tenth") for one in ("first", "last"))
        words = f"{capital(plain(name))}: {first} on {row['first_on']}"
        if row["visits"] > 1:
            words += f", {last} on {row['last_on']}"
        if np.isfinite(row["estimate"]):
            change = {one: row[one] for one in ("estimate", "low", "high")}
            words += (
                f"; change a year {quantity_interval(change, name, say, to='tenth')}"
            )
        words += f". {capital(row['why_not'])}." if row["why_not"] else "."
        early, late = row["edge_on_low"], row["edge_on_high"]
        if early is not None:
            after = " or ".join(filter(None, row["next_sizes"].split(";")))
            edge = f"the edge of {size} ({say(row['edge'], name, to='tenth')})"
            when = f"may pass {edge} from {early} on (90 %)"
            if row["edge_on"] is not None:
                span = f"{early} to {late}" if late else f"{early} or later"
                when = f"passes {edge} about {row['edge_on']} (90 %: {span})"
            words += (
                f" At this rate it {when}; then "
                f"{f'look at {after}' if after else 'this chart has no size for it'}."
            )
        lines.append(words)
    if table["edge_on_low"].notna().any():
        lines.append(
            "A straight line through the visits. Nobody changes so evenly, and what a "
            "weight does from day to day is not in the interval: measure again sooner."
        )
    return lines


def allowance_words(answer: Answer, *, say: Say = written) -> str:
    """Return which allowances between body and fabric are in the sum."""
    used = answer.allowances[answer.allowances["used_cm"] != 0]
    if used.empty:
        return (
            "Allowances between body and fabric: none in use; the chart is read as "
            "body measures."
        )
    each = "; ".join(
        f"{str(row['label']).lower()} {'+' if row['used_cm'] > 0 else ''}"
        f"{say(row['used_cm'], 'allowance_cm', to='tenth')}"
        for row in records(used)
    )
    return f"Allowances in use (common practice, no source): {each}."


def doubt_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what was confirmed although it looked wrong, measures written by ``say``.

    What to do about it is left out: it was done.
    """
    return [_doubt(one, say) for one in answer.doubts]


def _doubt(one: Problem, say: Say) -> str:
    words = told(one.what, say)
    measure = str(one.column)
    if one.value is not None and measure.endswith(("_cm", "_kg")):
        words += f" (read: {say(float(one.value), measure, to='tenth')})"
    if one.allowed:
        words += f". Allowed: {told(one.allowed, say)}"
    return f"{plain(measure)}: {words}." if one.column else words


def weight_lines(answer: Answer) -> list[str]:
    """Say that the weight was not weighed, where it was not."""
    how = answer.weight["how"]
    if not how:
        return [
            "Weight was not measured: weigh before any lift, and compare with the "
            "lowest load limit of all parts."
        ]
    if how in ("reported", "guessed"):
        return [f"Weight was {how}, not weighed: weigh before any lift."]
    return []


def notes(answer: Answer) -> list[str]:
    """Return what to know of these entries; each says itself in any units."""
    client, known = answer.client, answer.client.known
    limited, away = answer.chart.measures, client.touched
    unused = [m for m in known if m not in (*limited, *away, "body_mass_kg")]
    missing = [m for m in limited if m not in known and m not in away]
    lines = [*_like_pounds(answer.loads), *client.read_as]
    lines += weight_lines(answer)
    if known and not set(known) & set(limited):
        lines.append(
            "The chart limits none of the measures that were taken: every figure it "
            "is compared with is predicted. Take one the chart limits: "
            f"{', '.join(plain(m) for m in limited)}."
        )
    elif unused:
        lines.append(
            f"Not limited by the chart, but of use to predict what was not measured: "
            f"{', '.join(plain(m) for m in unused)}."
        )
    if missing:
        named = ", ".join(plain(m) for m in missing)
        lines.append(f"Predicted, not measured: {named}.")
    if client.sex is None:
        lines.append("Sex was not stated: both are mixed, so intervals are wider.")
    if client.age_years is None:
        lines.append("Age was not stated: all ages are mixed, so intervals are wider.")
    if client.stature is not None:
        lines.append(client.stature.said())
    if answer.cautious:
        lines.append(
            "No chance above 95 % is written: the model predicts "
            f"{listed([plain(name) for name in answer.limiting])} for a person "
            f"{answer.cautious}, and hardly knows such people."
        )
    return lines


def _like_pounds(loads: pd.DataFrame) -> list[str]:
    """Doubt load limits that look like pounds: too high, they let a part break."""
    lines: list[str] = []
    for row in records(loads.dropna(subset="load_limit_kg")):
        meant = like_pounds(float(row["load_limit_kg"]))
        if meant is not None:
            lines.append(
                Said(
                    "The load limit of the {part}, {limit}, looks like pounds "
                    "({meant}): read its label again before any lift.",
                    part=row["part"],
                    limit=Amount(float(row["load_limit_kg"]), "load_limit_kg"),
                    meant=Amount(meant, "load_limit_kg"),
                )
            )
    return lines
