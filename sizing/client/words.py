"""What an answer says, in plain words."""

import re
from functools import cache

import numpy as np
import pandas as pd

from sizing.client.growth import measure_again_in
from sizing.client.how import ESTIMATED, HOW, TAKEN
from sizing.client.judged import JudgedClient
from sizing.measures import vocabulary
from sizing.measures.written import Say, retold_by, written

#: Below this gain taking a further measure settles little (our choice).
_LITTLE = 0.01
#: What room comes to that rounds down to nothing.
_NOTHING = ("0 cm", "0 in", "0 kg", "0 lb")
#: What a doubt names first, and what was read.
_NAMED = re.compile(r"^column '(\w+)': ")
_FOUND = re.compile(r" \(found: ([\d.]+)\)")
_CENTILE = " The present centile is taken to stay; children do change centile."
#: How a chance, and the span behind it, are to be read.
ABOUT_CHANCES = (
    "A chance holds the error of each reading, the spread between people and how sure "
    "the body model is of itself. The span behind it holds only how exact the "
    "reckoning by random draws is (Monte Carlo, 95 %)."
)


@cache
def _labels() -> dict[str, str]:
    words = vocabulary()
    return {
        str(name): str(label).lower().replace(",", "")
        for name, label in zip(words["name"], words["label"], strict=True)
    }


def plain(measure: str) -> str:
    """Return what a measure is called within a sentence: the vocabulary's label.

    Examples
    --------
    >>> plain("hip_circumference_cm"), plain("shoulder_height_sitting_cm")
    ('hip girth', 'shoulder height sitting')
    >>> plain("knee_height_cm")
    'knee height'
    """
    return _labels().get(measure, measure.rsplit("_", 1)[0].replace("_", " "))


def unit(measure: str) -> str:
    """Return a measure's unit.

    Examples
    --------
    >>> unit("body_mass_kg")
    'kg'
    """
    return measure.rsplit("_", 1)[1]


def share(p: float) -> str:
    """Return a chance in percent, without false certainty.

    Examples
    --------
    >>> share(0.814), share(0.999), share(0.001), share(0.0)
    ('81 %', 'over 99 %', 'under 1 %', 'under 1 %')
    """
    if p > 0.99:
        return "over 99 %"
    if p < 0.01:
        return "under 1 %"
    return f"{100 * p:.0f} %"


def span(row: pd.Series) -> str:
    """Return a chance with the span behind it, where there is one to see."""
    low, high = (f"{100 * row[end]:.0f}" for end in ("low", "high"))
    return share(row["estimate"]) + (f" ({low} to {high})" if low != high else "")


def chance_words(row: pd.Series) -> str:
    """Return a size's chance, or what keeps it from having one."""
    if row["over_load"]:
        return "over the load limit"
    if row["not_judged"]:
        most = f" (at most {share(row['high'])})" if row["high"] <= 0.99 else ""
        return f"not judged{most}"
    return span(row)


