"""What an answer about one client says: what, how sure, and what to do now."""

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from sizing.cautions import invented_words
from sizing.measures.vocabulary import plain
from sizing.words.chart import finding_words
from sizing.words.numbers import Row, Say, in_100, interval, share, written

#: Below this gain taking a further measure settles little (our choice).
LITTLE = 0.01
#: What room comes to that rounds down to nothing.
_NOTHING = ("0 cm", "0 in", "0 kg", "0 lb")
#: How a chance is called, from each on (our choice, no source).
_SURE = (
    (0.95, "Very likely"),
    (0.8, "Likely"),
    (0.6, "More likely than not"),
    (0.4, "About even"),
    (0.0, "Unlikely"),
)
#: From here on a size fits "probably", not "may fit" (our choice, no source).
_PROBABLE = _SURE[1][0]
#: Findings that are probably slips of the hand, and how many of them are named.
_SLIPS = ("nobody_fits", "doubtful_number", "out_of_order")
_SHOWN = 3
#: How a chance, and the span behind it, are to be read.
ABOUT_CHANCES = (
    "A chance holds the error of each reading, the spread between people and how sure "
    "the body model is of itself. The span behind it holds only how exact the "
    "reckoning by random draws is (Monte Carlo, 95 %)."
)
_TRY = "just clear of the seat before you rely on it"


#: A ``JudgedClient``. Its class is not named: words stand below what they speak of.
Answer: TypeAlias = Any


def capital(text: str) -> str:
    """Return a sentence with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as a list in a sentence.

    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    *most, end = names
    return f"{', '.join(most)} {last} {end}" if most else end


def sure_word(chance: float) -> str:
    """Return what a chance is called."""
    return next(word for least, word in _SURE if chance >= least)


def chance_words(row: Row) -> str:
    """Return a size's chance, or what keeps it from having one."""
    if row["over_load"]:
        return "over the load limit"
    if row["not_judged"]:
        most = f" (at most {share(row['high'])})" if row["high"] <= 0.99 else ""
        return f"not judged{most}"
    return interval(row)


def room_words(margin: float, measure: str, *, say: Say = written) -> str:
    """Return how far inside or outside an edge a measure lies, never flattered.

    >>> room_words(3.3, "hip_circumference_cm"), room_words(0.2, "stature_cm")
    ('3 cm inside its nearer edge', 'only just inside its nearer edge')
    >>> room_words(-0.2, "hip_circumference_cm")
    '0.5 cm outside its edge'
    """
    if not np.isfinite(margin):
        return "with no edge"
    text = say(margin, measure, to="down")
    if margin < 0 and text.lstrip("-") in _NOTHING:
        return "at its edge"
    if margin < 0:
        return f"{text.lstrip('-')} outside its edge"
    return f"{'only just' if text in _NOTHING else text} inside its nearer edge"


# Before the answer


def opening_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return the sentences that stand before the answer, wherever it is given."""
    lines = [
        invented_words(*answer.chart.invented),
        *condition_lines(answer.client),
        _slips(answer, say),
        load_words(answer, say=say),
    ]
    return [line for line in lines if line]


def condition_lines(client: Any) -> list[str]:
    """Say of a stated condition what the kit cannot judge, and who must."""
    if not client.conditions:
        return []
    changed = ", ".join(plain(name) for name in client.touched)
    return [
        f"Stated: {'; '.join(client.condition_labels)}. The kit cannot "
        "judge how a sling holds this body: a person competent in fitting slings "
        "must. What the condition changes is neither predicted nor predicts anything "
        f"({changed}): it counts only as measured."
    ]


def _limiting(answer: Answer) -> str:
    """Say why to measure what was not taken, though the chart limits it."""
    play = [size for size in answer.sizes["size"] if size in answer.in_play]
    one = len(answer.to_measure) == 1
    if len(play) > 1:
        decide = "It decides" if one else "They decide"
        return f"{decide} between {listed(play[:3])}."
    it, is_ = ("it", "it is") if one else ("them", "they are")
    return f"The chart limits {it}, and {is_} only predicted."


def _the(names: Sequence[str]) -> str:
    weight = {"body_mass_kg": "weight"}
    return listed([f"the {weight.get(name, plain(name))}" for name in names])


def _slips(answer: Answer, say: Say) -> str:
    """Name numbers of the chart that are probably slips, before any size."""
    kinds = answer.findings["kind"].isin(_SLIPS)
    found = finding_words(answer.findings[kinds], say=say)
    if not found:
        return ""
    more = f"; and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
    return f"Check the chart first: {'; '.join(found[:_SHOWN])}{more}."


def load_words(answer: Answer, *, say: Say = written) -> str:
    """Say where the weight is too near a load limit to be relied on.

    Near is within two typical errors of how it was weighed, or within 5 % of the
    limit, whichever is larger, on either side.
    """
    if answer.near_load.empty:
        return ""
    named = ", ".join(
        f"{part['part']} ({say(part['load_limit_kg'], 'load_limit_kg', to='tenth')})"
        for _, part in answer.near_load.iterrows()
    )
    mass = answer.weight
    again = "again " if mass["taken"] else ""
    how = "" if again else f"{mass['how']} as " if mass["how"] else "predicted to be "
    return (
        f"Weigh {again}before any lift: weight, {how}"
        f"{say(mass['value'], 'body_mass_kg', to='tenth')}, is too near a load limit "
        f"to rely on: {named}. The load decides, whatever else fits."
    )


def not_entered_lines(answer: Answer) -> list[str]:
    """Say which load limits are not in the sum."""
    if not answer.not_entered:
        return []
    return [
        f"Load limit not entered: {'; '.join(answer.not_entered)}. Read it from the "
        "label before any lift; the lowest of all parts counts."
    ]


def chart_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what is doubtful in the chart, a line each."""
    return [
        f"Of the chart: {words}." for words in finding_words(answer.findings, say=say)
    ]


