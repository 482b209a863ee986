"""``sizing bands``: fit the bands of one group of sizes."""

import argparse
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding import fit_bands
from sizing.banding.axis import ROUNDINGS
from sizing.banding.goal import GOALS
from sizing.cautions import cautions
from sizing.chart import GROUPS, read_chart
from sizing.cli.options import add_people, add_seed
from sizing.errors import Problem, SizingError
from sizing.measures import MEASURES
from sizing.population import load_people, population_titles


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    add_people(parser, default="adults", what="whom to fit to")
    parser.add_argument(
        "--widths",
        nargs="+",
        action="extend",
        required=True,
        metavar="MEASURE=WIDTH",
        help="width of each size in cm or kg, such as hip_circumference_cm=20; "
        f"one to four of: {', '.join(MEASURES)}",
    )
    parser.add_argument(
        "--sizes", type=int, required=True, metavar="N", help="number of sizes"
    )
    parser.add_argument(
        "--group", default="adult", choices=GROUPS, help="(default: adult)"
    )
    parser.add_argument(
        "--step",
        type=float,
        default=1.0,
        metavar="CM",
        help="grid of the low edges in cm (kg for body mass; default: 1)",
    )
    parser.add_argument(
        "--smooth",
        type=float,
        default=0.0,
        metavar="CM",
        help="blur the people by this much before fitting (default: 0)",
    )
    parser.add_argument(
        "--rounding", choices=list(ROUNDINGS), help="edges on whole multiples only"
    )
    parser.add_argument(
        "--objective",
        default="covered",
        choices=GOALS,
        help="what to make as large as it can be (default: covered)",
    )
    parser.add_argument(
        "--least-step",
        nargs="+",
        action="extend",
        default=[],
        metavar="MEASURE=STEP",
        help="each size starts at least this much above the one before",
    )
    parser.add_argument(
        "--least-overlap",
        nargs="+",
        action="extend",
        default=[],
        metavar="MEASURE=OVERLAP",
        help="neighbouring sizes share at least this much",
    )
    parser.add_argument(
        "--owned", metavar="FILE", help="size chart of sizes already owned, to keep"
    )
    parser.add_argument(
        "--load-limit", type=float, metavar="KG", help="load limit of every size"
    )
    parser.add_argument(
        "--tolerance",
        type=float,
        metavar="SHARE",
        help="press the certified bound to within this share of the value, such as "
        "0.01; with four measures that may take half a minute and fall short "
        "(default: to 0.01 with up to three measures, a few seconds with four)",
    )
    parser.add_argument(
        "--splits",
        type=int,
        default=10,
        metavar="N",
        help="half-splits for the held-out figures (default: 10)",
    )
    add_seed(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print the chart, its figures and the cautions."""
    people = load_people(args.people, seed=args.seed)
    fit = fit_bands(
        replace(people, name=population_titles()[args.people]),
        widths=_numbers(args.widths, "--widths"),
        sizes=args.sizes,
        group=args.group,
        step_cm=args.step,
        smooth_cm=args.smooth,
        rounding=args.rounding,
        objective=args.objective,
        least_step=_numbers(args.least_step, "--least-step") or None,
        least_overlap=_numbers(args.least_overlap, "--least-overlap") or None,
        fixed=None if args.owned is None else read_chart(args.owned),
        load_limit_kg=args.load_limit,
        tolerance=args.tolerance,
        splits=args.splits,
        seed=args.seed,
    )
    if args.json:
        found: dict[str, Any] = {
            "chart": _records(fit.chart.frame),
            "share": fit.share,
            "objective": fit.objective,
            "value": fit.value,
            "upper_bound": fit.upper_bound,
            "figures": _records(fit.table),
            "summary": fit.summary(),
            "cautions": list(cautions()),
        }
        print(json.dumps(found, indent=2, allow_nan=False))
        return 0
    print(fit.summary())
    print()
    print(_sizes(fit.chart.frame, list(fit.settings["widths"])))
    print()
    for text in cautions():
        print(f"- {text}")
    return 0


def _sizes(frame: pd.DataFrame, measures: list[str]) -> str:
    """Return the chart as text, one line per size."""
    table = pd.DataFrame({"size": frame["size"]})
    for measure in measures:
        name, _, unit = measure.rpartition("_")
        low, high = frame[f"{measure}_low"], frame[f"{measure}_high"]
        table[f"{name.replace('_', ' ')} ({unit})"] = [
            f"{a:g} to {b:g}" for a, b in zip(low, high, strict=True)
        ]
    return table.to_string(index=False)


def _numbers(words: list[str], option: str) -> dict[str, float]:
    """Read MEASURE=NUMBER words."""
    found = {}
    for word in words:
        measure, sign, number = word.partition("=")
        try:
            value = float(number) if sign else float("nan")
        except ValueError:
            value = float("nan")
        if measure not in MEASURES or not np.isfinite(value):
            raise SizingError(
                str(
                    Problem(
                        f"cannot read what follows {option}",
                        "MEASURE=NUMBER with a measure of " + ", ".join(MEASURES),
                        f"write {option} hip_circumference_cm=20",
                        value=word,
                    )
                )
            )
        if measure in found:
            raise SizingError(f"'{measure}' is given twice after {option}: keep one.")
        found[measure] = value
    return found


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows for JSON, with null where a figure is missing."""
    return [
        {
            str(key): None if isinstance(v, float) and np.isnan(v) else v
            for key, v in row.items()
        }
        for row in frame.to_dict("records")
    ]
