"""``sizing bands``: fit nine sizes in three groups, or sizes of your own widths."""

import argparse
import warnings
from dataclasses import replace
from typing import Any

import pandas as pd

import sizing.bands as fits
from sizing.bands.cells import ROUNDINGS
from sizing.bands.goal import GOALS
from sizing.charts import GROUPS, read_chart
from sizing.cli.options import (
    add_options,
    amount,
    harm_weights,
    measured_numbers,
    told_pattern,
)
from sizing.coverage import estimate_coverage, harm_words, weighed_harm
from sizing.errors import SizingError, SizingWarning
from sizing.files.writing import json_text
from sizing.measures.typed import like_pounds
from sizing.people import People, load_people, population_titles
from sizing.resources import cautions, closing, invented_first, texts
from sizing.words import numbers
from sizing.words.labels import labels

_T = texts("bands")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    given = {"group": GROUPS, "rounding": ROUNDINGS, "objective": GOALS}
    more = {f"--{name}": {"choices": choices} for name, choices in given.items()}
    add_options(parser, "bands", more)


def run(args: argparse.Namespace) -> int:
    name = args.people or ("adults" if args.widths else "everyone")
    people = load_people(name, seed=args.seed)
    people = replace(people, name=population_titles()[name])
    if args.load_limit is not None:
        args.load_limit = amount("--load-limit", args.load_limit, "kg")
        if meant := like_pounds(args.load_limit):
            told = f"--load-limit {args.load_limit:g} kg looks like pounds ({meant} kg)"
            warnings.warn(f"{told}: read the labels again", SizingWarning, stacklevel=2)
    weights, goal = harm_weights(args)
    asked = {
        option: getattr(args, option) for option in ("least_step", "least_overlap")
    }
    how: dict[str, Any] = {
        "step_cm": args.step,
        "rounding": args.rounding,
        **{
            o: measured_numbers(v, f"--{o.replace('_', '-')}") or None
            for o, v in asked.items()
        },
        "seed": args.seed,
        "progress": not args.json,
        **goal,
    }
    given = {"objective": args.objective, "smooth_cm": args.smooth}
    how |= {key: value for key, value in given.items() if value is not None}
    pressed = {"tolerance": args.tolerance, "splits": args.splits}
    fit: fits.BandFit | fits.GroupsFit
    covers = pd.DataFrame()
    if args.widths:
        fit = _own_widths(args, people, {**how, **pressed})
        figures = ("share", "objective", "value", "upper_bound")
        found: dict[str, Any] = {figure: getattr(fit, figure) for figure in figures}
    else:
        for option in ("group", "owned"):
            if getattr(args, option) is not None:
                raise SizingError(
                    f"--{option} needs --widths",
                    allowed="without --widths, sizes for each of the three groups",
                    action="give the widths of the sizes too",
                )
        if args.load_limit is not None:
            how["load_limits_kg"] = dict.fromkeys(GROUPS, args.load_limit)
        how["widths"] = fits.default_widths(args.pattern)
        nine = fits.fit_nine_sizes(people, sizes=args.sizes, **how, **pressed)
        fit, covers = nine, fits.coverage_by_sizes(people, **how)
        found = {"judged": nine.judged, "covered_by_sizes": covers}
    harms = estimate_coverage(people, fit.chart, seed=args.seed).harms
    owned = None if args.owned is None else read_chart(args.owned, warn=False)
    summary = invented_first(() if owned is None else owned.invented, fit.summary())
    summary = told_pattern(args, fit.chart.measures, summary)
    if args.json:
        found |= {
            "chart": fit.chart.frame,
            "figures": fit.table,
            "harms": harms,
            "weights": weights,
            "weighed_harm": weighed_harm(harms, **weights),
            "summary": summary,
            "cautions": list(cautions()),
        }
        print(json_text(found))
        return 0
    parts = [summary, harm_words(harms, **weights), _sizes(fit.chart.frame)]
    if len(covers):
        parts.append("\n".join(map(_covered, covers.to_dict("records"))))
    print("\n\n".join([*parts, closing(people.limits)]))
    return 0


def _own_widths(
    args: argparse.Namespace, people: People, how: dict[str, Any]
) -> fits.BandFit:
    """Fit sizes of the widths given; children and adults together are no group."""
    if args.group is not None and not fits.common_group(people):
        raise SizingError(
            "these people are of all ages: no one group of sizes is for them",
            allowed="children, or adults",
            action="name other --people, or leave out --group",
            value=args.group,
        )
    how |= {"widths": measured_numbers(args.widths, "--widths"), "sizes": args.sizes}
    how |= {"group": args.group, "load_limit_kg": args.load_limit}
    owned = None if args.owned is None else read_chart(args.owned)
    return fits.fit_bands(people, fixed=owned, **how)


def _covered(row: dict[Any, Any]) -> str:
    fit = numbers.sizes_fit(row["sizes"], row["estimate"])
    names = ("not_served", "too_large", "too_small", "both")
    shares = {name: numbers.share(row[name], places=1) for name in names}
    covered = _T.covered.format(sizes_fit=fit, probably=numbers.probably(row))
    return f"{covered} {_T.not_served.format(**shares)}"


def _sizes(frame: pd.DataFrame) -> str:
    table = pd.DataFrame({"size": frame["size"]})
    for low in frame.filter(regex="_low$"):
        measure = str(low).removesuffix("_low")
        ends = zip(frame[low], frame[f"{measure}_high"], strict=True)
        table[labels()[measure]] = [f"{a:g} to {b:g}" for a, b in ends]
    return table.to_string(index=False)