# The answer


def answer_lines(answer: Answer, *, say: Say = written) -> tuple[str, str, str]:
    """Return the answer: what, how sure, and what to do now."""
    return (
        what_words(answer, say=say),
        sure_words(answer, say=say),
        f"Now: {now_words(answer)}",
    )


def what_words(answer: Answer, *, say: Say = written) -> str:
    """Return which size fits, or what keeps the person from one."""
    status = answer.status
    if answer.nothing_bears:
        known = answer.weight["value"]
        limit = float(answer.sizes["load_limit_kg"].max())
        return (
            f"Over the load limit: weight {say(known, 'body_mass_kg', to='tenth')}, "
            "lowest load limit of all parts "
            f"{say(limit, 'load_limit_kg', to='tenth')}. No size may be used with "
            "these parts, whatever else fits."
        )
    if status == "fits":
        return _fit_words(answer)
    if status == "not_measured":
        names = " and ".join(plain(name) for name in answer.unjudged)
        one = len(answer.unjudged) == 1
        was, is_, it_is = ("was", "is", "it is") if one else ("were", "are", "they are")
        return (
            f"Not judged: {names}, which the chart limits, {was} not taken and {is_} "
            f"not predicted. No size is named before {it_is} measured."
        )
    if status == "not_settled" and answer.broken:
        return f"No size is named: {_breaks(answer.first, say)}."
    if status == "not_settled":
        return f"Not settled: {listed(list(answer.in_play), 'or')} may fit, or none."
    lead = {
        "between": "Between sizes",
        "beyond_largest": "Outside the chart: larger than its largest size",
        "below_smallest": "Outside the chart: smaller than its smallest size",
        "over_load": "Over the load limit of every size that would hold this body",
    }[status]
    return f"{lead}.{_nearest(answer, say)}"


def _fit_words(answer: Answer) -> str:
    """Say that sizes fit, no surer than their chances and what was measured."""
    both = list(answer.both)
    least = answer.sizes.set_index("size")["estimate"][both].min()
    may = least < _PROBABLE or len(answer.to_measure) > 0
    how = "may " if may else "" if least >= _SURE[0][0] else "probably "
    if len(both) == 1:
        return f"Size {both[0]} {how}{'fit' if may else 'fits'}."
    return f"Sizes {listed(both)} {how}{'both' if len(both) == 2 else 'all'} fit."


