"""What is said of a client, of a chart and of the people it serves, in plain words."""

from collections.abc import Iterable, Sequence
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from sizing.measures import plain
from sizing.resources import invented_words, texts
from sizing.words.numbers import (
    Row,
    Say,
    count_in,
    in_100,
    interval,
    probably,
    share,
    span,
    told,
    written,
)

_T, _CHART = texts("client"), texts("own_chart")
_FOUND: dict[str, str] = _CHART.found
#: So many rows of clients without a size are named in a sentence.
_ROWS = 12
#: Below this gain taking a further measure settles little (our choice).
LITTLE = 0.01
#: What room comes to that rounds down to nothing.
_NOTHING = ("0 cm", "0 in", "0 kg", "0 lb")
#: How a chance is called, from each on; a size fits "probably", not "may fit", from the
#: second on (our choice, no source).
_SURE = [(float(least), str(word)) for least, word in _T.sure.items()]
#: Findings that are probably slips of the hand, and how many of them are named.
_SLIPS = ("nobody_fits", "doubtful_number", "out_of_order")
_SHOWN = 3

#: A ``ClientAnswer``. Its class is not named: words stand below what they speak of.
Answer: TypeAlias = Any


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as a list in a sentence: a, b and c."""
    *most, end = names
    return f"{', '.join(most)} {last} {end}" if most else end


def filled(text: str, **parts: Any) -> str:
    return text.format(**parts)


def tenth(say: Say, value: float, measure: str = "body_mass_kg") -> str:
    return say(value, measure, to="tenth")


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
    text = say(margin, measure, to="down").lstrip("-")
    nothing = text in _NOTHING
    if margin < 0:
        return "at its edge" if nothing else f"{text} outside its edge"
    return f"{'only just' if nothing else text} inside its nearer edge"


# Before the answer


def opening_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return the sentences that stand before the answer, wherever it is given."""
    client, lines = answer.client, [invented_words(*answer.chart.invented)]
    if client.conditions:
        # What the kit cannot judge, and who must.
        stated, changed = "; ".join(client.condition_labels), named(client.touched)
        lines.append(_T.stated.format(stated=stated, changed=changed))
    slips = answer.findings[answer.findings["kind"].isin(_SLIPS)]
    if found := finding_words(slips, say=say):
        # Numbers of the chart that are probably slips, before any size.
        more = f"; and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
        lines.append(_T.check_chart.format(found="; ".join(found[:_SHOWN]), more=more))
    lines.append(load_words(answer, say=say))
    return [line for line in lines if line]


def load_words(answer: Answer, *, say: Say = written) -> str:
    """Say where the weight is too near a load limit to be relied on: see ``is_far``."""
    if answer.near_load.empty:
        return ""
    parts = ", ".join(
        f"{part['part']} ({tenth(say, part['load_limit_kg'], 'load_limit_kg')})"
        for part in records(answer.near_load)
    )
    mass = answer.weight
    again = "again " if mass["taken"] else ""
    how = "" if again else f"{mass['how']} as " if mass["how"] else "predicted to be "
    weight = tenth(say, mass["value"])
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
    status, words, parts = answer.status, _T.what, {}
    if answer.nothing_bears:
        limit = float(answer.sizes["load_limit_kg"].max())
        weight = tenth(say, answer.weight["value"])
        limits = tenth(say, limit, "load_limit_kg")
        return filled(words["over"], weight=weight, limit=limits)
    if status == "fits":
        return _fit_words(answer)
    if status == "not_measured":
        one = {"was": "was", "are": "is", "it_is": "it is"}
        many = {"was": "were", "are": "are", "it_is": "they are"}
        parts = one if len(answer.unjudged) == 1 else many
        parts = {"names": " and ".join(map(plain, answer.unjudged)), **parts}
    elif status == "not_settled" and answer.broken:
        status, parts = "broken", {"breaks": _breaks(answer.first, say)}
    elif status == "not_settled":
        parts = {"sizes": listed(answer.in_play, "or")}
    else:
        return f"{words[status]}.{_nearest(answer, say)}"
    return filled(words[status], **parts)


def _fit_words(answer: Answer) -> str:
    both = list(answer.both)
    least = answer.sizes.set_index("size")["estimate"][both].min()
    may = least < _SURE[1][0] or len(answer.to_measure) > 0
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
        parts = {"word": sure_word(rows.min()), "said": "; ".join(said)}
        told = filled(words["fits"], **parts, **_deciding(first, say))
        other = answer.runner_up
        if other is not None and other["size"] not in answer.both:
            also = _deciding(other, say) | {"chance": in_100(other["estimate"])}
            also["measure"] = plain(other["deciding_measure"])
            told += filled(words["other"], size=capital(str(other["size"])), **also)
        if none >= 0.05:
            told += filled(words["none"], chance=chance)
    elif status == "not_settled":
        each = [f"{r['size']} fits {in_100(r['estimate'])}" for r in in_play(answer)]
        told = filled(words["unsure"], each="; ".join(each), chance=chance)
    else:
        told = filled(words["no_size"], word=sure_word(none), chance=chance)
        if first["estimate"] >= 0.05 and not answer.broken:
            least = in_100(first["estimate"])
            told += filled(words["likeliest"], size=first["size"], chance=least)
    if (other := answer.outranked) is not None:
        chance, breaks = in_100(other["estimate"]), _breaks(other, say)
        told += filled(words["model"], size=other["size"], chance=chance, breaks=breaks)
    return told