def capital(text: str) -> str:
    """Return a sentence with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def answer_words(answer: JudgedClient, *, say: Say = written) -> str:
    """Return the answer in one or two sentences, measures written by ``say``."""
    status = answer.status
    none = float(
        answer.outcomes.set_index("outcome")["estimate"].drop(["one", "choice"]).sum()
    )
    if answer.nothing_bears:
        known = answer.client.known["body_mass_kg"].value
        limit = float(answer.sizes["load_limit_kg"].max())
        return (
            f"Over the load limit: body mass {say(known, 'body_mass_kg', to='tenth')}, "
            "lowest load limit of all parts "
            f"{say(limit, 'load_limit_kg', to='tenth')}. No size may be used with "
            "these parts, whatever else fits."
        )
    if status == "fits":
        words = _named(answer, say)
        if none >= 0.05:
            words += f" That no size fits has a chance of {share(none)}."
        return words
    if status == "not_measured":
        return _not_judged(answer)
    missing = _missing(answer, say)
    if status == "not_settled":
        return (
            "Not settled: no size has an even chance. "
            f"{_named(answer, say)} That none fits has a chance of {share(none)}."
        )
    lead = {
        "between": "Between sizes",
        "beyond_largest": "Outside the chart: larger than its largest size",
        "below_smallest": "Outside the chart: smaller than its smallest size",
        "over_load": "Over the load limit of every size that would hold this body",
    }[status]
    words = f"{lead} (chance that no size fits: {share(none)}).{missing}"
    if answer.first["estimate"] >= 0.05 and not answer.broken:
        first = answer.first
        words += f" Likeliest to fit nevertheless: {first['size']}, {span(first)}."
    return words


def _not_judged(answer: JudgedClient) -> str:
    """Say what keeps the sizes in play from being judged, and what is not ruled out."""
    names = " and ".join(plain(name) for name in answer.unjudged)
    rows = answer.sizes[answer.sizes["size"].isin(answer.in_play)]
    rest = "; ".join(
        f"{row['size']}, {chance_words(row)}" for _, row in rows.iterrows()
    )
    one = len(answer.unjudged) == 1
    return (
        f"Not judged: {names}, which the chart limits, {'was' if one else 'were'} not "
        f"taken and {'is' if one else 'are'} not predicted. Measure "
        f"{'it' if one else 'them'} before any size is named. Not ruled out by the "
        f"rest: {rest}."
    )


def _named(answer: JudgedClient, say: Say) -> str:
    """Name the likeliest size, and the runner-up where it is close."""
    first, second = answer.first, answer.runner_up
    if answer.broken:
        return f"No size is named: {_breaks(first, say)}."
    words = (
        f"Size {first['size']} fits all measures with a chance of {span(first)}; "
        f"{plain(first['deciding_measure'])} decides, {_room(first, say)}."
    )
    if second is not None:
        words += (
            f" Runner-up: {second['size']}, {span(second)}; "
            f"{plain(second['deciding_measure'])} decides, {_room(second, say)}."
        )
    if answer.outranked is not None:
        other = answer.outranked
        words += (
            f" The body model alone would sooner name {other['size']} "
            f"({share(other['estimate'])}), but {_breaks(other, say)}: the reading "
            f"counts. Take {plain(other['broken_by'])} again."
        )
    return words


def _breaks(row: pd.Series, say: Say) -> str:
    measure = str(row["broken_by"])
    by = say(float(row["broken_by_how_much"]), measure, to="tenth")
    return (
        f"{plain(measure)} as read lies {by} outside the edge of {row['size']}, more "
        "than its error"
    )


def _room(row: pd.Series, say: Say) -> str:
    return room_words(float(row["margin"]), str(row["deciding_measure"]), say=say)


def room_words(margin: float, measure: str, *, say: Say = written) -> str:
    """Return how far inside or outside an edge a measure lies, never flattered.

    Examples
    --------
    >>> room_words(3.3, "hip_circumference_cm"), room_words(0.2, "stature_cm")
    ('3 cm inside its nearer edge', 'only just inside its nearer edge')
    >>> room_words(-0.2, "hip_circumference_cm")
    '0.5 cm outside its edge'
    """
    if not np.isfinite(margin):
        return "with no edge"
    text = say(margin, measure, to="down")
    if margin < 0:
        return f"{text.lstrip('-')} outside its edge"
    return f"{'only just' if text in _NOTHING else text} inside its nearer edge"


def _missing(answer: JudgedClient, say: Say) -> str:
    near = answer.nearest
    if not near:
        return ""
    measure = str(near["measure"])
    amount = say(-float(near["miss"]), measure, to="down").lstrip("-")
    how = {
        "too_small_for": f"is too small by {amount} in {plain(measure)}",
        "too_large_for": f"is too large by {amount} in {plain(measure)}",
        "over_load": f"is exceeded in its load limit by {amount}",
    }[near["direction"]]
    return f" Nearest is {near['size']}, which {how}."


def next_words(answer: JudgedClient) -> str:
    """Return what to measure next, and what it is expected to settle."""
    if answer.unjudged:
        return f"Measure first: {', '.join(plain(m) for m in answer.unjudged)}."
    table = answer.next_measure
    if table.empty and answer.limiting:
        return f"Measure first: {', '.join(plain(m) for m in answer.limiting)}."
    if table.empty:
        return "Every measure is taken; take those near an edge a second time."
    row = table.iloc[0]
    if row["estimate"] < _LITTLE:
        return f"No further measure is expected to settle more; {_second_time(answer)}"
    more = ""
    if len(table) > 1 and table["estimate"].iloc[1] >= _LITTLE:
        second = table.iloc[1]
        more = f" Next after it: {plain(second['measure'])} ({share(second['after'])})."
    return (
        f"Measure next: {plain(row['measure'])}. The chance that the likeliest answer "
        f"is right is expected to go from {share(row['now'])} to {share(row['after'])} "
        f"(gain {100 * row['estimate']:.0f} points, {100 * row['low']:.0f} to "
        f"{100 * row['high']:.0f}).{more}"
    )


def _second_time(answer: JudgedClient) -> str:
    decides = plain(str(answer.first["deciding_measure"]))
    if answer.first["deciding_measure"] in answer.limiting:
        return f"measure {decides} all the same: it is only predicted."
    return f"taking {decides} a second time is the best check of the size named first."


def growth_words(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Return when a child leaves the size, and when to measure again."""
    if answer.client.age_years is None or answer.client.age_years >= 20:
        return []
    lines = []
    for _, row in answer.growth.iterrows():
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
    months = 12 * measure_again_in(answer.growth, answer.client.age_years)
    when = "now and at every lift" if months < 1 else f"within {months:.0f} months"
    lines.append(
        f"Measure again {when}, and after any illness, operation or growth spurt."
        + ("" if answer.growth.empty else _CENTILE)
    )
    return lines


