"""``sizing people``: who a named population is, and how well that is founded."""

import argparse
import json
from pathlib import Path

import pandas as pd

from sizing.cli.options import add_options
from sizing.errors import SizingError
from sizing.files.writing import (
    csv_bytes,
    json_text,
    rounded,
    workbook_bytes,
    write_bytes,
    write_text,
)
from sizing.people import People, load_people, population_titles
from sizing.people.profile import beside, bodies, checks, percentiles, profile
from sizing.resources import cautions, closing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_options(parser, "people")


def run(args: argparse.Namespace) -> int:
    titles = population_titles()
    if args.name is None:
        if args.table or args.bodies or args.report:
            raise SizingError(
                "nobody is named to write of",
                allowed=", ".join(titles),
                action="write a name after 'people'",
            )
        lines = [f"{name}: {title}" for name, title in titles.items()]
        print(json.dumps(titles, indent=2) if args.json else "\n".join(lines))
        return 0
    people = load_people(args.name, draws=args.draws, seed=args.seed)
    if args.json:
        found = {"name": args.name, "title": titles[args.name], "n": people.n}
        found |= {"effective_n": people.effective_n}
        found |= {"published": beside(people), "figures": profile(people)}
        found |= {"evidence": people.table, "checks": checks(people)}
        found |= {"sources": people.sources, "limits": people.limits}
        print(json_text({**found, "cautions": cautions()}))
    else:
        from sizing.pages.people import sections

        print(
            f"{args.name}: {titles[args.name]}. {people.n:,} persons stand behind it, "
            f"which say as much as {people.effective_n:,.0f} of equal weight."
        )
        for heading, lines in sections(people).items():
            print(f"\n{heading}:", *lines, sep="\n- ")
        print("\nWhere the evidence stops:", *people.limits, sep="\n- ")
        print("\n" + closing())
    return _write(args, people)


def _write(args: argparse.Namespace, people: People) -> int:
    told = []
    if args.bodies is not None:
        write_bytes(args.bodies, _filled(args.bodies, bodies(people), people))
        told.append(f"Bodies: {args.bodies}")
    if args.table is not None or args.report is not None:
        found = percentiles(people)
        if args.table is not None:
            write_bytes(args.table, _filled(args.table, rounded(found), people))
            told.append(f"Table: {args.table}")
        if args.report is not None:
            from sizing.pages.page import render
            from sizing.pages.people import people_page

            write_text(args.report, render(people_page(people, found)))
            told.append(f"Report: {args.report}")
    if told and not args.json:
        print("\n".join(told))
    return 0


def _filled(path: Path, frame: pd.DataFrame, people: People) -> bytes:
    """Return a table as a file that says whence it comes and where it stops."""
    notes = [f"{people.name}: {population_titles()[people.name]}"]
    notes += [*people.sources, *people.limits, *cautions()]
    if path.suffix.lower() == ".xlsx":
        about = pd.DataFrame({"sources, limits and cautions": notes})
        return workbook_bytes({"measures": frame, "read me": about}, formats={})
    if path.suffix.lower() == ".csv":
        # Readers of statistics skip such lines: comment="#".
        return "".join(f"# {note}\n" for note in notes).encode() + csv_bytes(frame)
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise SizingError(
            "a Parquet file needs the package pyarrow, which is not here",
            allowed="a name that ends in .csv",
            action="write CSV, or install pyarrow",
        ) from error
    table = pa.Table.from_pandas(frame, preserve_index=False)
    told = {**(table.schema.metadata or {}), b"notes": "\n".join(notes).encode()}
    sink = pa.BufferOutputStream()
    parquet.write_table(table.replace_schema_metadata(told), sink)
    return bytes(sink.getvalue().to_pybytes())
