"""``sizing trials``: where sizes really begin and end, from slings tried on."""

import argparse
import json

from sizing.charts import demo_chart, read_chart, write_chart
from sizing.cli.options import add_options, told_pattern
from sizing.cli.places import check_places
from sizing.errors import SizingError
from sizing.files.writing import rounded, write_text
from sizing.resources import cautions, texts

_T = texts("trials")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_options(parser, "trials")


def run(args: argparse.Namespace) -> int:
    check_places("trials", args)
    if args.file is not None and args.chart is None:
        raise SizingError(
            _T.refused["no_chart"],
            allowed="--chart FILE",
            action="name the printed chart",
        )
    from sizing.trials import demo_trials, learn_chart, read_trials

    chart = demo_chart() if args.chart is None else read_chart(args.chart)
    if args.form is not None:
        from sizing.pages.trials import form_page

        write_text(args.form, form_page(chart, args.pattern))
        print(f"Form: {args.form}")
        if args.file is None:
            return 0
    invented = args.file is None
    given = demo_trials() if invented else args.file
    read = read_trials(given, chart, pattern=args.pattern, invented=invented)
    found = learn_chart(read, seed=args.seed)
    args.pattern = args.pattern or found.trials.pattern or None
    summary = told_pattern(args, chart.measures, found.summary())
    if args.json:
        tables = {
            "edges": found.edges,
            "services": found.services,
            "surprising": found.surprising,
            "left_out": found.trials.left_out,
        }
        told = {
            "summary": summary,
            **{n: json.loads(t.to_json(orient="records")) for n, t in tables.items()},
            "cautions": list(cautions()),
        }
        print(json.dumps(rounded(told), indent=1, ensure_ascii=False))
    else:
        print(summary)
    if args.learned is not None:
        write_chart(found.chart, args.learned)
        print(f"Learned chart: {args.learned}")
    if args.report is not None:
        from sizing.pages.page import render
        from sizing.pages.trials import trials_page

        write_text(args.report, render(trials_page(found)))
        print(f"Report: {args.report}")
    return 0
