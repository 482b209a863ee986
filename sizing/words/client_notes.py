"""What stands under an answer about one client: entries, measures, growth, notes."""

import numpy as np
import pandas as pd

from sizing.measures import plain
from sizing.measures.typed import like_pounds
from sizing.resources import texts
from sizing.words import client as words
from sizing.words import numbers
from sizing.words.client import Answer, capital, filled, named, records, tenth
from sizing.words.numbers import Amount, Row, Said, Say, share, told, written

_T = texts("client")
#: Ways of coming by a value that put neither tape nor scale to the person.
_NOT_READ = ("reported", "guessed", "estimated")


def summary_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return the whole answer, a line each: three lines, then the figures."""
    lines = list(words.answer_lines(answer, say=say))
    # Where no part bears the body mass another measure would not help.
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
    amount = tenth(say, abs(row["change"]), row["measure"])
    return f"{amount} {'more' if row['change'] > 0 else 'less'}"


def fits_words(row: Row) -> str:
    return "no change" if row["same"] else f"{row['fits'] or 'no size'} would fit"


def next_words(answer: Answer) -> str:
    texts, table = _T.next, answer.next_measure
    first = answer.unjudged or (answer.limiting if table.empty else ())
    if first:
        return filled(texts["first"], names=named(first))
    if table.empty:
        return str(texts["all"])
    row = table.iloc[0]
    if row["estimate"] < words.LITTLE:
        decides = str(answer.first["deciding_measure"])
        second = texts["predicted" if decides in answer.limiting else "second"]
        second = filled(second, measure=plain(decides))
        return filled(texts["no_further"], second=second)
    more = ""
    if len(table) > 1 and table["estimate"].iloc[1] >= words.LITTLE:
        other = plain(table["measure"].iloc[1])
        more = filled(texts["more"], measure=other, after=share(table["after"].iloc[1]))
    chances = {name: share(row[name]) for name in ("now", "after")}
    return filled(
        texts["measure"],
        measure=plain(row["measure"]),
        gain=numbers.points_interval(row),
        more=more,
        **chances,
    )


def play_words(answer: Answer) -> str:
    each = [f"{row['size']} {words.chance_words(row)}" for row in words.in_play(answer)]
    return f"Sizes in play: {', '.join(each) or 'none'}."


def _measure(row: Row, say: Say) -> str:
    measure, name = str(row["measure"]), capital(plain(str(row["measure"])))
    if row["evidence"] == "missing":
        return f"{name}: not taken, and not predicted"
    how = f", {row['how']}" if row["how"] else ""
    best = numbers.quantity_interval(row, measure, say)
    read = "not taken, predicted "
    if np.isfinite(row["reading"]):
        way = row["how"] if row["how"] in _NOT_READ else "read"
        read = f"{way} {tenth(say, row['reading'], measure)}, best estimate "
    return f"{name}: {read}{best[:-1]}, 90 %; {row['evidence']}{how})"


def further_lines(answer: Answer, *, say: Say = written) -> list[str]:
    growth = [] if answer.nothing_bears else growth_words(answer, say=say)
    lines = [capital(line) + ("" if line.endswith(".") else ".") for line in growth]
    lines += [f"Note: {told(note, say)}" for note in notes(answer)]
    doubts = doubt_lines(answer, say=say)
    return [*lines, *(f"Confirmed although it looked wrong: {one}" for one in doubts)]


def growth_words(answer: Answer, *, say: Say = written) -> list[str]:
    if answer.client.age_years is None or answer.client.age_years >= 20:
        return []
    lines = []
    for row in records(answer.growth):
        late = f"{row['high']:.1f}" if np.isfinite(row["high"]) else "after 20"
        text = _T.growth["leaves" if np.isfinite(row["estimate"]) else "stays"]
        ages = {"age": row["estimate"], "low": row["low"], "high": late}
        line = text.format(
            measure=plain(row["measure"]),
            size=answer.first["size"],
            edge=tenth(say, row["high_edge"], row["measure"]),
            chance=share(row["beyond_20"]),
            **ages,
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
        first, last = (tenth(say, row[one], name) for one in ("first", "last"))
        line = f"{capital(plain(name))}: {first} on {row['first_on']}"
        if row["visits"] > 1:
            line += f", {last} on {row['last_on']}"
        if np.isfinite(row["estimate"]):
            change = numbers.quantity_interval(row, name, say, to="tenth")
            line += f"; change a year {change}"
        line += f". {capital(row['why_not'])}." if row["why_not"] else "."
        early, late, on = row["edge_on_low"], row["edge_on_high"], row["edge_on"]
        if early is not None:
            after = " or ".join(filter(None, row["next_sizes"].split(";")))
            edge = f"the edge of {size} ({tenth(say, row['edge'], name)})"
            span = f"{early} to {late}" if late else f"{early} or later"
            text = _T.visits["may_pass" if on is None else "passes"]
            when = filled(text, edge=edge, early=early, on=on, span=span)
            then = f"look at {after}" if after else "this chart has no size for it"
            line += filled(_T.visits["rate"], when=when, then=then)
        lines.append(line)
    if table["edge_on_low"].notna().any():
        lines.append(_T.visits["line"])
    return lines


def allowance_words(answer: Answer, *, say: Say = written) -> str:
    used = answer.allowances[answer.allowances["used_cm"] != 0]
    each = [
        f"{str(row['label']).lower()} {'+' if row['used_cm'] > 0 else ''}"
        f"{tenth(say, row['used_cm'], 'allowance_cm')}"
        for row in records(used)
    ]
    return filled(_T.allowances["used" if each else "none"], each="; ".join(each))


def doubt_lines(answer: Answer, *, say: Say = written) -> list[str]:
    """Return what was confirmed although it looked wrong."""
    lines = []
    for one in answer.doubts:
        line, measure = told(one.what, say), str(one.column)
        if one.value is not None and measure.endswith(("_cm", "_kg")):
            line += f" (read: {tenth(say, float(one.value), measure)})"
        if one.allowed:
            line += f". Allowed: {told(one.allowed, say)}"
        lines.append(f"{plain(measure)}: {line}." if one.column else line)
    return lines


def weight_lines(answer: Answer) -> list[str]:
    how = answer.weight["how"]
    if not how:
        return [_T.notes["not_weighed"]]
    said = how in ("reported", "guessed")
    return [_T.notes["said_weight"].format(how=how)] if said else []


def notes(answer: Answer) -> list[str]:
    """Return what to know of these entries; each says itself in any units."""
    client, known, texts = answer.client, answer.client.known, _T.notes
    limited, away = answer.chart.measures, client.touched
    unused = [m for m in known if m not in (*limited, *away, "body_mass_kg")]
    none_limited = bool(known) and not set(known) & set(limited)
    lines = [*_like_pounds(answer.loads), *client.read_as, *weight_lines(answer)]
    found = {
        "none_limited": limited if none_limited else (),
        "unused": () if none_limited else unused,
        "predicted": [m for m in limited if m not in known and m not in away],
    }
    lines += [filled(texts[k], names=named(m)) for k, m in found.items() if m]
    missing = {"no_sex": client.sex, "no_age": client.age_years}
    lines += [texts[name] for name, value in missing.items() if value is None]
    lines += [] if client.stature is None else [client.stature.said()]
    if answer.cautious:
        lines.append(filled(texts["cautious"], why=answer.cautious))
    return lines


def _like_pounds(loads: pd.DataFrame) -> list[str]:
    """Doubt load limits that look like pounds: too high, they let a part break."""
    lines: list[str] = []
    for row in records(loads.dropna(subset="load_limit_kg")):
        limit = float(row["load_limit_kg"])
        if (meant := like_pounds(limit)) is not None:
            limits = (Amount(value, "load_limit_kg") for value in (limit, meant))
            parts = dict(zip(("limit", "meant"), limits, strict=True))
            lines.append(Said(_T.notes["pounds"], part=row["part"], **parts))
    return lines
