"""``sizing chart``: try a chart of your own."""

import argparse
from dataclasses import replace
from pathlib import Path

from sizing.charts import read_chart
from sizing.cli.options import add_options, told_pattern
from sizing.client.own_chart import MOST_CLIENTS, SERVED, clients_served, judge_chart
from sizing.coverage import compare_charts
from sizing.files.writing import write_text
from sizing.people import (
    load_people,
    population_titles,
    read_caseload,
    read_margins,
    reweight,
)
from sizing.resources import texts
from sizing.words.client import served_words

_T = texts("own_chart")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_options(parser, "chart", {"--people": {"default": SERVED}})


def run(args: argparse.Namespace) -> int:
    own = Path(args.people).suffix.lower() in (".csv", ".xlsx")
    if own:
        args.places.reads(args.people)
    # What is doubtful in the chart stands in the answer.
    chart = read_chart(args.file, warn=False)
    other = None if args.against is None else read_chart(args.against, warn=False)
    if other is not None and other.name == chart.name:
        chart = replace(chart, name=args.file.stem)
        other = replace(other, name=args.against.stem)
    margins = None if args.margins is None else read_margins(args.margins)
    read = read_caseload if own else load_people
    people = read(args.people, draws=args.draws, seed=args.seed)
    if not own:
        people = replace(people, name=population_titles()[args.people])
    if margins is not None:
        people = reweight(people, margins)
    found, comparison = judge_chart(people, chart, seed=args.seed), None
    if other is not None:
        comparison = compare_charts(people, chart, other, seed=args.seed)
        print(comparison.summary().splitlines()[0])
    clients = clients_served(people, chart)
    if clients is not None:
        print(served_words(clients))
    elif own:
        print((_T.found["too_many"] + _T.found["by_client"]).format(most=MOST_CLIENTS))
    print(told_pattern(args, chart.measures, found.summary()))
    if args.out is not None:
        from sizing.pages.own_chart import own_chart_page
        from sizing.pages.page import render

        page = own_chart_page(found, people, comparison=comparison, clients=clients)
        write_text(args.out, render(page.for_pattern(args.pattern, chart.measures)))
        print(f"Report: {args.out}")
    return 0
