"""What the headings of a table mean: which column stands where, in which unit."""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cached_property

from sizing.errors import Problem
from sizing.measures.vocabulary import (
    FURTHER_LENGTHS,
    FURTHER_MASSES,
    MEASURES,
    OF_KIND,
    STANDARD,
    WRITTEN_UNITS,
    vocabulary,
)
from sizing.resources import texts

_T = texts("tables")
#: What people write for the ends of a band.
_WRITTEN_ENDS = {word: end for end, words in _T.ends.items() for word in words.split()}
_FILLERS = {"in", "of", "limit", "value"}
#: Endings that can mean nothing but a unit; "m", "in", "st", "g" and "ft" also
#: end ordinary words such as "checked_in".
_PLAIN_UNITS = ("cm", "mm", "kg", "lb")
#: How near a heading is to one of a table's own to count as a slip of the pen, and
#: how near to be worth a question (our choice, no source).
_SLIP, _SIMILAR = 0.8, 0.65


def plain(heading: object) -> str:
    """Return a heading in the kit's spelling: small letters and underscores."""
    text = unicodedata.normalize("NFKC", str(heading)).casefold()
    return re.sub(r"[\W_]+", "_", text).strip("_")


@dataclass(frozen=True)
class Column:
    name: str
    #: ``words``, ``number``, or of a measure ``length``, ``mass`` or ``age``.
    kind: str = "words"
    #: What else people and the kit's pages write over it, parted by ``|``.
    also: str = ""
    needed: bool = False

    @property
    def words(self) -> set[str]:
        """Every way to write its heading, plainly."""
        return {self.name, *(plain(word) for word in self.also.split("|") if word)}

    @property
    def standard(self) -> str:
        unit = STANDARD.get(self.kind)
        return f"{self.name}_{unit}" if unit else self.name


def measure_columns(*further: str) -> tuple[Column, ...]:
    named = vocabulary().set_index("name")[["label", "iso_term"]]
    stems = {
        measure.rsplit("_", 1)[0]: [re.sub(r" *\(.*", "", str(w)) for w in words]
        for measure, words in zip(named.index, named.to_numpy(), strict=True)
    }
    return tuple(
        Column(stem, _kind_of(stem), "|".join([*also, *stems.get(stem, ())]))
        for stem in (*stems, *further)
        for also in [_T.also_called.get(stem, "").split()]
    )


@dataclass(frozen=True)
class Found:
    given: str
    #: None: it is the user's own.
    column: Column | None
    position: int = 0
    #: For a measure: its unit, and ``low``, ``high`` or nothing.
    unit: str = ""
    end: str = ""
    guess: bool = False

    @property
    def kind(self) -> str:
        return self.column.kind if self.column else "own"

    @property
    def stem(self) -> str:
        return self.column.name if self.column else self.given

    @property
    def measure(self) -> str:
        return self.column.standard if self.column else self.given

    @property
    def standard(self) -> str:
        return self._whole(self.measure)

    @property
    def as_given(self) -> str:
        return self._whole(f"{self.stem}_{self.unit}" if self.unit else self.measure)

    @property
    def factor(self) -> float:
        return OF_KIND[self.kind][self.unit] if self.kind in OF_KIND else 1.0

    def _whole(self, name: str) -> str:
        return f"{'guessed_' * self.guess}{name}{'_' * bool(self.end)}{self.end}"


