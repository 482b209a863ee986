"""``sizing study``: the main job."""

import argparse
import warnings

from tqdm import tqdm

from sizing.charts import read_chart
from sizing.cli.options import add_options, harm_weights, measured_numbers, told_pattern
from sizing.errors import Problem, SizingError, SizingWarning
from sizing.pages.study import answer, study_page, study_pictures
from sizing.study.study import run_study, write_study
from sizing.surveys import read_nhanes_folder

#: Steps that ``run_study`` announces, and two of our own.
_STEPS = 7


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_options(parser, "study", who="who the chart is for")


def run(args: argparse.Namespace) -> int:
    if args.survey is not None and args.people != "everyone":
        what = "--people names a part of the people that come with the kit"
        do = "leave out --people, or --survey"
        raise SizingError(str(Problem(what, "one of --people and --survey", do)))
    weights, least_harm = harm_weights(args)
    survey = None if args.survey is None else read_nhanes_folder(args.survey)
    chart = None if args.chart is None else read_chart(args.chart)
    bar = tqdm(total=_STEPS, unit="step", leave=False, disable=None)
    with bar, warnings.catch_warnings():
        # The findings about a chart stand in the report; about people, on screen.
        warnings.simplefilter("default", SizingWarning)

        def progress(step: str) -> None:
            bar.set_description(step)
            bar.update()

        study = run_study(
            args.people,
            survey=survey,
            chart=chart,
            widths=measured_numbers(args.widths, "--widths"),
            pattern=args.pattern,
            weights=weights,
            least_harm=bool(least_harm),
            draws=args.draws,
            seed=args.seed,
            progress=progress,
        )
        progress("writing the report")
        pictures = study_pictures(study)
        page = study_page(study, pictures)
        files = {name: drawn.png for name, drawn in pictures.items()}
        write_study(study, args.out, page=page, pictures=files)
    print(told_pattern(args, study.chart.measures, answer(study)))
    print(f"Report: {args.out / 'report.html'}")
    print("This does not choose a sling for a person: read the cautions in it.")
    return 0
