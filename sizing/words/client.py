"""What an answer about one client says: what, how sure, and what to do now."""

from collections.abc import Iterable, Sequence
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from sizing.measures import plain
from sizing.resources import invented_words, texts
from sizing.words.chart import finding_words
from sizing.words.numbers import Row, Say, in_100, interval, share, written

_T = texts("client")
#: Below this gain taking a further measure settles little (our choice).
LITTLE = 0.01
#: What room comes to that rounds down to nothing.
_NOTHING = ("0 cm", "0 in", "0 kg", "0 lb")
#: How a chance is called, from each on (our choice, no source).
_SURE = [(float(least), str(word)) for least, word in _T.sure.items()]
#: From here on a size fits "probably", not "may fit" (our choice, no source).
_PROBABLE = _SURE[1][0]
#: Findings that are probably slips of the hand, and how many of them are named.
_SLIPS = ("nobody_fits", "doubtful_number", "out_of_order")
_SHOWN = 3

#: A ``JudgedClient``. Its class is not named: words stand below what they speak of.
Answer: TypeAlias = Any


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as a list in a sentence.

    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    *most, end = names
    return f"{', '.join(most)} {last} {end}" if most else end


def filled(text: str, **parts: Any) -> str:
    return text.format(**parts)


def named(measures: Iterable[str]) -> str:
    return ", ".join(map(plain, measures))


def records(frame: pd.DataFrame) -> list[dict[Any, Any]]:
    return frame.to_dict("records")


def in_play(answer: Answer) -> list[dict[Any, Any]]:
    return records(answer.sizes[answer.sizes["size"].isin(answer.in_play)])


def sure_word(chance: float) -> str:
    return next(word for least, word in _SURE if chance >= least)


def chance_words(row: Row) -> str:
    if row["over_load"]:
        return "over the load limit"
    if row["not_judged"]:
        most = share(row["high"])
        least = "" if most.startswith("under") else "at most "
        return f"not judged ({least}{most})" if row["high"] <= 0.99 else "not judged"
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
        _condition(answer.client),
        _slips(answer, say),
        load_words(answer, say=say),
    ]
    return [line for line in lines if line]


def _condition(client: Any) -> str:
    """Say of a stated condition what the kit cannot judge, and who must."""
    if not client.conditions:
        return ""
    stated = "; ".join(client.condition_labels)
    return filled(_T.stated, stated=stated, changed=named(client.touched))


def _slips(answer: Answer, say: Say) -> str:
    """Name numbers of the chart that are probably slips, before any size."""
    kinds = answer.findings["kind"].isin(_SLIPS)
    found = finding_words(answer.findings[kinds], say=say)
    if not found:
        return ""
    more = f"; and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
    return filled(_T.check_chart, found="; ".join(found[:_SHOWN]), more=more)


def load_words(answer: Answer, *, say: Say = written) -> str:
    """Say where the weight is too near a load limit to be relied on: see ``is_far``."""
    if answer.near_load.empty:
        return ""
    parts = ", ".join(
        f"{part['part']} ({say(part['load_limit_kg'], 'load_limit_kg', to='tenth')})"
        for part in records(answer.near_load)
    )
    mass = answer.weight
    again = "again " if mass["taken"] else ""
    how = "" if again else f"{mass['how']} as " if mass["how"] else "predicted to be "
    weight = say(mass["value"], "body_mass_kg", to="tenth")
    return filled(_T.weigh, again=again, how=how, weight=weight, parts=parts)


def not_entered_lines(answer: Answer) -> list[str]:
    parts = "; ".join(answer.not_entered)
    return [_T.not_entered.format(parts=parts)] if parts else []


def chart_lines(answer: Answer, *, say: Say = written) -> list[str]:
    found = finding_words(answer.findings, say=say)
    return [f"Of the chart: {words}." for words in found]


# The answer


def answer_lines(answer: Answer, *, say: Say = written) -> tuple[str, str, str]:
    """Return the answer: what, how sure, and what to do now."""
    now = f"Now: {_now_words(answer)}"
    return _what_words(answer, say), _sure_words(answer, say), now


def _what_words(answer: Answer, say: Say) -> str:
    status, words = answer.status, _T.what
    if answer.nothing_bears:
        limit = float(answer.sizes["load_limit_kg"].max())
        weight = say(answer.weight["value"], "body_mass_kg", to="tenth")
        limits = say(limit, "load_limit_kg", to="tenth")
        return filled(words["over"], weight=weight, limit=limits)
    if status == "fits":
        return _fit_words(answer)
    if status == "not_measured":
        names = " and ".join(map(plain, answer.unjudged))
        one = "was", "is", "it is"
        many = "were", "are", "they are"
        was, are, it_is = one if len(answer.unjudged) == 1 else many
        lead = words[status].format(names=names, was=was, are=are, it_is=it_is)
    elif status == "not_settled" and answer.broken:
        lead = words["broken"].format(breaks=_breaks(answer.first, say))
    elif status == "not_settled":
        lead = words[status].format(sizes=listed(answer.in_play, "or"))
    else:
        lead = f"{words[status]}.{_nearest(answer, say)}"
    return str(lead)


