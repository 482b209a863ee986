"""Units of measures, and the measures beside the body's that the gate converts."""

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

#: Lengths and masses beside the body measures that the gate also converts.
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
