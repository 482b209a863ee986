"""A survey as its readers hand it over, its file's checks, and the register of all."""

import hashlib
import io
import os
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError, one_of
from sizing.files.reading import file_bytes
from sizing.measures import MEASURES, plausible_range
from sizing.resources import source_file, source_table

PathLike: TypeAlias = str | os.PathLike[str]

REPORT_COLUMNS = ["rule", "column", "count", "action"]
#: A file with fewer people than this is not the survey it is said to be.
LEAST_ROWS = 20
#: Most bytes of a file: four times the largest of those published.
MOST_BYTES = 100_000_000
_MOST_PROBLEMS = 20
AS_PUBLISHED = "use the file as published"


@dataclass(frozen=True)
class Survey:
    """People who were measured, with their weights and what was left out.

    ``frame`` has one row per person: ``person``, ``sex``, ``age_years``, the measures
    there are, further columns by survey, ``stratum`` and ``unit`` if it has a design.
    ``weight`` is persons of the population, or 1. ``report`` has a row per rule that
    met a value (``rule``, ``column``, ``count``, ``action``: dropped, blanked, kept or
    converted).
    """

    name: str
    frame: pd.DataFrame
    weight: pd.Series
    report: pd.DataFrame
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        return len(self.frame)

    @property
    def measures(self) -> tuple[str, ...]:
        """The measures present, in the kit's order."""
        return tuple(name for name in MEASURES if name in self.frame.columns)

    def summary(self) -> str:
        """Return who is in the survey and what was left out, in plain words."""
        rows = self.report[REPORT_COLUMNS].itertuples(index=False, name=None)
        met = (
            f"{count} x {of}: {rule} ({action})." for rule, of, count, action in rows
        )
        return "\n".join([f"{self.name}: {self.n} people.", *met, *self.limits])


@dataclass
class Notes:
    """What a reader drops, blanks, keeps or converts: rule, column, count, action."""

    rows: list[tuple[str, str, int, str]] = field(default_factory=list)

    def add(self, rule: str, column: str, count: int, action: str) -> None:
        """Note a rule, unless it met nothing."""
        if count:
            self.rows.append((rule, column, int(count), action))

    def blank(
        self, frame: pd.DataFrame, column: str, where: npt.ArrayLike, rule: str
    ) -> None:
        """Set the values of a column to missing where a rule says so; note it."""
        found = np.asarray(where, dtype=bool) & frame[column].notna().to_numpy()
        self.add(rule, column, int(found.sum()), "blanked")
        frame[column] = frame[column].mask(found)

    def drop(
        self, frame: pd.DataFrame, where: npt.ArrayLike, rule: str
    ) -> pd.DataFrame:
        found = np.asarray(where, dtype=bool)
        self.add(rule, "(whole row)", int(found.sum()), "dropped")
        return frame.loc[~found].reset_index(drop=True)

    @property
    def table(self) -> pd.DataFrame:
        return pd.DataFrame(self.rows, columns=REPORT_COLUMNS)


def in_order(frame: pd.DataFrame, extra: Iterable[str] = ()) -> pd.DataFrame:
    """The kit's order: person, sex, age, the measures, then the ``extra`` present."""
    # A name given twice keeps its first place.
    wanted = dict.fromkeys(("person", "sex", "age_years", *MEASURES, *extra))
    there = [name for name in wanted if name in frame.columns]
    return frame[there].reset_index(drop=True)


def not_readable(path: PathLike, expected: str, reason: str) -> SizingError:
    return SizingError(
        f"the file cannot be read: {reason}",
        allowed=expected,
        action="check that it is the right file and was downloaded whole",
        file=Path(path).name,
    )


def read_transport(path: PathLike, expected: str) -> pd.DataFrame:
    """Read a SAS transport file (version 5, ``.XPT``)."""
    content = file_bytes(path, allowed=expected, most=MOST_BYTES)
    # Whole records are padded with blanks to lines of 80 bytes; a file that was
    # cut short ends otherwise, and would silently miss people.
    cut = not_readable(path, expected, "it is cut short")
    starts_well = content.startswith(b"HEADER RECORD*******LIBRARY")
    if starts_well and len(content) % 80:
        raise cut
    try:
        reader: Any = pd.read_sas(
            io.BytesIO(content), format="xport", encoding="latin-1", iterator=True
        )
        with reader, warnings.catch_warnings():
            warnings.simplefilter("error")
            frame: pd.DataFrame = reader.read()
            length = sum(field["field_length"] for field in reader.fields)
            count = len(reader.fields)
    except Exception as cause:
        # The library raises whatever the damaged part sets off in it.
        reason = "it is damaged" if starts_well else "it is no SAS transport file"
        raise not_readable(path, expected, reason) from cause
    if count != frame.shape[1]:
        raise not_readable(path, expected, "two of its columns have the same name")
    start = content.index(b"HEADER RECORD*******OBS") + 80
    rest = content[start + len(frame) * length :]
    if len(rest) >= 80 or rest.strip(b" "):
        raise cut
    # Zero comes out of the conversion of SAS's floating point as 5.4e-79.
    number = frame.select_dtypes("number")
    frame[number.columns] = number.mask(number.abs() < 1e-60, 0.0)
    return frame


