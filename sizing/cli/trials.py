"""``sizing trials``: where sizes really begin and end, from slings tried on."""

import argparse

from sizing.charts import demo_chart, read_chart, write_chart
from sizing.cli.options import add_options, told_pattern
from sizing.errors import SizingError
from sizing.files.writing import json_text, write_text
from sizing.resources import cautions, texts

_T = texts("trials")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_options(parser, "trials")


def run(args: argparse.Namespace) -> int:
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
        names = ("edges", "services", "surprising")
        told = {"summary": summary, **{name: getattr(found, name) for name in names}}
        told |= {"left_out": found.trials.left_out, "cautions": cautions()}
        print(json_text(told))
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