def sure_words(answer: Answer, *, say: Say = written) -> str:
    """Return how sure the answer is, in words and then in people of a hundred."""
    if answer.nothing_bears:
        return "The weight as stated decides; nothing else is weighed against it."
    none = float(
        answer.outcomes.set_index("outcome")["estimate"].drop(["one", "choice"]).sum()
    )
    if answer.unjudged and answer.status == "not_measured":
        rows = answer.sizes[answer.sizes["size"].isin(answer.in_play)]
        rest = "; ".join(f"{row['size']}, {chance_words(row)}" for row in records(rows))
        return f"Not ruled out by the rest: {rest}."
    if answer.broken and answer.status == "not_settled":
        return "What was read counts for more than what the body model expects."
    first = answer.first
    like_this = "people who measure like this"
    if answer.status == "fits":
        rows = answer.sizes.set_index("size")["estimate"]
        said = "; ".join(
            f"{'it' if len(answer.both) == 1 else name} fits {in_100(rows[name])} "
            f"{like_this if not n else ''}".rstrip()
            for n, name in enumerate(answer.both)
        )
        words = (
            f"{sure_word(rows[list(answer.both)].min())}: {said}. "
            f"{capital(plain(first['deciding_measure']))} decides, "
            f"{_room(first, say)}."
        )
        other = answer.runner_up
        if other is not None and other["size"] not in answer.both:
            words += (
                f" {capital(str(other['size']))} is not ruled out "
                f"({in_100(other['estimate'])}); {plain(other['deciding_measure'])} "
                f"decides, {_room(other, say)}."
            )
        if none >= 0.05:
            words += f" No size fits {in_100(none)}."
    elif answer.status == "not_settled":
        rows = answer.sizes[answer.sizes["size"].isin(answer.in_play)]
        each = [f"{r['size']} fits {in_100(r['estimate'])}" for r in records(rows)]
        words = f"Unsure: of {like_this}, {'; '.join(each)}; none fits {in_100(none)}."
    else:
        words = f"{sure_word(none)}: no size fits {in_100(none)} {like_this}."
        if first["estimate"] >= 0.05 and not answer.broken:
            words += (
                f" Likeliest to fit nevertheless: {first['size']} "
                f"({in_100(first['estimate'])})."
            )
    if answer.outranked is not None:
        other = answer.outranked
        words += (
            f" The body model alone would sooner name {other['size']} "
            f"({in_100(other['estimate'])}), but {_breaks(other, say)}: the reading "
            "counts."
        )
    return words


def now_words(answer: Answer) -> str:
    """Return what to do now: the one thing that matters most."""
    mass = answer.weight
    if answer.nothing_bears:
        return "weigh again; if it is right, use parts that bear the person."
    others = set(answer.sizes["size"]) - {*answer.both, answer.first["size"]}
    first = answer.unjudged or answer.to_measure
    if not set(answer.near_load["part"]) <= {f"sling, size {name}" for name in others}:
        then = f", then measure {_the(first)}" if first else ""
        return f"weigh {'again ' if mass['taken'] else ''}before anything else{then}."
    if answer.unjudged:
        return f"measure {_the(first)}, then judge again."
    if first:
        return f"measure {_the(first)}, then judge again. {_limiting(answer)}"
    if answer.broken or answer.outranked is not None:
        outside = answer.first if answer.broken else answer.outranked
        return f"take {plain(outside['broken_by'])} again."
    if answer.status == "fits":
        if len(answer.both) > 1:
            return (
                f"try them {_TRY}. They are no rivals: too large, and a person can "
                "slip through; too small, and it cuts, shears or tips. Keep the one "
                "whose edges end where its instructions put them."
            )
        if answer.first["estimate"] >= 0.8:
            return f"try {answer.first['size']} {_TRY}."
    row = _settles(answer)
    if row is not None:
        return f"measure the {plain(row['measure'])}: it is expected to settle most."
    if answer.status in ("fits", "not_settled"):
        decides = plain(str(answer.first["deciding_measure"]))
        return f"take {decides} a second time; then try the size {_TRY}."
    return (
        "look for another pattern, another chart or a sling made to measure; do not "
        "use the nearest size because it is at hand."
    )


def records(frame: pd.DataFrame) -> list[dict[Any, Any]]:
    """Return a frame's rows, one mapping each."""
    return frame.to_dict("records")


def _settles(answer: Answer) -> Row | None:
    """Return the measure that would settle something, if any does."""
    table = answer.next_measure
    if table.empty or table["estimate"].iloc[0] < LITTLE:
        return None
    row: Row = table.iloc[0]
    return row


def _breaks(row: Row, say: Say) -> str:
    measure = str(row["broken_by"])
    by = say(float(row["broken_by_how_much"]), measure, to="tenth")
    return (
        f"{plain(measure)} as read lies {by} outside the edge of {row['size']}, more "
        "than its error"
    )


def _room(row: Row, say: Say) -> str:
    return room_words(float(row["margin"]), str(row["deciding_measure"]), say=say)


def _nearest(answer: Answer, say: Say) -> str:
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