@dataclass(frozen=True)
class Table:
    title: str
    columns: tuple[Column, ...]
    #: Whether measures are given from and to, and may have been guessed.
    ends: bool = False
    guesses: bool = False
    row: str = "row"

    @cached_property
    def _by_words(self) -> dict[str, Column]:
        return {word: column for column in self.columns for word in column.words}

    def knows(self, heading: object) -> bool:
        return isinstance(self._find(str(heading)), Found)

    def read(
        self, headings: Sequence[object], *, file: str | None = None, row: int = 1
    ) -> tuple[list[Found], list[Problem]]:
        """Say what each heading means, and what is wrong with the headings."""
        columns: list[Found] = []
        problems: list[Problem] = []
        for at, cell in enumerate(headings):
            heading = "" if cell is None else str(cell).strip()
            found = self._find(heading, at) or Found(heading, None, at)
            if not heading:
                found = Problem.of(_T.no_heading, at=at + 1, row=row)
            if isinstance(found, Problem):
                problems.append(replace(found, column=heading or None))
            else:
                columns.append(found)
        problems += _twice(columns)
        return columns, [replace(one, file=file, row=row) for one in problems]

    def without_unit(self, heading: object) -> str:
        """Return the kit's unit of a measure whose heading names none, or nothing."""
        column = self._by_words.get(plain(heading), Column(""))
        return STANDARD[column.kind] if column.kind in ("length", "mass") else ""

    def similar(self, heading: str) -> str:
        near = get_close_matches(plain(heading), self._by_words, 1, _SIMILAR)
        return self._by_words[near[0]].standard if near else ""

    def _find(self, heading: str, at: int = 0) -> Found | Problem | None:
        key = plain(heading)
        guess = self.guesses and key.startswith(("guess_", "guessed_"))
        if guess:
            key = key.partition("_")[2]
        for stem, unit, end in _parts(key):
            if stem in _T.unclear:
                return _meant(_named(one, unit, end) for one in _T.unclear[stem])
            column = self._by_words.get(stem)
            if column is None or (end and not self.ends):
                continue
            if column.kind not in OF_KIND:
                if unit or end or guess:
                    continue
                return Found(heading, column, at)
            if not unit and column.kind == "age":
                unit = "years"
            if unit in OF_KIND[column.kind]:
                return Found(heading, column, at, unit, end, guess)
            return Problem.of(
                _T.wrong_unit if unit else _T.no_unit,
                unit=unit,
                units=_units_text(column.kind),
                named=_named(stem := column.name, unit, end),
                heading=heading,
                stem=stem,
                usual=STANDARD[column.kind],
                ended=f"_{end}" if end else "",
            )
        return self._slip(key)

    def _slip(self, key: str) -> Problem | None:
        *_, (stem, unit, end) = _parts(key)
        if not stem and end:
            return Problem.of(_T.no_measure)
        kit, _, word = stem.rpartition("_")
        column = next((c for c in self.columns if c.name == kit), None)
        if column is not None and column.kind in ("length", "mass"):
            return Problem.of(_T.odd_unit, unit=word, units=_units_text(column.kind))
        ended = ("_low", "_high") if self.ends else ()
        measures = {w: c for w, c in self._by_words.items() if c.kind in OF_KIND}
        near = get_close_matches(stem, measures, 1, _SLIP)
        parts = {m.split("_")[0] for m in (*MEASURES, *FURTHER_LENGTHS)} - {"upper"}
        if near and (unit or end or parts & set(stem.split("_"))):
            return _meant([_named(measures[near[0]].name, unit, end)])
        if measures and (unit in _PLAIN_UNITS or key.endswith(ended)):
            near = get_close_matches(stem, measures, 1, _SIMILAR)
            return _meant(_named(measures[w].name, unit, end) for w in near)
        others = [c.name for c in self.columns if c.kind not in OF_KIND]
        if near := get_close_matches(key, others, 1, _SLIP):
            return Problem.of(_T.unknown, others=", ".join(others), near=near[0])
        return None


def _meant(names: Iterable[str]) -> Problem:
    listed = " or ".join(map(repr, names))
    return Problem.of(_T.not_ours, hint=listed and f"; did you mean {listed}?")


def _parts(key: str) -> Iterator[tuple[str, str, str]]:
    """Split unit and end off a plain heading, bit by bit: stem, unit, end."""
    words, unit, end = key.split("_"), "", ""
    while True:
        yield "_".join(words), unit, end
        if not words:
            return
        last, first = words[-1], words[0]
        if not unit and last in WRITTEN_UNITS:
            unit = WRITTEN_UNITS[words.pop()]
        elif not end and last in _WRITTEN_ENDS:
            end = _WRITTEN_ENDS[words.pop()]
        elif last in _FILLERS:
            words.pop()
        elif not end and first in _WRITTEN_ENDS:
            end = _WRITTEN_ENDS[words.pop(0)]
        else:
            return


def _kind_of(stem: str) -> str:
    return "mass" if stem in ("body_mass", *FURTHER_MASSES) else "length"


def _named(stem: str, unit: str, end: str) -> str:
    """Return a measure's name, in the unit given if it is one of the measure's."""
    kind = _kind_of(stem)
    unit = unit if unit in OF_KIND[kind] else STANDARD[kind]
    return f"{stem}_{unit}_{end}" if end else f"{stem}_{unit}"


def _units_text(kind: str) -> str:
    return "a unit such as " + ", ".join(OF_KIND[kind])


def _twice(columns: Sequence[Found]) -> Iterator[Problem]:
    """Name columns that come to the same, and measures given in two units."""
    first: dict[str, Found] = {}
    units: dict[tuple[str, bool], Found] = {}
    for one in columns:
        name = one.standard if one.column else f"own {plain(one.given)}"
        known = other = first.setdefault(name, one)
        if one.kind in OF_KIND:
            other = units.setdefault((one.stem, one.guess), one)
        given = {"stem": one.stem, "heading": one.given}
        if other.unit != one.unit:
            given |= {"one": other.unit, "other": one.unit, "first": other.given}
            yield Problem.of(_T.two_units, None, None, one.given, **given)
        elif known is not one:
            yield Problem.of(
                _T.twice, None, None, one.given, first=known.given, **given
            )