def _now_words(answer: Answer) -> str:
    words, first = _T.now, answer.unjudged or answer.to_measure
    names = [{"body_mass_kg": "weight"}.get(name, plain(name)) for name in first]
    the = listed([f"the {name}" for name in names]) if first else ""
    others = set(answer.sizes["size"]) - {*answer.both, answer.first["size"]}
    slings = {f"sling, size {name}" for name in others}
    settled = answer.status == "fits"
    kind, parts = "other", {}
    if answer.nothing_bears:
        kind = "parts"
    elif not set(answer.near_load["part"]) <= slings:
        again = "again " if answer.weight["taken"] else ""
        then = f", then measure {the}" if first else ""
        kind, parts = "weigh", {"again": again, "then": then}
    elif first:
        told = filled(words["measure"], names=the)
        return told if answer.unjudged else f"{told} {_limiting(answer)}"
    elif answer.broken or answer.outranked is not None:
        outside = answer.first if answer.broken else answer.outranked
        kind, parts = "again", {"measure": plain(outside["broken_by"])}
    elif settled and len(answer.both) > 1:
        kind = "both"
    elif settled and answer.first["estimate"] >= 0.8:
        kind, parts = "try", {"size": answer.first["size"]}
    elif (answer.next_measure["estimate"].head(1) >= LITTLE).any():
        most = str(answer.next_measure["measure"].iloc[0])
        kind, parts = "settles", {"measure": plain(most)}
    elif settled or answer.status == "not_settled":
        decides = plain(str(answer.first["deciding_measure"]))
        kind, parts = "second", {"measure": decides}
    return filled(words[kind], **parts)


def _limiting(answer: Answer) -> str:
    play = [row["size"] for row in in_play(answer)]
    one = len(answer.to_measure) == 1
    if len(play) > 1:
        return f"{'It decides' if one else 'They decide'} between {listed(play[:3])}."
    it, was = ("it", "it was") if one else ("them", "they were")
    return f"The chart limits {it}, and {was} not measured."


def _breaks(row: Row, say: Say) -> str:
    measure = str(row["broken_by"])
    by = tenth(say, float(row["broken_by_how_much"]), measure)
    return filled(_T.what["breaks"], measure=plain(measure), by=by, size=row["size"])


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


def fits_words(chart: str, row: Row, people: str, *, own: bool) -> str:
    n = row["n"]
    whom = "this one client" if n == 1 else f"these {n:,} clients"
    shares = {"share": share(row["estimate"]) if own else in_100(row["estimate"])}
    shares |= {"whom": whom, "probably": probably(row)}
    words = _FOUND["fits_clients" if own else "fits"]
    return words.format(chart=chart, people=people, n=n, **shares)


def why_words(row: Row, *, say: Say = written) -> str:
    """Return one row of ``why_none`` in plain words, measures written by ``say``."""
    measure, how = str(row["measure"]), _CHART.how[str(row["direction"])]
    words = _FOUND["why"].format(share=interval(row), measure=plain(measure), how=how)
    if np.isfinite(row["miss_median"]):
        words += _FOUND["half"].format(
            miss=say(row["miss_median"], measure, to="tenth")
        )
    return f"{words}."


def finding_words(findings: pd.DataFrame, *, say: Say = written) -> list[str]:
    return [told(words, say) for words in findings["words"]]


def load_first_words(sizes: pd.DataFrame, *, say: Say = written) -> list[str]:
    return [
        _FOUND["load_first"].format(
            size=row["size"],
            limit=say(row["load_limit_kg"], "load_limit_kg", to="tenth"),
            share=interval(row, "load_first", "load_first_"),
        )
        for _, row in sizes[sizes["load_first"] > 0].iterrows()
    ]


def change_words(changes: pd.DataFrame, *, say: Say = written) -> list[str]:
    lines = []
    for kind, rows in changes.groupby("change", sort=False):
        row = rows.iloc[0]
        ends = zip(rows["measure"], rows["from"], rows["to"], strict=True)
        moved = ", ".join(f"{plain(m)} {span(a, b, m, say)}" for m, a, b in ends)
        given = {"moved": moved, "end": row["end"], "size": row["size"]}
        given |= {"share": interval(row), "left_out": share(row["left_out"])}
        words = (
            _FOUND["edge" if kind == "edge" else "more"] + _FOUND["reaches"]
        ).format(**given)
        lines.append(words + _FOUND["unsettled"] * bool(row["low"] <= 0))
    if lines:
        whom = _FOUND["halved" if changes["halved"].iloc[0] else "same"]
        best = _FOUND["proved" if changes["proved"].all() else "searched"]
        lines.append(f"{whom} {best} {_FOUND['try']}")
    return lines


def served_words(clients: pd.DataFrame) -> str:
    named = clients["fits"] != ""
    fit, wait = named.sum(), (named & (clients["measure"] != "")).sum()
    words = _FOUND["served"].format(count=count_in(fit, len(clients)))
    words += _FOUND["waiting"].format(count=count_in(wait, fit)) if wait else ""
    if rows := [str(row) for row in clients.loc[~named, "row"]]:
        more = f" and {len(rows) - _ROWS:,} more" if len(rows) > _ROWS else ""
        which = f"row{'s' * (len(rows) > 1)} {', '.join(rows[:_ROWS])}{more}"
        words += _FOUND["unserved"].format(rows=which)
    return f"{words}."