def _fit_words(answer: Answer) -> str:
    both = list(answer.both)
    least = answer.sizes.set_index("size")["estimate"][both].min()
    may = least < _PROBABLE or len(answer.to_measure) > 0
    how = "may " if may else "" if least >= _SURE[0][0] else "probably "
    if len(both) == 1:
        return f"Size {both[0]} {how}{'fit' if may else 'fits'}."
    return f"Sizes {listed(both)} {how}{'both' if len(both) == 2 else 'all'} fit."


def _sure_words(answer: Answer, say: Say) -> str:
    """Return how sure the answer is, in words and then in people of a hundred."""
    status, words, first = answer.status, _T.how_sure, answer.first
    if answer.nothing_bears:
        return str(words["over"])
    if status == "not_measured":
        rest = "; ".join(f"{r['size']}, {chance_words(r)}" for r in in_play(answer))
        return filled(words["rest"], rest=rest)
    if answer.broken and status == "not_settled":
        return str(words["read"])
    outcomes = answer.outcomes.set_index("outcome")["estimate"]
    none = float(outcomes.drop(["one", "choice"]).sum())
    chance = in_100(none)
    if status == "fits":
        rows = answer.sizes.set_index("size")["estimate"][list(answer.both)]
        said = [f"{size} fits {in_100(value)}" for size, value in rows.items()]
        if len(said) == 1:
            said = [f"it fits {in_100(rows.iloc[0])}"]
        said[0] += " people who measure like this"
        told = words["fits"].format(
            word=sure_word(rows.min()), said="; ".join(said), **_deciding(first, say)
        )
        other = answer.runner_up
        if other is not None and other["size"] not in answer.both:
            also = _deciding(other, say) | {"chance": in_100(other["estimate"])}
            also["measure"] = plain(other["deciding_measure"])
            told += words["other"].format(size=capital(str(other["size"])), **also)
        if none >= 0.05:
            told += words["none"].format(chance=chance)
    elif status == "not_settled":
        each = [f"{r['size']} fits {in_100(r['estimate'])}" for r in in_play(answer)]
        told = words["unsure"].format(each="; ".join(each), chance=chance)
    else:
        told = words["no_size"].format(word=sure_word(none), chance=chance)
        if first["estimate"] >= 0.05 and not answer.broken:
            least = in_100(first["estimate"])
            told += words["likeliest"].format(size=first["size"], chance=least)
    other = answer.outranked
    if other is not None:
        chance, breaks = in_100(other["estimate"]), _breaks(other, say)
        told += words["model"].format(size=other["size"], chance=chance, breaks=breaks)
    return str(told)


def _now_words(answer: Answer) -> str:
    words = _T.now
    if answer.nothing_bears:
        return str(words["parts"])
    others = set(answer.sizes["size"]) - {*answer.both, answer.first["size"]}
    first = answer.unjudged or answer.to_measure
    names = [{"body_mass_kg": "weight"}.get(name, plain(name)) for name in first]
    the = listed([f"the {name}" for name in names]) if first else ""
    if not set(answer.near_load["part"]) <= {f"sling, size {name}" for name in others}:
        again = "again " if answer.weight["taken"] else ""
        then = f", then measure {the}" if first else ""
        told = words["weigh"].format(again=again, then=then)
    elif first:
        told = words["measure"].format(names=the)
        told += "" if answer.unjudged else f" {_limiting(answer)}"
    elif answer.broken or answer.outranked is not None:
        outside = answer.first if answer.broken else answer.outranked
        told = words["again"].format(measure=plain(outside["broken_by"]))
    elif answer.status == "fits" and len(answer.both) > 1:
        told = words["both"]
    elif answer.status == "fits" and answer.first["estimate"] >= 0.8:
        told = words["try"].format(size=answer.first["size"])
    elif (answer.next_measure["estimate"].head(1) >= LITTLE).any():
        row = answer.next_measure.iloc[0]
        told = words["settles"].format(measure=plain(row["measure"]))
    elif answer.status in ("fits", "not_settled"):
        decides = plain(str(answer.first["deciding_measure"]))
        told = words["second"].format(measure=decides)
    else:
        told = words["other"]
    return str(told)


def _limiting(answer: Answer) -> str:
    play = [row["size"] for row in in_play(answer)]
    one = len(answer.to_measure) == 1
    if len(play) > 1:
        return f"{'It decides' if one else 'They decide'} between {listed(play[:3])}."
    it, was = ("it", "it was") if one else ("them", "they were")
    return f"The chart limits {it}, and {was} not measured."


def _breaks(row: Row, say: Say) -> str:
    measure = str(row["broken_by"])
    by = say(float(row["broken_by_how_much"]), measure, to="tenth")
    size = row["size"]
    return filled(_T.what["breaks"], measure=plain(measure), by=by, size=size)


def _deciding(row: Row, say: Say) -> dict[str, str]:
    """Return which measure decides of a size, and the room it leaves."""
    measure = str(row["deciding_measure"])
    room = room_words(float(row["margin"]), measure, say=say)
    return {"measure": capital(plain(measure)), "room": room}


def _nearest(answer: Answer, say: Say) -> str:
    near = answer.nearest
    if not near:
        return ""
    measure = str(near["measure"])
    amount = say(-float(near["miss"]), measure, to="down").lstrip("-")
    how = _T.misses[near["direction"]].format(amount=amount, measure=plain(measure))
    return filled(_T.what["nearest"], size=near["size"], how=how)
