"""``sizing client``: one client, one chart, one tape measure."""

import argparse
import json
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

from sizing.cautions import cautions, closing, invented_words
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.cli.options import add_options, amount, told_pattern
from sizing.cli.places import check_places
from sizing.client import HOW, check_client, conditions_table
from sizing.client.change import edges_at, over_visits, readings_of, size_at
from sizing.client.client import client_from
from sizing.client.how import MASS
from sizing.client.kept import (
    FOLDER,
    HEALTH_RECORDS,
    delete_client,
    keep_visit,
    kept_clients,
    read_visits,
)
from sizing.client.stature import KNEE_EQUATIONS, STATURE, segment_table
from sizing.client.visit import Visit, day_of, visit_of
from sizing.errors import SizingError, one_of
from sizing.files.folders import write_bytes, write_text
from sizing.files.writing import csv_bytes, rounded, workbook_bytes
from sizing.measures.vocabulary import plain
from sizing.measures.written import unit_of
from sizing.words.client import capital, records
from sizing.words.client_notes import kept_words, visits_words


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


_CLIENTS = Path("my-results") / FOLDER


def run(args: argparse.Namespace) -> int:
    """Check the client and print the answer."""
    check_places("client", args)
    if args.caseload is not None and args.entries:
        raise SizingError(
            "a list of clients goes without values of one client",
            allowed="--caseload FILE, or NAME=VALUE",
            action="leave out one of them",
        )
    # What is doubtful in the chart stands in the answer.
    chart = demo_chart() if args.chart is None else read_chart(args.chart, warn=False)
    if args.caseload is not None:
        return _caseload(args, chart)
    folder = args.clients or _CLIENTS
    if args.guide is not None:
        from sizing.pages.where import guide_html

        print(f"Measuring guide: {write_text(args.guide, guide_html())}")
        if not args.entries:
            return 0
    if args.delete is not None:
        _be_sure(args)
        print(f"Deleted for good: {delete_client(folder, args.delete)}")
        return 0
    if args.kept:
        print("\n".join(_kept(folder, args.open, chart)))
        return 0
    visit = _visit(args, folder, chart)
    client = visit.client
    answer = check_client(
        chart,
        client,
        loads=visit.loads,
        allowances=visit.allowances,
        confirmed=visit.confirmed,
    )
    known = {one.measure for one in client.readings}
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
        note = client_note(answer, visit.decision, on=on)
        note = note.for_pattern(visit.pattern, known)
        write_bytes(args.note, note.as_file(args.note.suffix))
    if args.keep is not None:
        one_of("size chosen", visit.decision.size, ["", *chart.sizes])
        print(f"Kept: {keep_visit(folder, args.keep, visit)}. {HEALTH_RECORDS}")
    return 0


def _be_sure(args: argparse.Namespace) -> None:
    """Ask once more before a client is deleted, or need ``--sure``."""
    if args.sure:
        return
    question = f"Delete every visit of {args.delete} for good? Type yes: "
    if not sys.stdin.isatty() or input(question).strip().lower() != "yes":
        raise SizingError(
            "nothing was deleted",
            allowed="yes typed as the answer in a terminal, or --sure",
            action="run it again once you are sure",
        )


def _visit(args: argparse.Namespace, folder: Path, chart: SizeChart) -> Visit:
    """Return the visit that the words and options make, or the one opened."""
    start = Visit(date.today(), knee_equation=args.knee_equation)
    if args.open is not None:
        last = read_visits(folder, args.open)[-1]
        if not args.entries and not args.keep:
            return last
        start = replace(last.next, on=start.on)
    conditions, words = _conditions(args.entries or _asked(chart, args.confirmed))
    entries, how = _entries(words)
    client = client_from(
        {**start.entries, **entries},
        how=how,
        knee_equation=start.knee_equation,
        confirmed=args.confirmed,
        conditions=(*start.conditions, *conditions),
    )
    day, review = (day_of(text) if text else None for text in (args.day, args.review))
    decided = {"size": args.size, "reason": args.why, "review_on": review}
    decided |= {"reference": args.keep or args.open}
    allowances = _numbers(args.allowance, "--allowance", "cm")
    return replace(
        visit_of(client, day or start.on),
        loads={**start.loads, **_numbers(args.load, "--load", "kg")},
        allowances={**start.allowances, **allowances},
        knee_equation=start.knee_equation,
        confirmed=args.confirmed,
        chart=chart.name,
        pattern=args.pattern or start.pattern,
        decision=replace(start.decision, **{k: v for k, v in decided.items() if v}),
    )


