"""One wrong cell: named with its place, or left out and named; never a number."""

from itertools import chain
from pathlib import Path

import pandas as pd
import pytest

from sizing.charts import read_chart, write_chart

from .cells import NAMES, number_cases, other_cases, with_cell
from .files import as_text, workbook
from .tables import ANSWERS, CHART, KINDS, outcome_of
from .test_damaged_files import JARGON, judge

CELLS = list(chain(number_cases(), other_cases()))


def written(folder: Path, cells: list, ending: str, number: int = 0) -> Path:
    path = folder / f"mine{number}{ending}"
    if ending == ".csv":
        path.write_text(as_text(cells), encoding="utf-8", newline="")
    else:
        path.write_bytes(workbook(cells))
    return path


def found_changed(cells: list, kind: str) -> str:
    whole = KINDS[kind].cells
    return next(
        str(new)
        for row, old_row in zip(cells, whole, strict=True)
        for new, old in zip(row, [*old_row, "1"], strict=False)
        if new != old
    )


@pytest.mark.parametrize("kind", KINDS)
def test_a_wrong_cell(kind, tmp_path):
    """All in one test: some four hundred files, each read in milliseconds."""
    wrong = []
    cases = [case for case in CELLS if case[0] == kind]
    for number, (_, cells, ending) in enumerate(cases):
        path = written(tmp_path, cells, ending, number)
        outcome = outcome_of(lambda path=path: KINDS[kind].read(path))
        said = outcome.said
        if kind == "answers" and outcome.code == 0:
            # Left out and named; or the sheet as a whole refused.
            lost = outcome.read.xs(3)
            said = " ".join(map(str, lost.to_numpy().ravel()))
            fine = len(lost) > 0
        else:
            fine = outcome.code == 2 and path.name in said and len(said) < 45_000
            # A price may have its currency beside it.
            fine |= kind == "prices" and found_changed(cells, kind) == "£80"
        if not fine or JARGON.search(said):
            wrong.append((found_changed(cells, kind)[:60], outcome.code, said[:300]))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_names_of_sizes(ending, tmp_path):
    wrong = []
    for number, (name, allowed) in enumerate(NAMES.items()):
        if ending == ".xlsx" and any(letter in name for letter in "\x07\x1b"):
            continue  # no workbook holds them
        path = written(tmp_path, with_cell(CHART, 1, 0, name), ending, number)
        outcome = outcome_of(lambda path=path: read_chart(path).frame)
        if (outcome.code == 0) != allowed:
            wrong.append((name, outcome.said))
        elif allowed:
            back = read_chart(path, warn=False)
            assert back.sizes[0] == name
            copy = tmp_path / f"copy{number}{ending}"
            write_chart(back, copy)
            again = read_chart(copy, warn=False).frame
            pd.testing.assert_frame_equal(again, back.frame)
        else:
            judge(outcome, path.name)
    assert wrong == []


def test_a_participant_may_be_called_anything_and_stays_so(tmp_path):
    made = with_cell(ANSWERS, 1, 0, "=1+1 <b>")
    outcome = outcome_of(lambda: KINDS["answers"].read(written(tmp_path, made, ".csv")))
    assert outcome.code == 0 and "=1+1 <b>" in set(outcome.read["participant"])
