"""What stands under an answer about one client: entries, measures, growth, notes."""

import numpy as np
import pandas as pd

from sizing.measures import plain
from sizing.measures.typed import like_pounds
from sizing.resources import texts
from sizing.words.client import (
    LITTLE,
    Answer,
    answer_lines,
    capital,
    chance_words,
    filled,
    in_play,
    named,
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

_T = texts("client")
#: Ways of coming by a value that put neither tape nor scale to the person.
_NOT_READ = ("reported", "guessed", "estimated")


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
    lines = []
    for measure, rows in answer.borderline.groupby("measure", sort=False):
        each = [f"{change_words(r, say=say)}: {fits_words(r)}" for r in records(rows)]
        lines.append(f"If the {plain(str(measure))} were {'; '.join(each)}.")
    return lines


def change_words(row: Row, *, say: Say = written) -> str:
    amount = say(abs(row["change"]), row["measure"], to="tenth")
    return f"{amount} {'more' if row['change'] > 0 else 'less'}"


def fits_words(row: Row) -> str:
    return "no change" if row["same"] else f"{row['fits'] or 'no size'} would fit"


def next_words(answer: Answer) -> str:
    words, table = _T.next, answer.next_measure
    first = answer.unjudged or (answer.limiting if table.empty else ())
    if first:
        return filled(words["first"], names=named(first))
    if table.empty:
        return str(words["all"])
    row = table.iloc[0]
    if row["estimate"] < LITTLE:
        decides = str(answer.first["deciding_measure"])
        second = words["predicted" if decides in answer.limiting else "second"]
        second = filled(second, measure=plain(decides))
        return filled(words["no_further"], second=second)
    more = ""
    if len(table) > 1 and table["estimate"].iloc[1] >= LITTLE:
        other = table.iloc[1]
        after = share(other["after"])
        more = filled(words["more"], measure=plain(other["measure"]), after=after)
    return filled(
        words["measure"],
        measure=plain(row["measure"]),
        now=share(row["now"]),
        after=share(row["after"]),
        gain=points_interval(row),
        more=more,
    )


def play_words(answer: Answer) -> str:
    each = [f"{row['size']} {chance_words(row)}" for row in in_play(answer)]
    return f"Sizes in play: {', '.join(each) or 'none'}."


def _measure(row: Row, say: Say) -> str:
    measure, name = str(row["measure"]), capital(plain(str(row["measure"])))
    if row["evidence"] == "missing":
        return f"{name}: not taken, and not predicted"
    how = f", {row['how']}" if row["how"] else ""
    best = quantity_interval(row, measure, say)
    read = "not taken, predicted "
    if np.isfinite(row["reading"]):
        way = row["how"] if row["how"] in _NOT_READ else "read"
        read = f"{way} {say(row['reading'], measure, to='tenth')}, best estimate "
    return f"{name}: {read}{best[:-1]}, 90 %; {row['evidence']}{how})"


def further_lines(answer: Answer, *, say: Say = written) -> list[str]:
    growth = [] if answer.nothing_bears else growth_words(answer, say=say)
    return [
        *(capital(line) + ("" if line.endswith(".") else ".") for line in growth),
        *(f"Note: {told(note, say)}" for note in notes(answer)),
        *(
            f"Confirmed although it looked wrong: {doubt}"
            for doubt in doubt_lines(answer, say=say)
        ),
    ]


def growth_words(answer: Answer, *, say: Say = written) -> list[str]:
    if answer.client.age_years is None or answer.client.age_years >= 20:
        return []
    lines = []
    for row in records(answer.growth):
        late = f"{row['high']:.1f}" if np.isfinite(row["high"]) else "after 20"
        text = _T.growth["leaves" if np.isfinite(row["estimate"]) else "stays"]
        line = text.format(
            measure=plain(row["measure"]),
            size=answer.first["size"],
            edge=say(row["high_edge"], row["measure"], to="tenth"),
            age=row["estimate"],
            low=row["low"],
            high=late,
            chance=share(row["beyond_20"]),
        )
        lines.append(line)
    months = answer.again_in_months
    when = "now and at every lift" if months < 1 else f"within {months:.0f} months"
    centile = "" if answer.growth.empty else _T.growth["centile"]
    return [*lines, _T.growth["again"].format(when=when) + centile]


def kept_words(row: Row) -> str:
    if row["problem"]:
        return f"{row['reference']}: cannot be read. {row['problem']}"
    chosen = f"size {row['size']}" if row["size"] else "no size chosen"
    many = "1 visit" if row["visits"] == 1 else f"{row['visits']} visits"
    return filled(_T.visits["kept"], **row, many=many, chosen=chosen)


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
            words += f"; change a year {quantity_interval(row, name, say, to='tenth')}"
        words += f". {capital(row['why_not'])}." if row["why_not"] else "."
        early, late, on = row["edge_on_low"], row["edge_on_high"], row["edge_on"]
        if early is not None:
            after = " or ".join(filter(None, row["next_sizes"].split(";")))
            edge = f"the edge of {size} ({say(row['edge'], name, to='tenth')})"
            span = f"{early} to {late}" if late else f"{early} or later"
            text = _T.visits["may_pass" if on is None else "passes"]
            when = filled(text, edge=edge, early=early, on=on, span=span)
            then = f"look at {after}" if after else "this chart has no size for it"
            words += filled(_T.visits["rate"], when=when, then=then)
        lines.append(words)
    if table["edge_on_low"].notna().any():
        lines.append(_T.visits["line"])
    return lines


def allowance_words(answer: Answer, *, say: Say = written) -> str:
    used = answer.allowances[answer.allowances["used_cm"] != 0]
    each = [
        f"{str(row['label']).lower()} {'+' if row['used_cm'] > 0 else ''}"
        f"{say(row['used_cm'], 'allowance_cm', to='tenth')}"
        for row in records(used)
    ]
    return filled(_T.allowances["used" if each else "none"], each="; ".join(each))


def doubt_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what was confirmed although it looked wrong, measures written by ``say``.

    What to do about it is left out: it was done.
    """
    lines = []
    for one in answer.doubts:
        words, measure = told(one.what, say), str(one.column)
        if one.value is not None and measure.endswith(("_cm", "_kg")):
            words += f" (read: {say(float(one.value), measure, to='tenth')})"
        if one.allowed:
            words += f". Allowed: {told(one.allowed, say)}"
        lines.append(f"{plain(measure)}: {words}." if one.column else words)
    return lines


def weight_lines(answer: Answer) -> list[str]:
    how = answer.weight["how"]
    if not how:
        return [_T.notes["not_weighed"]]
    said = how in ("reported", "guessed")
    return [_T.notes["said_weight"].format(how=how)] if said else []


def notes(answer: Answer) -> list[str]:
    """Return what to know of these entries; each says itself in any units."""
    client, known, words = answer.client, answer.client.known, _T.notes
    limited, away = answer.chart.measures, client.touched
    unused = [m for m in known if m not in (*limited, *away, "body_mass_kg")]
    missing = [m for m in limited if m not in known and m not in away]
    none_limited = bool(known) and not set(known) & set(limited)
    lines = [*_like_pounds(answer.loads), *client.read_as, *weight_lines(answer)]
    found = {
        "none_limited": limited if none_limited else (),
        "unused": () if none_limited else unused,
        "predicted": missing,
    }
    lines += [
        words[k].format(names=named(names)) for k, names in found.items() if names
    ]
    lines += [words["no_sex"]] if client.sex is None else []
    lines += [words["no_age"]] if client.age_years is None else []
    lines += [] if client.stature is None else [client.stature.said()]
    if answer.cautious:
        lines.append(words["cautious"].format(why=answer.cautious))
    return lines


def _like_pounds(loads: pd.DataFrame) -> list[str]:
    """Doubt load limits that look like pounds: too high, they let a part break."""
    lines: list[str] = []
    for row in records(loads.dropna(subset="load_limit_kg")):
        limit = float(row["load_limit_kg"])
        meant = like_pounds(limit)
        if meant is not None:
            kilograms = (Amount(value, "load_limit_kg") for value in (limit, meant))
            parts = dict(zip(("limit", "meant"), kilograms, strict=True))
            lines.append(Said(_T.notes["pounds"], part=row["part"], **parts))
    return lines