def _kept(folder: Path, reference: str | None, chart: SizeChart) -> list[str]:
    """Return the list of the clients kept, or what changed over one's visits."""
    if reference is not None:
        visits = read_visits(folder, reference)
        size = size_at(chart, visits[-1])
        table = over_visits(readings_of(visits), edges_at(chart, visits[-1]), size)
        days = ", ".join(visit.on.isoformat() for visit in visits)
        lines = [*visits_words(table, size), closing()]
        return [f"Visits of {reference}: {days}. Chart: {chart.name}.", *lines]
    rows = records(kept_clients(folder))
    many = "1 client" if len(rows) == 1 else f"{len(rows)} clients"
    lines = [f"Kept in {folder}: {many}. {HEALTH_RECORDS}"]
    return lines + [kept_words(row) for row in rows]


def _caseload(args: argparse.Namespace, chart: SizeChart) -> int:
    """Judge a list of clients, a line each."""
    from sizing.client.caseload import judge_clients, read_clients

    clients = read_clients(args.caseload)
    table = judge_clients(chart, clients)
    made_up = invented_words(*chart.invented)
    opening = told_pattern(args, chart.measures, made_up)
    if args.json:
        told = json.loads(table.to_json(orient="records"))
        whole = {"opening": opening, "chart": chart.name, "clients": told}
        print(json.dumps(whole | {"cautions": list(cautions())}, indent=2))
        return 0
    lines = [opening] if opening else []
    for row in table.to_dict("records"):
        who = f"{row['reference']}" if row["reference"] == row["reference"] else ""
        parts = [row["how_sure"]]
        parts += [f"measure: {row['measure']}"] if row["measure"] else []
        parts += [f"check: {row['check']}"] if row["check"] else []
        fits = f"size {row['fits']}" if row["fits"] else "no size named"
        lines.append(
            f"Row {row['row']}, {who or 'no reference'}: {fits}. {'; '.join(parts)}."
        )
    print("\n".join([*lines, closing()]))
    if args.out is not None:
        frame = table.assign(chart=chart.name, note=opening)
        made = csv_bytes(frame)
        if args.out.suffix.lower() == ".xlsx":
            made = workbook_bytes({"clients": frame})
        write_bytes(args.out, made)
        print(f"List: {args.out}")
    return 0


def _asked(chart: SizeChart, confirmed: bool) -> list[str]:
    """Ask for what is known, one by one; an empty answer leaves it out."""
    names = {"sex": "Sex (f or m)", "age_years": "Age in years"}
    wanted = dict.fromkeys((MASS, STATURE, *chart.measures))
    names |= {
        m: f"{capital(plain(m))} ({unit_of(m)}, or with its unit)" for m in wanted
    }
    names["condition"] = "A condition, such as swelling"
    print("Leave empty what is not known. How it was measured goes after a colon:")
    print(f"68:hoist scale ({', '.join(HOW)}).")
    words: list[str] = []
    with suppress(EOFError):
        for name, question in names.items():
            while answer := input(f"{question}: ").strip():
                try:
                    conditions, word = _conditions([f"{name}={answer}"])
                    values, how = _entries(word)
                    client_from(
                        values, how=how, confirmed=confirmed, conditions=conditions
                    )
                except SizingError as error:
                    # Nobody is there to be asked again.
                    if not sys.stdin.isatty():
                        raise
                    print(error)
                else:
                    words.append(f"{name}={answer}")
                    break
    if not words and not sys.stdin.isatty():
        raise SizingError(
            "nothing is said of the client, and here nobody can be asked",
            allowed="NAME=VALUE, such as: sizing client sex=female age=74 weight=68",
            action="write what is known after 'sizing client', or run it in a terminal",
        )
    return words


def _conditions(words: list[str]) -> tuple[list[str], list[str]]:
    """Split condition=..., which may be repeated, from what stands once."""
    told = _pairs(words, "an entry")
    named = [name.lower() in ("condition", "conditions") for name, _ in told]
    return (
        [value for (_, value), here in zip(told, named, strict=True) if here],
        [word for word, here in zip(words, named, strict=True) if not here],
    )


def _entries(words: list[str]) -> tuple[dict[str, str], dict[str, str]]:
    """Split NAME=VALUE:HOW."""
    entries: dict[str, str] = {}
    how: dict[str, str] = {}
    for name, rest in _pairs(words, "an entry"):
        value, _, way = rest.partition(":")
        if name in entries:
            raise SizingError(f"'{name}' is entered twice: keep one.")
        entries[name] = value
        if way:
            how[name] = way.replace("_", " ")
    return entries, how


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
