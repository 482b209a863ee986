"""What the headings of a table mean: which column stands where, in which unit."""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

from sizing.errors import Problem
from sizing.measures.columns import FURTHER_LENGTHS, FURTHER_MASSES, OF_KIND, STANDARD
from sizing.measures.names import MEASURES
from sizing.measures.vocabulary import vocabulary

#: What people write for a unit.
WRITTEN_UNITS = {unit: unit for units in OF_KIND.values() for unit in units} | {
    word: unit
    for unit, words in {
        "cm": "cms centimetre centimetres centimeter centimeters",
        "mm": "millimetre millimetres millimeter millimeters",
        "m": "metre metres meter meters",
        "in": "inch inches ins",
        "ft": "foot feet",
        "kg": "kgs kilo kilos kilogram kilograms",
        "g": "gram grams",
        "lb": "lbs pound pounds",
        "st": "stone stones",
        "years": "year yrs yr y",
        "months": "month mths",
        "days": "day days",
        "weeks": "week weeks",
    }.items()
    for word in words.split()
}
#: What people write for the ends of a band.
_WRITTEN_ENDS = {
    word: end
    for end, words in {
        "low": "low min minimum lower lowest from",
        "high": "high max maximum upper highest to",
    }.items()
    for word in words.split()
}
_FILLERS = {"in", "of", "limit", "value"}
#: Endings that can mean nothing but a unit; "m", "in", "st", "g" and "ft" also
#: end ordinary words such as "checked_in".
_PLAIN_UNITS = ("cm", "mm", "kg", "lb")
#: What people write for a measure, beside its name, its label and its name in ISO
#: 7250-1 (common practice, no source).
_ALSO_CALLED = {
    "body_mass": "weight mass body_weight",
    "stature": "height body_height",
    "hip_circumference": "hips hip_girth",
    "waist_circumference": "waist waist_girth",
    "chest_circumference": "chest chest_girth",
    "thigh_circumference": "thigh thigh_girth",
    "buttock_popliteal_length": "seat_depth",
    "shoulder_height_sitting": "sitting_shoulder_height",
    "demispan": "demi_span",
    "ulna_length": "ulna",
    "half_span": "halfspan",
    "span": "arm_span",
    "load_limit": "safe_working_load swl working_load max_load maximum_load",
}
#: What may mean more than one thing, or not quite what the kit means.
_UNCLEAR = {
    "hip": ("hip_circumference", "hip_breadth_sitting"),
    "hip_breadth": ("hip_breadth_sitting",),
    "hip_width": ("hip_breadth_sitting",),
    "shoulder_height": ("shoulder_height_sitting", "acromial_height"),
    "max_weight": ("load_limit", "body_mass"),
    "maximum_weight": ("load_limit", "body_mass"),
    "weight_limit": ("load_limit", "body_mass"),
}
#: How near a heading is to one of a table's own to count as a slip of the pen, and
#: how near to be worth a question (our choice, no source).
_SLIP, _SIMILAR = 0.8, 0.6


def plain(heading: object) -> str:
    """Return a heading in the kit's spelling: small letters and underscores.

    >>> plain(" Hip girth, low (cm)"), plain("Load-limit KG")
    ('hip_girth_low_cm', 'load_limit_kg')
    """
    text = unicodedata.normalize("NFKC", str(heading)).casefold()
    return re.sub(r"[\W_]+", "_", text).strip("_")


_MEASURED = ("length", "mass")
#: What is wrong, what is allowed, and what to do.
Fault = tuple[str, str, str]


@dataclass(frozen=True)
class Column:
    """A column that a table may have."""

    #: The kit's name; of a measure without its unit and end.
    name: str
    #: ``words``, ``number``, or of a measure ``length``, ``mass`` or ``age``.
    kind: str = "words"
    #: What else people and the kit's pages write over it, parted by ``|``.
    also: str = ""
    #: Whether a table without it is refused.
    needed: bool = False

    @property
    def words(self) -> set[str]:
        """Every way to write its heading, plainly."""
        return {self.name, *(plain(word) for word in self.also.split("|") if word)}

    @property
    def standard(self) -> str:
        """Its name with the kit's unit."""
        unit = STANDARD.get(self.kind)
        return f"{self.name}_{unit}" if unit else self.name


