"""``sizing lesson``: an hour's pack for a trainer."""

import argparse
from dataclasses import replace
from datetime import date
from pathlib import Path

from sizing.cautions import closing
from sizing.charts import read_chart
from sizing.cli.options import (
    add_draws,
    add_pattern,
    add_people,
    add_seed,
    told_pattern,
    whole,
)
from sizing.cli.places import check_places
from sizing.lesson.courses import keep_course, kept_courses
from sizing.lesson.prepare import CLASS_SIZE, prepare_lesson
from sizing.pages.lesson_pack import write_lesson
from sizing.words.lesson import gain_words, room_answer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    add_people(parser, default="adults", what="who the evidence is about")
    parser.add_argument(
        "--chart",
        type=Path,
        metavar="FILE",
        help="your size chart as CSV or XLSX (default: an invented demo chart)",
    )
    parser.add_argument(
        "--clients",
        type=whole(1, 500),
        default=12,
        metavar="N",
        help="practice clients, from easy to hard (default: 12)",
    )
    parser.add_argument(
        "--answers",
        type=Path,
        metavar="FILE",
        help="the room's answers as CSV or XLSX, in the columns of answer_form.xlsx",
    )
    for name, most, what in (
        ("participants", 200, "people in the room"),
        ("volunteers", 10, "people who are measured"),
        ("readings", 3, "readings of each measure by each participant"),
    ):
        parser.add_argument(
            f"--{name}",
            type=whole(1, most),
            default=CLASS_SIZE[name],
            metavar="N",
            help=f"{what}, for the forms (default: {CLASS_SIZE[name]})",
        )
    parser.add_argument(
        "--courses",
        type=Path,
        metavar="DIR",
        help="your folder of courses: keeps there what this room found, by date, and "
        "adds courses.html, with every room so far, to the pack",
    )
    parser.add_argument(
        "--date",
        type=_day,
        metavar="DAY",
        help="day of the course, such as 2026-11-27 (default: today)",
    )
    add_pattern(parser)
    add_seed(parser)
    add_draws(parser, default=5)
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("lesson"),
        metavar="DIR",
        help="folder for the pack (default: lesson)",
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        words = f"'{text}' is no day: write it as 2026-11-27"
        raise argparse.ArgumentTypeError(words) from None


def run(args: argparse.Namespace) -> int:
    """Write the pack and tell what came of it."""
    check_places("lesson", args)
    chart = None if args.chart is None else read_chart(args.chart)
    lesson = prepare_lesson(
        args.people,
        chart,
        clients=args.clients,
        answers=args.answers,
        draws=args.draws,
        seed=args.seed,
        class_size={name: getattr(args, name) for name in CLASS_SIZE},
    )
    lesson = replace(lesson, pattern=args.pattern)
    kept = None
    if args.courses is not None:
        if lesson.room is not None:
            path = keep_course(args.courses, lesson.room, args.date or date.today())
            print(f"Kept: {path}.")
        kept = kept_courses(args.courses)
    written = write_lesson(lesson, args.out, courses=kept)
    if warned := told_pattern(args, lesson.chart.measures, ""):
        print(warned)
    for part in (lesson.ways, lesson.practice):
        # The cautions close the whole answer, not each part of it.
        print(part.summary().removesuffix(closing()).rstrip())
    if lesson.room is not None:
        said = (room_answer(lesson.room), gain_words(lesson.room.gain))
        print("\n".join([*filter(None, said), lesson.room.answers.summary()]))
    print(closing())
    print(f"{len(written)} files in {args.out}; begin with {args.out}/index.html.")
    return 0