def check_columns(
    frame: pd.DataFrame, needed: Iterable[str], *, file: str, survey: str
) -> None:
    wanted = list(needed)
    missing = [name for name in wanted if name not in frame.columns]
    if len(missing) == len(wanted):
        what = f"none of the columns of {survey} is here"
        allowed = ", ".join(wanted[:5]) + " and others"
        one = Problem(what, allowed, "check that it is the right file", file)
        raise InputProblems([one], about=file)
    allowed = f"the columns of {survey}, spelt as published"
    action = f"{AS_PUBLISHED}, without renaming its columns"
    what = "this column is missing"
    problems = [
        Problem(what, allowed, action, file, column=name)
        for name in missing[:_MOST_PROBLEMS]
    ]
    if len(missing) > _MOST_PROBLEMS:
        what = f"{len(missing) - _MOST_PROBLEMS} more columns are missing"
        problems.append(Problem(what, file=file))
    if len(frame) < LEAST_ROWS:
        what = f"the file holds {len(frame)} rows only"
        action = "download the file again; this one is cut short"
        problems.append(Problem(what, f"at least {LEAST_ROWS} people", action, file))
    if problems:
        raise InputProblems(problems, about=file)


def as_numbers(
    frame: pd.DataFrame, columns: Iterable[str], *, file: str
) -> pd.DataFrame:
    """Return the columns as numbers; an empty cell is missing."""
    what, allowed = "this is not a number", "a number, or nothing where not measured"
    problems: list[Problem] = []
    out: dict[str, pd.Series] = {}
    for name in columns:
        given = frame[name]
        out[name] = pd.to_numeric(given, errors="coerce").astype(float)
        problems += [
            Problem(what, allowed, AS_PUBLISHED, file, int(i) + 2, name, given.iloc[i])
            for i in np.flatnonzero(given.notna() & ~np.isfinite(out[name]))
        ]
    _refuse(problems, file)
    return pd.DataFrame(out, index=frame.index)


def check_values(frame: pd.DataFrame, *, file: str, rows: npt.ArrayLike) -> None:
    """Refuse values that nobody has: a file in other units, or not as published."""
    at, do = np.asarray(rows), f"{AS_PUBLISHED}, in its own units"
    problems: list[Problem] = []
    for name in frame.columns.intersection(list(MEASURES)):
        low, high = plausible_range(name)
        values = frame[name].to_numpy(dtype=float)
        for i in np.flatnonzero((values < low / 2) | (values > high * 2)):
            what = f"no body has this value ({values[i]:g} in the kit's units)"
            allowed = f"{low:g} to {high:g}"
            problems.append(Problem(what, allowed, do, file, int(at[i]), name))
    _refuse(problems, file)


def check_keys(
    frame: pd.DataFrame, columns: Iterable[str], *, file: str, once: str = ""
) -> None:
    """Refuse a file whose keys are missing, are no whole numbers or stand twice."""
    allowed = "the survey's own numbers"
    problems: list[Problem] = []
    for name in columns:
        number = frame[name].to_numpy(dtype=float)
        wrong = ~np.isfinite(number) | (np.abs(number) > 1e15)
        wrong |= ~wrong & (np.where(wrong, 0.0, number) % 1 != 0)
        twice = frame[name].duplicated().to_numpy() & ~wrong & (name == once)
        for found, what in (
            (wrong, "this is no whole number"),
            (twice, "this person stands in the file twice"),
        ):
            problems += [
                Problem(what, allowed, AS_PUBLISHED, file, int(i) + 2, name, number[i])
                for i in np.flatnonzero(found)[:_MOST_PROBLEMS]
            ]
    _refuse(problems, file)


def _refuse(problems: list[Problem], file: str) -> None:
    if problems:
        raise InputProblems(problems[:_MOST_PROBLEMS], about=file)


def registry() -> pd.DataFrame:
    """Return the register of surveys and of the tables derived from them.

    Returns
    -------
    DataFrame
        One row per file: ``name``, ``title``, ``publisher``, ``year``, ``file``,
        ``role`` (what the kit does with it), ``licence``, ``url``,
        ``retrieved``, ``sha256``, ``ships`` (yes, no, or as a dependency),
        ``n`` (people in the file or behind its figures, 0 where there are
        none), ``population``, ``definitions`` (of the measures, where they
        differ between surveys), ``kind``, ``unit``, ``edits`` (what the reader
        changes). Empty cells are empty strings.

    Examples
    --------
    >>> registry().set_index("name").loc["ansur2_women", "n"].item()
    1986
    """
    return source_table("registry.csv", keep_default_na=False)


def verify(name: str, content: bytes | None = None) -> None:
    """Refuse a registered file whose content is not the registered one."""
    table = registry().set_index("name")
    one_of("registered file", name, list(table.index))
    row = table.loc[name]
    file, title, registered = (str(row[key]) for key in ("file", "title", "sha256"))
    if content is None:
        # Text checked out under Windows may end its lines otherwise.
        content = source_file(file).read_bytes().replace(b"\r\n", b"\n")
    if hashlib.sha256(content).hexdigest() != registered:
        raise SizingError(
            "the file is not the registered one (its sha256 differs)",
            allowed=f"'{title}' as registered",
            action="install the kit again, or take the file from its publisher again",
            file=file,
        )
