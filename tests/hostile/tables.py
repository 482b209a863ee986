"""The tables the kit reads, whole, and how a case of each is judged."""

import contextlib
import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sizing.charts import demo_chart, read_chart
from sizing.cli.main import main
from sizing.errors import SizingError
from sizing.lesson.answers import read_answers
from sizing.measures.tables import PRICES as PRICE_TABLE
from sizing.people import read_caseload, read_margins
from sizing.people.files import read_table
from sizing.stock import offer_from

from .files import Cells

ENDS = ("low", "high")
CHART: Cells = [
    ["size", "group", "load_limit_kg", *(f"hip_circumference_cm_{e}" for e in ENDS)],
    ["adult a", "adult", 150, 80, 95],
    ["adult b", "adult", 200, 95, 115],
]
CASELOAD: Cells = [
    ["sex", "age_years", "body_mass_kg", "stature_cm", "hip_circumference_cm"],
    ["female", 82, 51.5, 158, 92],
    ["male", 47, 88, 181, 104],
]
MARGINS: Cells = [
    ["variable", "statistic", "level", "low", "high", "target"],
    ["sex", "share", "female", None, None, 0.6],
    ["age_years", "share", None, 65, 80, 0.35],
]
PRICES: Cells = [
    ["size", "price", "owned", "pack"],
    *([size, 100 + i, i, 1] for i, size in enumerate(demo_chart().sizes)),
]
ANSWERS: Cells = [
    ["participant", "subject", "chosen_size", "guessed_body_mass_kg"],
    ["p1", "card 1", demo_chart().sizes[3], 70],
    ["p2", "card 1", demo_chart().sizes[4], 82],
]


@dataclass(frozen=True)
class Outcome:
    """What became of a file: the exit code, what was said, what was read."""

    code: int
    said: str
    read: pd.DataFrame | None = None


@dataclass(frozen=True)
class Kind:
    """A kind of table: whole, read, and given to the command line."""

    cells: Cells
    number: int
    read: Callable[[Path], pd.DataFrame]
    words: Callable[[Path], list[str]] | None = None


def _prices(path: Path) -> pd.DataFrame:
    prices = read_table(path, PRICE_TABLE)
    offer_from(demo_chart(), prices)
    return prices


def _answers(path: Path) -> pd.DataFrame:
    found = read_answers(path, demo_chart())
    parts = (found.sizes, found.guesses, found.readings, found.left_out)
    return pd.concat(parts, keys=range(4))


KINDS: dict[str, Kind] = {
    "chart": Kind(
        CHART,
        3,
        lambda path: read_chart(path).frame,
        lambda path: ["client", "sex=f", "age_years=70", "--chart", str(path)],
    ),
    "caseload": Kind(
        CASELOAD,
        2,
        lambda path: read_caseload(path, draws=1).frame,
        lambda path: ["stock", "--caseload", str(path)],
    ),
    "margins": Kind(MARGINS, 5, read_margins),
    "prices": Kind(PRICES, 1, _prices, lambda path: ["stock", "--prices", str(path)]),
    "answers": Kind(ANSWERS, 3, _answers),
}


def outcome_of(read: Callable[[], pd.DataFrame]) -> Outcome:
    """Read as a command does: its own warnings told, its own errors refusals."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            frame = read()
        except SizingError as error:
            return Outcome(2, str(error))
    return Outcome(0, "\n".join(str(item.message) for item in caught), frame)


def outcome_of_command(words: list[str]) -> Outcome:
    told = io.StringIO()
    with contextlib.redirect_stderr(told), contextlib.redirect_stdout(io.StringIO()):
        code = main(words)
    return Outcome(code, told.getvalue())