def play_words(answer: JudgedClient) -> str:
    """Return the sizes in play, each with its chance."""
    rows = answer.sizes[answer.sizes["size"].isin(answer.in_play)]
    named = ", ".join(
        f"{row['size']} {chance_words(row)}" for _, row in rows.iterrows()
    )
    return f"Sizes in play: {named or 'none'}."


def allowance_words(answer: JudgedClient, *, say: Say = written) -> str:
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
        for _, row in used.iterrows()
    )
    return f"Allowances in use (common practice, no source): {each}."


def summary_lines(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Return the whole answer, a line each.

    Where no part bears the body mass nothing is said of sizes: another measure
    would not help.
    """
    lines = [answer_words(answer, say=say)]
    if not answer.nothing_bears:
        lines += [next_words(answer), play_words(answer)]
    for _, row in answer.measures.iterrows():
        measure = str(row["measure"])
        if row["evidence"] == "missing":
            lines.append(f"{capital(plain(measure))}: not taken, and not predicted")
            continue
        low, high = (say(row[end], measure) for end in ("low", "high"))
        lines.append(
            f"{capital(plain(measure))}: {_read_words(row, say)}"
            f"{say(row['estimate'], measure)} "
            f"(90 %: {low} to {high}; {row['evidence']}"
            + (f", {row['how']}" if row["how"] else "")
            + ")"
        )
    lines.append(allowance_words(answer, say=say))
    lines += told_lines(answer, say=say)
    return lines


def _read_words(row: pd.Series, say: Say) -> str:
    """Return the reading as read, before what the kit makes of it."""
    if not np.isfinite(row["reading"]):
        return "not taken, predicted "
    read = say(row["reading"], str(row["measure"]), to="tenth")
    way = str(row["how"])
    way = way if way in (*HOW[len(TAKEN) :], ESTIMATED) else "read"
    return f"{way} {read}, best estimate "


def told_lines(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Return what to know besides: growth, notes, and what was confirmed."""
    lines = []
    if not answer.nothing_bears:
        lines += [
            capital(line) + ("" if line.endswith(".") else ".")
            for line in growth_words(answer, say=say)
        ]
    lines += [f"Note: {note}" for note in answer.notes]
    return lines + [
        f"Confirmed although it looked wrong: {doubt}"
        for doubt in doubt_lines(answer, say=say)
    ]


def doubt_lines(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Return what was confirmed although it looked wrong, measures written by ``say``.

    What to do about it is left out: it was done.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.client import check_client
    >>> tall = {"sex": "female", "age_years": 74, "body_mass_kg": 60, "stature_cm": 228}
    >>> doubt_lines(check_client(demo_chart(), tall, confirmed=True))[0][:64]
    'stature: with the rest of what was entered, a stature of about 1'
    """
    return [_doubt(text, say) for text in answer.doubts]


def _doubt(text: str, say: Say) -> str:
    text = text.split(" What to do:")[0]
    named = _NAMED.match(text)
    if named is None:
        return text
    measure = named[1]
    text = text.removeprefix(named[0])
    if measure.endswith(("_cm", "_kg")):
        text = retold_by(text, say)
        text = _FOUND.sub(
            lambda m: f" (read: {say(float(m[1]), measure, to='tenth')})", text
        )
    return f"{plain(measure)}: {text}"
