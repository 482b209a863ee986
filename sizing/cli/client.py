"""``sizing client``: one client, one chart, one tape measure."""

import argparse
import json
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.cli.options import add_options, amount, told_pattern
from sizing.client import HOW, Client, check_client, conditions_table, visits
from sizing.client.change import edges_at, over_visits, readings_of, size_at
from sizing.client.readings import KNEE_EQUATIONS, MASS, STATURE, segment_table
from sizing.client.visits import HEALTH_RECORDS, Visit
from sizing.errors import SizingError, one_of
from sizing.files.writing import (
    csv_bytes,
    rounded,
    workbook_bytes,
    write_bytes,
    write_text,
)
from sizing.measures import plain, unit_of
from sizing.resources import cautions, closing, invented_words, texts
from sizing.words.client import capital, records
from sizing.words.client_notes import kept_words, visits_words

_T = texts("client")
_CLIENTS = Path("my-results") / visits.FOLDER


def add_arguments(parser: argparse.ArgumentParser) -> None:
    segments = segment_table()["definition"].items()
    add_options(
        parser,
        "client",
        {"--knee-equation": {"choices": KNEE_EQUATIONS, "default": KNEE_EQUATIONS[0]}},
        how=", ".join(HOW),
        conditions=", ".join(conditions_table()["key"]),
        segments="; ".join(f"{key}, {what}" for key, what in segments),
        folder=_CLIENTS,
        records=HEALTH_RECORDS,
    )


def run(args: argparse.Namespace) -> int:
    if args.caseload is not None and args.entries:
        raise SizingError.of(_T.wrong["list_alone"])
    # What is doubtful in the chart stands in the answer.
    chart = demo_chart() if args.chart is None else read_chart(args.chart, warn=False)
    folder = args.clients or _CLIENTS
    if args.caseload is not None:
        _judge_list(args, chart)
        return 0
    if args.guide is not None:
        from sizing.pages.where import guide_html

        print(f"Measuring guide: {write_text(args.guide, guide_html())}")
    if args.delete is not None:
        _be_sure(args)
        print(f"Deleted for good: {visits.delete_client(folder, args.delete)}")
    elif args.kept:
        print("\n".join(_kept(folder, args.open, chart)))
    elif args.guide is None or args.entries:
        _judge_one(args, chart, _visit(args, folder, chart), folder)
    return 0


def _judge_one(
    args: argparse.Namespace, chart: SizeChart, visit: Visit, folder: Path
) -> None:
    answer = check_client(chart, visit.client, **visit.besides)
    known = set(answer.client.known)
    summary = told_pattern(args, chart.measures, answer.summary(), known)
    if args.json:
        told = answer.to_dict() | ({"summary": summary} if args.pattern else {})
        print(json.dumps(rounded(told), indent=2, ensure_ascii=False))
    else:
        print(summary)
    if args.note is not None:
        from sizing.pages.client_note import client_note

        # A day that nobody named is left to be written by hand.
        on = visit.on if args.day or args.open or args.keep else None
        note = client_note(answer, visit.decision, on=on, pattern=visit.pattern)
        write_bytes(args.note, note.as_file(args.note.suffix))
    if args.keep is not None:
        one_of("size chosen", visit.decision.size, ["", *chart.sizes])
        print(f"Kept: {visits.keep_visit(folder, args.keep, visit)}. {HEALTH_RECORDS}")


def _be_sure(args: argparse.Namespace) -> None:
    """Ask once more before a client is deleted, or need ``--sure``."""
    question = _T.asked["delete"].format(who=args.delete)
    if args.sure or (sys.stdin.isatty() and input(question).strip().lower() == "yes"):
        return
    raise SizingError.of(_T.wrong["not_sure"])


def _visit(args: argparse.Namespace, folder: Path, chart: SizeChart) -> Visit:
    start = Visit(date.today(), knee_equation=args.knee_equation)
    if args.open is not None:
        *_, last = visits.read_visits(folder, args.open)
        if not args.entries and not args.keep:
            return last
        start = replace(last.next, on=start.on)
    words = args.entries or _asked(chart, args.confirmed)
    client = _client(words, start, args.confirmed)
    days = (args.day, args.review)
    day, review = (visits.day_of(text) if text else None for text in days)
    decided = {"size": args.size, "reason": args.why, "review_on": review}
    decided |= {"reference": args.keep or args.open}
    allowances = _numbers(args.allowance, "--allowance", "cm")
    return replace(
        visits.visit_of(client, day or start.on),
        loads={**start.loads, **_numbers(args.load, "--load", "kg")},
        allowances={**start.allowances, **allowances},
        knee_equation=start.knee_equation,
        confirmed=args.confirmed,
        chart=chart.name,
        pattern=args.pattern or start.pattern,
        decision=replace(start.decision, **{k: v for k, v in decided.items() if v}),
    )


