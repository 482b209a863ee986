"""The names of the measures, each with its unit in the name."""

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

SEXES: tuple[str, ...] = ("female", "male")

#: How well a figure is founded, from best to worst.
EVIDENCE: tuple[str, ...] = (
    "measured",
    "predicted",
    "extrapolated",
    "unsupported",
    "missing",
)