def measure_columns(*further: str) -> tuple[Column, ...]:
    """Return the body measures, and further ones by their names, as columns."""
    told = vocabulary().set_index("name")
    stems = {m.rsplit("_", 1)[0]: told.loc[m, ["label", "iso_term"]] for m in MEASURES}
    return tuple(
        Column(
            stem,
            "mass" if stem in {"body_mass", *FURTHER_MASSES} else "length",
            "|".join(
                [
                    *_ALSO_CALLED.get(stem, "").split(),
                    *(
                        re.sub(r" *\(.*", "", str(words))
                        for words in stems.get(stem, ())
                    ),
                ]
            ),
        )
        for stem in (*stems, *further)
    )


@dataclass(frozen=True)
class Found:
    """A column of the user's, understood."""

    #: Its heading, as it stands in the file.
    given: str
    #: None: it is the user's own.
    column: Column | None
    #: Where it stands, 0 the first.
    position: int = 0
    #: For a measure: its unit, and ``low``, ``high`` or nothing.
    unit: str = ""
    end: str = ""
    #: Whether it is what somebody guessed.
    guess: bool = False

    @property
    def kind(self) -> str:
        """The column's kind; ``own`` if it is none of the kit's."""
        return self.column.kind if self.column else "own"

    @property
    def stem(self) -> str:
        """The column's name without unit and end."""
        return self.column.name if self.column else self.given

    @property
    def measure(self) -> str:
        """The column's name in the kit's unit, without end."""
        return self.column.standard if self.column else self.given

    @property
    def standard(self) -> str:
        """The column's name in the kit's units."""
        end = f"_{self.end}" if self.end else ""
        return f"{'guessed_' if self.guess else ''}{self.measure}{end}"

    @property
    def factor(self) -> float:
        """Standard units per given unit."""
        return OF_KIND[self.kind][self.unit] if self.kind in OF_KIND else 1.0


