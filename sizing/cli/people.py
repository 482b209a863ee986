"""``sizing people``: who a named population is, and how well that is founded."""

import argparse
import json
from collections.abc import Hashable, Mapping
from functools import reduce
from typing import Any

from sizing.cautions import cautions, closing
from sizing.cli.options import add_draws, add_seed
from sizing.files.writing import rounded
from sizing.people import load_people, population_titles
from sizing.people.profile import beside, checks, profile
from sizing.words.labels import LEVEL_WORDS, labels
from sizing.words.numbers import interval, share, span

#: What a figure's own notation is called.
_WORDS = {
    "sex=female": "women and girls",
    "sex=male": "men and boys",
    "body_mass_kg": "weight in kg",
    "stature_cm": "height in cm",
    "age_years": "age",
    "bmi": "body mass index",
    "within": "of",
    "share with women": "share of women",
    "share with men": "share of men",
    ";": ", ",
    ">=": " at least ",
    "<": " under ",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    words = "who to describe; without it, the names there are"
    parser.add_argument("name", nargs="?", metavar="NAME", help=words)
    add_draws(parser, default=5)
    add_seed(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Print who the population is, or the names with their titles."""
    titles = population_titles()
    if args.name is None:
        lines = [f"{name}: {title}" for name, title in titles.items()]
        print(json.dumps(titles, indent=2) if args.json else "\n".join(lines))
        return 0
    people = load_people(args.name, draws=args.draws, seed=args.seed)
    figures, checked = profile(people, seed=args.seed), checks(people)
    published = beside(people).to_dict("records")
    if args.json:
        found = {"name": args.name, "title": titles[args.name], "n": people.n}
        found |= {"effective_n": people.effective_n, "published": published}
        tables = {"figures": figures, "evidence": people.table, "checks": checked}
        found |= {key: table.to_dict("records") for key, table in tables.items()}
        found |= {"sources": people.sources, "limits": people.limits}
        found |= {"cautions": cautions()}
        print(json.dumps(rounded(found), indent=2, allow_nan=False))
        return 0
    units = labels() | {"age_years": "Age, years", "bmi": "Body mass index, kg/m2"}
    print(
        f"{args.name}: {titles[args.name]}. {people.n:,} persons stand behind it, who "
        f"say as much as {people.effective_n:,.0f} of equal weight.\n"
        f"Women and girls: {interval(figures.iloc[0])}.\n\n"
        "Of 100, 5 are at or under the first figure, 50 at or under the second, 95 at "
        "or under the third; probable range in brackets (95 %, "
        f"{figures['method'].iloc[-1]}); ages stop at 80:"
    )
    build = figures[1:].to_dict("records")
    for trio in zip(build[::3], build[1::3], build[2::3], strict=True):
        group, name, n = (trio[0][key] for key in ("group", "variable", "n"))
        said = "; ".join(_ranged(row) for row in trio)
        print(f"- {units[name]}, {LEVEL_WORDS[group].lower()} ({n:,}): {said}")
    print("\nBeside figures from elsewhere:")
    for row in published:
        what = reduce(
            lambda text, word: text.replace(*word), _WORDS.items(), row["what"]
        )
        times, unit = (100, " %") if row["statistic"] == "share" else (1, "")
        there, here = (f"{times * row[k]:.1f}{unit}" for k in ("published", "here"))
        told = f"({row['use']}; {row['basis']}, {row['standing']}: {row['source']})"
        print(f"- {what}: {there} there, {here} here {told}")
    if not published:
        print("- the kit holds none for these people.")
    print("\nHow each measure is known, by share of the people:")
    for name in people.measures:
        part = people.table[people.table["measure"] == name]
        kinds = zip(part["evidence"], part["share"], strict=True)
        said = ", ".join(f"{kind} {share(of)}" for kind, of in kinds)
        said = said if len(part) > 1 else f"all {part['evidence'].iloc[0]}"
        print(f"- {units[name]}: {said}")
    if len(checked):
        print("\nThe model's means against published populations of adults:")
        for row in checked.to_dict("records"):
            print(
                f"- {units[row['measure']]}: near enough in {row['reached']} of "
                f"{row['populations']}, off by "
                f"{span(row['lowest_cm'], row['highest_cm'], row['measure'])}"
            )
        cited = dict.fromkeys(" | ".join(checked["source"]).split(" | "))
        print(f"From data_sources/model_checks.csv: {' | '.join(cited)}.")
    print("\nWhere the evidence stops:", *people.limits, sep="\n- ")
    print("\n" + closing())
    return 0


def _ranged(row: Mapping[Hashable, Any]) -> str:
    """Return a figure with its interval, where there is one to see."""
    places = 0 if row["variable"] == "age_years" else 1
    said = [f"{row[key]:.{places}f}" for key in ("estimate", "low", "high")]
    return said[0] if said[1] == said[2] else f"{said[0]} ({said[1]} to {said[2]})"
