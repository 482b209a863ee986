"""Bodies that cannot be: a drawn one that breaks a rule is drawn again."""

import numpy as np
import numpy.typing as npt

from sizing.measures import SEATED_AND_GIRTHS
from sizing.people.body.terms import Floats

#: numerator, denominator, low and high ratio. Wider than anybody in ANSUR II
#: and Snyder 1977 by a twentieth of the range seen there or more (a test holds
#: that; common practice, no source); geometry where the comment says so.
RATIOS: tuple[tuple[str, str, float, float], ...] = (
    ("sitting_height_cm", "stature_cm", 0.42, 0.66),
    ("shoulder_height_sitting_cm", "sitting_height_cm", 0.50, 0.80),
    ("buttock_popliteal_length_cm", "stature_cm", 0.18, 0.38),
    # A section twice as wide as its girth would be thinner than a line.
    ("hip_breadth_sitting_cm", "hip_circumference_cm", 0.20, 0.50),
    ("thigh_circumference_cm", "hip_circumference_cm", 0.35, 0.85),
    ("waist_circumference_cm", "hip_circumference_cm", 0.50, 1.60),
    ("chest_circumference_cm", "waist_circumference_cm", 0.55, 1.90),
)


def implausible(build: Floats, values: Floats) -> npt.NDArray[np.bool_]:
    """Return which bodies break one of RATIOS; parameters as for ``broken_ratios``."""
    return np.asarray(broken_ratios(build, values).any(axis=1), dtype=bool)


def broken_ratios(build: Floats, values: Floats) -> npt.NDArray[np.bool_]:
    """Return which bodies break which of RATIOS, shape (n, ratios)."""
    column = dict(zip(SEATED_AND_GIRTHS, values.T, strict=True))
    column["stature_cm"] = build[:, 1]
    out = np.empty((len(values), len(RATIOS)), dtype=bool)
    for j, (above, below, low, high) in enumerate(RATIOS):
        ratio = column[above] / column[below]
        out[:, j] = ~((ratio >= low) & (ratio <= high))
    return out