@dataclass(frozen=True)
class Table:
    """The columns that one kind of table may have."""

    title: str
    columns: tuple[Column, ...]
    #: Whether measures are given from and to.
    ends: bool = False
    #: Whether measures may have been guessed.
    guesses: bool = False
    #: What a row of it is called.
    row: str = "row"

    @cached_property
    def _by_words(self) -> dict[str, Column]:
        return {word: column for column in self.columns for word in column.words}

    def knows(self, heading: object) -> bool:
        """Say whether a heading is one of the table's."""
        return isinstance(self._find(str(heading), 0), Found)

    def read(
        self, headings: Sequence[object], *, file: str | None = None, row: int = 1
    ) -> tuple[list[Found], list[Problem]]:
        """Say what each heading means, and what is wrong with the headings."""
        columns: list[Found] = []
        problems: list[Problem] = []
        for position, cell in enumerate(headings):
            heading = "" if cell is None else str(cell).strip()
            if not heading:
                problems.append(
                    Problem(
                        f"column {position + 1} has no heading",
                        "a heading over every column",
                        f"write one in row {row}, or delete the column",
                        file,
                        row,
                    )
                )
                continue
            found = self._find(heading, position)
            if isinstance(found, tuple):
                problems.append(Problem(*found, file, row, heading))
            else:
                columns.append(found or Found(heading, None, position))
        problems += [
            Problem(what, allowed, action, file, row, heading)
            for what, allowed, action, heading in _twice(columns)
        ]
        return columns, problems

    def without_unit(self, heading: object) -> str:
        """Return the kit's unit of a measure whose heading names none, or nothing.

        >>> table = Table("people", measure_columns())
        >>> table.without_unit("Hips"), table.without_unit("hips (in)")
        ('cm', '')
        """
        column = self._by_words.get(plain(heading))
        return STANDARD[column.kind] if column and column.kind in _MEASURED else ""

    def similar(self, heading: str) -> str:
        """Return the column that somebody may have meant, or nothing."""
        near = get_close_matches(plain(heading), self._by_words, 1, _SIMILAR)
        return self._by_words[near[0]].standard if near else ""

    def _find(self, heading: str, position: int) -> Found | Fault | None:
        """Return a column, what is wrong with its heading, or None."""
        key = plain(heading)
        guess = self.guesses and key.startswith(("guess_", "guessed_"))
        if guess:
            key = key.partition("_")[2]
        for stem, unit, end in _parts(key):
            if stem in _UNCLEAR:
                return self._meant([_named(s, unit, end) for s in _UNCLEAR[stem]])
            column = self._by_words.get(stem)
            if column is None:
                continue
            if column.kind not in OF_KIND:
                if unit or end or guess:
                    continue
                return Found(heading, column, position)
            if end and not self.ends:
                continue
            if not unit and column.kind == "age":
                unit = "years"
            units = _units_text(column.kind)
            if not unit:
                ended = f"_{end}" if end else ""
                return (
                    "this measure has no unit in its name",
                    f"'{heading} ({STANDARD[column.kind]})' or "
                    f"{column.name}_<unit>{ended}; {units}",
                    "write the unit that was used behind it",
                )
            if unit not in OF_KIND[column.kind]:
                return (
                    f"'{unit}' is no unit for this measure",
                    units,
                    f"did you mean '{_named(column.name, unit, end)}'? Convert the "
                    "numbers if need be",
                )
            return Found(heading, column, position, unit, end, guess)
        return self._slip(heading, key)

    def _slip(self, heading: str, key: str) -> Fault | None:
        """Return what is wrong with a heading that resembles one of the table's."""
        *_, (stem, unit, end) = _parts(key)
        if not stem and end:
            return (
                "a limit whose measure is not said",
                "names such as hip_circumference_cm_low",
                "write the measure before it, and the unit",
            )
        kit, _, word = stem.rpartition("_")
        column = next((c for c in self.columns if c.name == kit), None)
        if column is not None and column.kind in ("length", "mass"):
            told = f"'{word}' is no unit for this measure"
            return told, _units_text(column.kind), "write the unit behind the measure"
        ended = ("_low", "_high") if self.ends else ()
        measures = {w: c for w, c in self._by_words.items() if c.kind in OF_KIND}
        near = get_close_matches(stem, measures, 1, _SLIP)
        if near and (unit or end or _names_a_body_part(stem)):
            return self._meant([_named(measures[near[0]].name, unit, end)])
        if measures and (unit in _PLAIN_UNITS or key.endswith(ended)):
            near = get_close_matches(stem, measures, 1, _SIMILAR)
            return self._meant([_named(measures[w].name, unit, end) for w in near])
        others = [c.name for c in self.columns if c.kind not in OF_KIND]
        near = get_close_matches(key, others, 1, _SLIP)
        if near:
            return (
                "unknown column",
                f"{', '.join(others)}, measures, or columns of your own",
                f"did you mean '{near[0]}'? If it is your own column, rename it",
            )
        return None

    def _meant(self, names: Sequence[str]) -> Fault:
        hint = f"; did you mean {' or '.join(map(repr, names))}?" if names else ""
        return (
            f"this is no measure of the kit{hint}",
            "the names in the table of measures",
            "correct the column's name, or give it one that is no measure's",
        )


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


def _named(stem: str, unit: str, end: str) -> str:
    """Return a measure's name, in the unit given if it is one of the measure's."""
    kind = "mass" if stem in ("body_mass", *FURTHER_MASSES) else "length"
    unit = unit if unit in OF_KIND[kind] else STANDARD[kind]
    return f"{stem}_{unit}_{end}" if end else f"{stem}_{unit}"


def _names_a_body_part(stem: str) -> bool:
    parts = {m.split("_")[0] for m in (*MEASURES, *FURTHER_LENGTHS)} - {"upper"}
    return bool(set(stem.split("_")) & parts)


def _units_text(kind: str) -> str:
    return "a unit such as " + ", ".join(OF_KIND[kind])


def _twice(columns: Sequence[Found]) -> Iterator[tuple[str, str, str, str]]:
    """Name columns that come to the same, and measures given in two units."""
    first: dict[str, Found] = {}
    units: dict[tuple[str, bool], Found] = {}
    for column in columns:
        name = column.standard if column.column else f"own {plain(column.given)}"
        known = first.setdefault(name, column)
        other = column
        if column.kind in OF_KIND:
            other = units.setdefault((column.stem, column.guess), column)
        if other.unit != column.unit:
            yield (
                f"the same measure, {column.stem}, stands in two units: "
                f"'{other.unit}' and '{column.unit}'",
                "one unit for each measure",
                f"keep one of '{other.given}' and '{column.given}', or write both "
                "ends in one unit",
                column.given,
            )
        elif known is not column:
            yield (
                f"the same stands in two columns, also as '{known.given}'",
                "each column once",
                "delete or rename one of them",
                column.given,
            )
