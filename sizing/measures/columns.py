"""The names of the measures, each with its unit in the name, and the units."""

from sizing.resources import texts

_T = texts("tables")

#: Body measures in the order in which every table lists them. A new one goes last:
#: what is drawn of the others then stays as it was.
MEASURES: tuple[str, ...] = (
    "body_mass_kg",
    "stature_cm",
    "sitting_height_cm",
    "shoulder_height_sitting_cm",
    "buttock_popliteal_length_cm",
    "hip_circumference_cm",
    "hip_breadth_sitting_cm",
    "thigh_circumference_cm",
    "waist_circumference_cm",
    "chest_circumference_cm",
    "back_along_body_cm",
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
