"""``sizing client``: one client, one chart, one tape measure."""

import argparse
import json
from pathlib import Path

from sizing.charts import demo_chart, read_chart
from sizing.cli.options import amount
from sizing.cli.places import check_places
from sizing.client import HOW, check_client, conditions_table
from sizing.client.client import client_from
from sizing.client.stature import KNEE_EQUATIONS, segment_table
from sizing.errors import Problem, SizingError
from sizing.files.writing import rounded, write_text


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    ways = segment_table()["definition"]
    parser.add_argument(
        "entries",
        nargs="+",
        metavar="NAME=VALUE",
        help="what is known: sex=female age_years=74 body_mass_kg=68 "
        "hip_circumference_cm=104 knee_height_cm=48 ..., or as people say them: "
        "stature_ft=5ft2in body_mass_st='10 st 4'; after a value how it was "
        f"measured: body_mass_kg=68:guessed ({', '.join(HOW)}). What makes the body "
        "unlike others: condition=swelling, may be repeated "
        f"({', '.join(conditions_table()['key'])}). Ways to height for somebody who "
        "cannot stand: " + "; ".join(f"{key}, {what}" for key, what in ways.items()),
    )
    parser.add_argument(
        "--chart",
        type=Path,
        metavar="FILE",
        help="the chart as CSV or XLSX (default: the invented demo chart)",
    )
    parser.add_argument(
        "--load",
        action="append",
        default=[],
        metavar="PART=KG",
        help="safe working load of a part, such as hoist=200 or hoist=440lb; may "
        "be repeated",
    )
    parser.add_argument(
        "--allowance",
        action="append",
        default=[],
        metavar="KEY=CM",
        help="allowance between body and fabric (seat_edge, seat_edge_head, leg_stop), "
        "for a chart of the fabric's own lengths; may be repeated",
    )
    parser.add_argument(
        "--knee-equation",
        choices=KNEE_EQUATIONS,
        default=KNEE_EQUATIONS[0],
        help=f"stature from knee height (default: {KNEE_EQUATIONS[0]})",
    )
    parser.add_argument(
        "--confirmed",
        action="store_true",
        help="what looked wrong was measured again and is right",
    )
    parser.add_argument(
        "--json", action="store_true", help="print every figure as JSON"
    )
    parser.add_argument(
        "--note",
        type=Path,
        metavar="FILE",
        help="write the note for the handling plan here (.html or .md)",
    )


def run(args: argparse.Namespace) -> int:
    """Check the client and print the answer."""
    check_places("client", args)
    conditions, words = _conditions(args.entries)
    entries, how = _entries(words)
    # What is doubtful in the chart stands in the answer.
    chart = demo_chart() if args.chart is None else read_chart(args.chart, warn=False)
    client = client_from(
        entries,
        how=how,
        knee_equation=args.knee_equation,
        confirmed=args.confirmed,
        conditions=conditions,
    )
    answer = check_client(
        chart,
        client,
        loads=_numbers(args.load, "--load", "kg"),
        allowances=_numbers(args.allowance, "--allowance", "cm"),
        confirmed=args.confirmed,
    )
    if args.json:
        print(json.dumps(rounded(answer.to_dict()), indent=2, ensure_ascii=False))
    else:
        print(answer.summary())
    if args.note is not None:
        from sizing.pages.client_note import client_note

        note = client_note(answer)
        text = note.html() if args.note.suffix.lower() == ".html" else note.markdown()
        write_text(args.note, text)
    return 0


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
    for word in words:
        if not word.partition("=")[0].strip() or "=" not in word:
            raise SizingError(
                str(Problem(f"{what} is written NAME=VALUE", "", value=word))
            )
    return [(w.partition("=")[0].strip(), w.partition("=")[2].strip()) for w in words]
