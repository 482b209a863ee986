"""``python -m sizing study``: the main job."""

import argparse
import warnings
from pathlib import Path

from tqdm import tqdm

from sizing.chart import read_chart
from sizing.errors import SizingWarning
from sizing.population import POPULATIONS
from sizing.report.study import Study, run_study, write_study
from sizing.report.study_page import answer, study_page, study_pictures

HELP = "fit a nine-size chart to survey people, or judge a chart of yours"
#: Steps that ``run_study`` announces, and two of our own.
_STEPS = 6


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    parser.add_argument(
        "--people",
        default="everyone",
        metavar="NAME",
        help=f"whom the chart is for: {', '.join(POPULATIONS)} (default: everyone)",
    )
    parser.add_argument(
        "--chart",
        type=Path,
        metavar="FILE",
        help="a size chart as CSV or XLSX; without it nine sizes are fitted",
    )
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("study"),
        metavar="DIR",
        help="folder for the report and its files (default: study)",
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="whole number (default: 1)"
    )
    parser.add_argument(
        "--draws",
        type=int,
        default=5,
        metavar="N",
        help="draws of the measures nobody took (default: 5)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the study and write its folder."""
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
            chart=chart,
            draws=args.draws,
            seed=args.seed,
            progress=progress,
        )
        progress("report")
        pictures = study_pictures(study)
        page = study_page(study, pictures)
        files = {name: drawn.png for name, drawn in pictures.items()}
        write_study(study, args.out, page=page, pictures=files)
    _tell(study, args.out)
    return 0


def _tell(study: Study, folder: Path) -> None:
    print(answer(study))
    print(f"Report: {folder / 'report.html'}")
    print("This does not choose a sling for a person: read the cautions in it.")
