"""Column names: which measure stands in a column, and in which unit."""

import difflib
import re
from dataclasses import dataclass

import pandas as pd

from sizing.errors import Problem
from sizing.measures.names import MEASURES

#: Centimetres per unit; inch and foot exact by the 1959 yard agreement.
LENGTH_UNITS = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}
#: Kilograms per unit; the pound exact by the same, a stone is 14 pounds. A
#: stone is decimal: 12.5 st is 12 st 7 lb.
MASS_UNITS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "st": 6.35029318}
#: Years per unit.
AGE_UNITS = {"years": 1.0, "months": 1 / 12}

#: Units as a message writes them.
UNIT_WORDS = {
    "cm": "centimetres",
    "mm": "millimetres",
    "m": "metres",
    "in": "inches",
    "ft": "feet",
    "kg": "kilograms",
    "g": "grams",
    "lb": "pounds",
    "st": "stones",
    "years": "years",
    "months": "months",
}

#: Lengths and masses beside the ten measures that the gate also converts.
FURTHER_LENGTHS = (
    "knee_height",
    "demispan",
    "ulna_length",
    "popliteal_height",
    "buttock_knee_length",
    "span",
    "half_span",
    "acromial_height",
    "suprasternale_height",
    "shoulder_elbow_length",
    "forearm_hand_length",
    "elbow_rest_height",
    "hand_length",
    "upper_arm_length",
    "upper_leg_length",
    "bideltoid_breadth",
    "abdominal_depth_sitting",
    "arm_circumference",
    "calf_circumference",
    "reported_stature",
)
FURTHER_MASSES = ("load_limit", "reported_mass")

OF_KIND = {"length": LENGTH_UNITS, "mass": MASS_UNITS, "age": AGE_UNITS}
STANDARD = {"length": "cm", "mass": "kg", "age": "years"}
_STEMS = (
    {m.rsplit("_", 1)[0]: "length" for m in MEASURES if m.endswith("_cm")}
    | {m.rsplit("_", 1)[0]: "mass" for m in MEASURES if m.endswith("_kg")}
    | dict.fromkeys(FURTHER_LENGTHS, "length")
    | dict.fromkeys(FURTHER_MASSES, "mass")
    | {"age": "age"}
)
#: Endings that can mean nothing but a unit; "m", "in", "st", "g" and "ft" also
#: end ordinary words such as "checked_in".
_PLAIN_UNITS = ("cm", "mm", "kg", "lb")
#: What people write for a measure; used for the hint in a message only.
_ALSO_CALLED = {
    "weight": "body_mass",
    "mass": "body_mass",
    "height": "stature",
    "body_height": "stature",
    "hip": "hip_circumference",
    "hips": "hip_circumference",
    "hip_girth": "hip_circumference",
    "waist": "waist_circumference",
    "waist_girth": "waist_circumference",
    "chest": "chest_circumference",
    "chest_girth": "chest_circumference",
    "thigh": "thigh_circumference",
    "thigh_girth": "thigh_circumference",
    "seat_depth": "buttock_popliteal_length",
    "shoulder_height": "shoulder_height_sitting",
    "hip_breadth": "hip_breadth_sitting",
    "hip_width": "hip_breadth_sitting",
    "safe_working_load": "load_limit",
    "demi_span": "demispan",
    "ulna": "ulna_length",
    "halfspan": "half_span",
    "arm_span": "span",
}


@dataclass(frozen=True)
class MeasureColumn:
    """A column of the user's that holds a measure."""

    given: str
    stem: str
    kind: str
    unit: str
    end: str

    @property
    def standard(self) -> str:
        """The column's name in the kit's units."""
        return f"{self.stem}_{STANDARD[self.kind]}{self.end}"

    @property
    def factor(self) -> float:
        """Standard units per given unit."""
        return OF_KIND[self.kind][self.unit]


