"""``sizing lesson``: an hour's pack for a trainer."""

import argparse
from datetime import date

from sizing.charts import read_chart
from sizing.cli.options import add_options, told_pattern
from sizing.lesson.room import keep_course, kept_courses
from sizing.lesson.ways import CLASS_SIZE, prepare_lesson
from sizing.pages.lesson_pack import lesson_files, write_files
from sizing.resources import closing
from sizing.words.lesson import gain_words, room_answer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    usual = {f"--{name}": {"default": number} for name, number in CLASS_SIZE.items()}
    more = usual | {"--date": {"type": _day}}
    add_options(parser, "lesson", more, who="who the evidence is about")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        words = f"'{text}' is no day: write it as 2026-11-27"
        raise argparse.ArgumentTypeError(words) from None


def run(args: argparse.Namespace) -> int:
    chart = None if args.chart is None else read_chart(args.chart)
    lesson = prepare_lesson(
        args.people,
        chart,
        clients=args.clients,
        answers=args.answers,
        draws=args.draws,
        seed=args.seed,
        class_size={name: getattr(args, name) for name in CLASS_SIZE},
        pattern=args.pattern,
    )
    kept = None
    if args.courses is not None:
        if lesson.room is not None:
            path = keep_course(args.courses, lesson.room, args.date or date.today())
            print(f"Kept: {path}.")
        kept = kept_courses(args.courses)
    written = write_files(lesson_files(lesson, courses=kept), args.out)
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
