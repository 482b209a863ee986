"""What each command reads and writes: its options, by their names.

Loaded before the command itself, so that an unusable place is told at once.
"""

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from sizing.files.places import Places

_PAGE = (".html", ".htm")
_STUDY = (
    "report.html",
    "summary.json",
    "chart.csv",
    "coverage.csv",
    "harms.csv",
    "widths.csv",
    "widths.png",
    "sizes.csv",
    "between_sizes.csv",
    "misses.csv",
    "assumptions.csv",
    "assumptions.png",
    "coverage.png",
    "who_falls_between.png",
    "people_and_sizes_1.png",
    "people_and_sizes_2.png",
)
_LESSON = (
    "index.html",
    "slides.html",
    "wall_chart.html",
    "participant_sheet.html",
    "facilitator_plan.html",
    "attendance.html",
    "handout.html",
    "evidence.html",
    "cards.html",
    "card_answers.html",
    "answer_form.xlsx",
    "answer_form_blank.xlsx",
    "ways.csv",
    "on_other_charts.csv",
    "guesses_published.csv",
    "how_often_to_measure.csv",
    "courses.html",
    "room.html",
    "room_left_out.csv",
    "room_sizes.csv",
    "room_tape.csv",
    "pictures/",
)


@dataclass(frozen=True)
class Uses:
    """The files of a command."""

    #: Options that name files to be read.
    reads: tuple[str, ...] = ()
    #: Options that name files to be written, and what those may end in.
    writes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    #: Options that name folders, and what is written there.
    fills: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


USES: dict[str, Uses] = {
    "lab": Uses(fills={"--folder": ()}),
    "pages": Uses(fills={"--folder": ()}),
    "study": Uses(("--chart", "--survey"), fills={"--out": _STUDY}),
    "chart": Uses(("file", "--margins", "--against"), writes={"--out": _PAGE}),
    "client": Uses(
        ("--chart", "--caseload"),
        writes={
            "--note": (".html", ".md", ".docx"),
            "--out": (".csv", ".xlsx"),
            "--guide": _PAGE,
        },
        fills={"--clients": ()},
    ),
    "people": Uses(
        writes={
            "--table": (".csv", ".xlsx"),
            "--bodies": (".csv", ".parquet"),
            "--report": _PAGE,
        }
    ),
    "bands": Uses(("--owned",)),
    "stock": Uses(
        ("--chart", "--prices", "--groups", "--caseload", "--open", "--beside"),
        writes={"--order": (".csv", ".xlsx"), "--sheet": _PAGE, "--report": _PAGE},
    ),
    "trials": Uses(
        ("file", "--chart"),
        writes={"--learned": (".csv", ".xlsx"), "--report": _PAGE, "--form": _PAGE},
    ),
    "blank": Uses(writes={"file": (".csv", ".xlsx")}),
    "lesson": Uses(("--chart", "--answers"), fills={"--out": _LESSON, "--courses": ()}),
}


def check_words(command: str, words: Sequence[str]) -> None:
    """Refuse places that cannot be written, as far as the bare words name them."""
    values: dict[str, list[str]] = {}
    for word, after in pairwise([*words, "-"]):
        option, equals, value = word.partition("=")
        if equals or not after.startswith("-"):
            values.setdefault(option, []).append(value if equals else after)
    _tell(Places(), USES.get(command, Uses()), values)


def check_places(command: str, args: argparse.Namespace) -> Places:
    """Refuse to write over what is read, or what cannot be written."""
    places, uses = Places(), USES[command]
    values: dict[str, list[str | Path]] = {}
    for option in (*uses.reads, *uses.writes, *uses.fills):
        found = getattr(args, option.removeprefix("--").replace("-", "_"))
        found = found if isinstance(found, list) else [found]
        values[option] = [value for value in found if value is not None]
    places.reads(*(path for option in uses.reads for path in values[option]))
    _tell(places, uses, values)
    return places


def _tell(
    places: Places, uses: Uses, values: Mapping[str, Sequence[str | Path]]
) -> None:
    for option, endings in uses.writes.items():
        for path in values.get(option, ()):
            places.writes(path, endings=endings, option=option)
    for option, names in uses.fills.items():
        for folder in values.get(option, ()):
            places.fills(folder, names=names, option=option)