def recognise(
    frame: pd.DataFrame, file: str | None
) -> tuple[list[MeasureColumn], list[Problem]]:
    """Sort the columns into measures and others, by name alone."""
    columns: list[MeasureColumn] = []
    problems: list[Problem] = []
    for name in frame.columns:
        text = str(name)
        found = _parse(text)
        if isinstance(found, MeasureColumn):
            columns.append(found)
        elif found is not None:
            what, allowed = found
            problems.append(
                Problem(
                    what,
                    allowed,
                    "correct the column's name, or give it one that is no measure's",
                    file=file,
                    column=text,
                )
            )
    return columns, problems


def _parse(name: str) -> MeasureColumn | tuple[str, str] | None:
    """Return a measure's column, what is wrong with its name, or None."""
    body, end = name, ""
    for ending in ("_low", "_high"):
        if name.endswith(ending):
            body, end = name.removesuffix(ending), ending
    stem, _, unit = body.rpartition("_")
    if stem in _STEMS:
        kind = _STEMS[stem]
        if unit in OF_KIND[kind]:
            return MeasureColumn(name, stem, kind, unit, end)
        if stem == "age" and unit not in {"cm", "kg", "days", "weeks"}:
            return None  # age_group, age_top_coded
        return f"'{unit}' is no unit for this measure", _units_text(kind)
    if body in _STEMS:
        return "this measure has no unit in its name", (
            f"{body}_<unit>{end}; {_units_text(_STEMS[body])}"
        )
    plain = _plain(name)
    guess = _nearest(plain)
    if guess is not None and (plain != name or _could_be_measure(plain)):
        return (
            f"this is no measure of the kit; did you mean '{guess}'?",
            "the names in the table of measures",
        )
    if unit in _PLAIN_UNITS:
        return "this is no measure of the kit", "the names in the table of measures"
    return None


def _plain(name: str) -> str:
    """Return a name in the kit's spelling: small letters and underscores."""
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower()).strip("_")


def _could_be_measure(plain: str) -> bool:
    units = {unit for kind in OF_KIND.values() for unit in kind}
    words = set(plain.removesuffix("_low").removesuffix("_high").split("_"))
    girth_words = {stem.split("_")[0] for stem in _STEMS} - {"age", "upper", "load"}
    return bool(words & units) or bool(words & girth_words)


def _nearest(plain: str) -> str | None:
    """Return the standard name a name is nearly the same as, if any."""
    units = {unit for kind in OF_KIND.values() for unit in kind}
    end = next((e for e in ("_low", "_high") if plain.endswith(e)), "")
    body = plain.removesuffix(end) if end else plain
    stem, _, unit = body.rpartition("_")
    if unit not in units:
        stem, unit = body, ""
    if stem in _ALSO_CALLED and unit:
        close = [_ALSO_CALLED[stem]]
    else:
        close = difflib.get_close_matches(stem, list(_STEMS), n=1, cutoff=0.8)
    if not close:
        return None
    kind = _STEMS[close[0]]
    unit = unit if unit in OF_KIND[kind] else STANDARD[kind]
    return f"{close[0]}_{unit}{end}"


def _units_text(kind: str) -> str:
    return "a unit such as " + ", ".join(OF_KIND[kind])


def given_twice(columns: list[MeasureColumn], file: str | None) -> list[Problem]:
    """Refuse a measure given twice, or in two units."""
    problems = []
    for stem in dict.fromkeys(column.stem for column in columns):
        same = [column for column in columns if column.stem == stem]
        units = {column.unit for column in same}
        ends = [column.end for column in same]
        names = ", ".join(column.given for column in same)
        if len(units) > 1:
            what = f"the same measure stands in two units ({names})"
        elif len(ends) > len(set(ends)):
            what = f"the same measure stands in two columns ({names})"
        else:
            continue
        problems.append(
            Problem(
                what,
                "one unit and one column per measure",
                "keep one and delete the other",
                file=file,
                column=same[0].given,
            )
        )
    return problems
