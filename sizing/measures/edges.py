"""The edge rule: which size owns a boundary. Stated here and nowhere else."""

import numpy as np
import numpy.typing as npt

EDGE_RULE = (
    "Both ends belong: a size fits from its low edge to its high edge, each "
    "included, after rounding to whole millimetres and to 0.1 kg. A person "
    "exactly on an edge that two sizes share has a choice of both."
)

#: Stands for "not measured" among tenths; no body measure is negative.
MISSING_TENTHS = -1
#: Stand for "no limit" among tenths.
NO_LOW = 0
NO_HIGH = 2**31 - 1


def to_tenths(values: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Round cm to mm, or kg to 0.1 kg, halves up; ``MISSING_TENTHS`` where missing.

    These are compared, because 40.3 and 403/10 need not be the same float.
    """
    number = np.asarray(values, dtype=float)
    known = np.isfinite(number)
    # The nudge lets 40.25, stored as 40.249999..., round as it is written.
    tenths = np.floor(np.where(known, number, 0.0) * 10 + 0.5 + 1e-7)
    return np.where(known, tenths, MISSING_TENTHS).astype(np.int64)
