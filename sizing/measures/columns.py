"""The names of the measures, each with its unit in the name, and the units."""

import csv
from io import StringIO

from sizing.resources import source_file, texts

_T = texts("tables")

#: Body measures in the order in which every table lists them: the rows of measures.csv.
#: A new one goes last: what is drawn of the others then stays as it was.
MEASURES: tuple[str, ...] = tuple(
    row["name"]
    for row in csv.DictReader(StringIO(source_file("measures.csv").read_text("utf-8")))
)
#: Measures that no survey of the embedded people holds: they are drawn.
SEATED_AND_GIRTHS: tuple[str, ...] = MEASURES[2:]
#: Lengths and masses beside the body measures that the gate also converts.
FURTHER_LENGTHS: tuple[str, ...] = tuple(_T.further["lengths"].split())
FURTHER_MASSES: tuple[str, ...] = tuple(_T.further["masses"].split())

SEXES: tuple[str, ...] = ("female", "male")
#: How well a figure is founded, from best to worst.
EVIDENCE: tuple[str, ...] = (
    *("measured", "predicted", "extrapolated", "unsupported", "missing"),
)

#: Centimetres per unit; inch and foot exact by the 1959 yard agreement.
LENGTH_UNITS = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}
#: Kilograms per unit; the pound exact by the same, a stone is 14 pounds. A
#: stone is decimal: 12.5 st is 12 st 7 lb.
MASS_UNITS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "st": 6.35029318}
#: Years per unit.
AGE_UNITS = {"years": 1.0, "months": 1 / 12}
OF_KIND = {"length": LENGTH_UNITS, "mass": MASS_UNITS, "age": AGE_UNITS}
STANDARD = {"length": "cm", "mass": "kg", "age": "years"}
#: Units as a message writes them, and what people write for one.
UNIT_WORDS: dict[str, str] = _T.units
WRITTEN_UNITS: dict[str, str] = {
    word: unit for unit, words in _T.spelt.items() for word in (unit, *words.split())
}