def _client(words: list[str], start: Visit, confirmed: bool) -> Client:
    entries, how, conditions = {**start.entries}, {}, [*start.conditions]
    told: set[str] = set()
    for name, rest in _pairs(words, "an entry"):
        if name.lower() in ("condition", "conditions"):
            conditions.append(rest)
            continue
        if name in told:
            raise SizingError(f"'{name}' is entered twice: keep one.")
        told.add(name)
        entries[name], _, way = rest.partition(":")
        if way:
            how[name] = way.replace("_", " ")
    told_of = replace(start, entries=entries, how=how, conditions=tuple(conditions))
    return replace(told_of, confirmed=confirmed).client


def _kept(folder: Path, reference: str | None, chart: SizeChart) -> list[str]:
    """Return the list of the clients kept, or what changed over one's visits."""
    if reference is not None:
        kept = visits.read_visits(folder, reference)
        size = size_at(chart, kept[-1])
        table = over_visits(readings_of(kept), edges_at(chart, kept[-1]), size)
        days = ", ".join(visit.on.isoformat() for visit in kept)
        lines = [*visits_words(table, size), closing()]
        return [f"Visits of {reference}: {days}. Chart: {chart.name}.", *lines]
    rows = records(visits.kept_clients(folder))
    many = "1 client" if len(rows) == 1 else f"{len(rows)} clients"
    return [f"Kept in {folder}: {many}. {HEALTH_RECORDS}", *map(kept_words, rows)]


def _judge_list(args: argparse.Namespace, chart: SizeChart) -> None:
    from sizing.client.caseload import judge_clients, read_clients

    table = judge_clients(chart, read_clients(args.caseload))
    opening = told_pattern(args, chart.measures, invented_words(*chart.invented))
    if args.json:
        told = json.loads(table.to_json(orient="records"))
        whole = {"opening": opening, "chart": chart.name, "clients": told}
        print(json.dumps(whole | {"cautions": list(cautions())}, indent=2))
        return
    lines = [opening] if opening else []
    for row in records(table.fillna({"reference": ""})):
        parts = [row["how_sure"]]
        parts += [f"{name}: {row[name]}" for name in ("measure", "check") if row[name]]
        fits = f"size {row['fits']}" if row["fits"] else "no size named"
        who = f"Row {row['row']}, {row['reference'] or 'no reference'}"
        lines.append(f"{who}: {fits}. {'; '.join(parts)}.")
    print("\n".join([*lines, closing()]))
    if args.out is not None:
        frame = table.assign(chart=chart.name, note=opening)
        book = args.out.suffix.lower() == ".xlsx"
        made = workbook_bytes({"clients": frame}) if book else csv_bytes(frame)
        write_bytes(args.out, made)
        print(f"List: {args.out}")


def _asked(chart: SizeChart, confirmed: bool) -> list[str]:
    """Ask for what is known, one by one; an empty answer leaves it out."""
    names = {name: _T.asked[name] for name in ("sex", "age_years")}
    for m in dict.fromkeys((MASS, STATURE, *chart.measures)):
        name = capital(plain(m))
        names[m] = _T.asked["measure"].format(measure=name, unit=unit_of(m))
    names["condition"] = _T.asked["condition"]
    print(_T.asked["how"])
    print(f"68:hoist scale ({', '.join(HOW)}).")
    words: list[str] = []
    with suppress(EOFError):
        for name, question in names.items():
            while answer := input(f"{question}: ").strip():
                try:
                    _client([f"{name}={answer}"], Visit(date.today()), confirmed)
                except SizingError as error:
                    # Nobody is there to be asked again.
                    if not sys.stdin.isatty():
                        raise
                    print(error)
                else:
                    words.append(f"{name}={answer}")
                    break
    if not words and not sys.stdin.isatty():
        raise SizingError.of(_T.wrong["nobody_asked"])
    return words


def _numbers(words: list[str], what: str, unit: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for written, value in _pairs(words, what):
        name = written.replace("_", " ") if what == "--load" else written
        if name in found:
            raise SizingError(f"{what} {written} is given twice: keep one.")
        found[name] = amount(f"{what} {written}", value, unit)
    return found


def _pairs(words: list[str], what: str) -> list[tuple[str, str]]:
    pairs = [[part.strip() for part in word.split("=", 1)] for word in words]
    for word, (name, *value) in zip(words, pairs, strict=True):
        if not name or not value:
            raise SizingError(f"{what} is written NAME=VALUE", value=word)
    return [(name, value) for name, value in pairs]
