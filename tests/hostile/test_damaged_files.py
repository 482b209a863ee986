"""Every table, every damage: refused in plain words, or read as the whole one."""

import os
import re
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from sizing.files import reading

from .damages import damages
from .files import Case, as_text
from .tables import KINDS, Outcome, outcome_of, outcome_of_command

#: Words of the machine that tell a practitioner nothing.
JARGON = re.compile(
    r"Traceback|codec|dtype|NoneType|tokeniz|object at 0x|pandas|openpyxl|Errno|"
    r"Exception|unpack requires|utf-8'|KeyError"
)
#: Costly to make, and refused before anything of the table is known.
COSTLY = {"a million rows", "too much inside", "gigabytes inside", "a cell far away"}
CASES = [
    pytest.param(kind, case, id=f"{kind}-{case.name}")
    for kind, table in KINDS.items()
    for case in damages(table.cells, number=table.number)
    if case.name not in COSTLY or kind in ("chart", "caseload")
]


def judge(outcome: Outcome, name: str) -> None:
    """A refusal names the file and what to do, in words and at bearable length."""
    assert outcome.code == 2, f"read as\n{outcome.read}"
    assert name[:40] in outcome.said
    assert not JARGON.search(outcome.said), outcome.said
    assert len(outcome.said) < 8000


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> dict[str, pd.DataFrame]:
    """What each whole table is read as."""
    folder = tmp_path_factory.mktemp("whole")
    found = {}
    for name, kind in KINDS.items():
        path = folder / "mine.csv"
        path.write_text(as_text(kind.cells), encoding="utf-8")
        outcome = outcome_of(lambda kind=kind, path=path: kind.read(path))
        assert outcome.code == 0, outcome.said
        found[name] = outcome.read
    return found


@pytest.mark.parametrize(("kind", "case"), CASES)
def test_a_damaged_file(kind: str, case: Case, tmp_path: Path, whole):
    table = KINDS[kind]
    path = tmp_path / f"mine{case.ending}"
    case.write(path)
    kept = {p: p.read_bytes() for p in tmp_path.iterdir() if _small(p)}
    if case.said is not None and table.words is not None:
        outcome = outcome_of_command(table.words(path))
    else:
        outcome = outcome_of(lambda: table.read(path))
    if case.said is None:
        assert outcome.code == 0, outcome.said
        pd.testing.assert_frame_equal(outcome.read, whole[kind], check_dtype=False)
    elif kind == "answers" and outcome.code == 0:
        # A room's answer that cannot be used is named and left out.
        lost = outcome.read.loc[3]
        assert len(lost) and case.said in " ".join(map(str, lost.to_numpy().ravel()))
    else:
        judge(outcome, path.name)
        assert case.said in outcome.said
    assert {p: p.read_bytes() for p in tmp_path.iterdir() if _small(p)} == kept


def _small(path: Path) -> bool:
    return path.is_file() and os.stat(path).st_size < 10**8


@pytest.mark.parametrize("name", ["too much inside", "gigabytes inside"])
def test_nothing_is_unpacked_that_says_it_is_too_large(name, tmp_path, monkeypatch):
    unpacked = []
    real = zipfile.ZipExtFile.read

    def counted(self, n=-1):
        content = real(self, n)
        unpacked.append(len(content))
        return content

    monkeypatch.setattr(zipfile.ZipExtFile, "read", counted)
    case = next(c.values[1] for c in CASES if c.values[1].name == name)
    case.write(tmp_path / "mine.xlsx")
    assert outcome_of(lambda: reading.read_rows(tmp_path / "mine.xlsx")).code == 2
    assert sum(unpacked) == 0


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_one_may_not_read_and_a_name_with_a_nul(kind, tmp_path, monkeypatch):
    path = tmp_path / "mine.csv"
    path.write_text(as_text(KINDS[kind].cells), encoding="utf-8")

    def locked(*words, **more):
        raise PermissionError(13, "Permission denied", str(path))

    # Whoever runs the tests as the administrator may read everything.
    monkeypatch.setattr("builtins.open", locked)
    outcome = outcome_of(lambda: KINDS[kind].read(path))
    monkeypatch.undo()
    judge(outcome, "mine.csv")
    assert "may not read" in outcome.said
    outcome = outcome_of(lambda: KINDS[kind].read(Path("mi\x00ne.csv")))
    judge(outcome, "mi?ne.csv")
