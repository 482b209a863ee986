"""How much wider what is predicted must be for older adults, from a table."""

from functools import cache

import numpy as np
import numpy.typing as npt

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.terms import Floats
from sizing.resources import source_table


@cache
def _knots() -> dict[tuple[str, str], tuple[Floats, Floats]]:
    table = source_table("older_widths.csv")
    return {
        (str(sex), str(name)): (
            part["age_years"].to_numpy(dtype=float),
            part["times"].to_numpy(dtype=float),
        )
        for (sex, name), part in table.groupby(["sex", "measure"])
    }


def older_times(sex: npt.NDArray[np.object_], age_years: Floats) -> Floats:
    """Return how many times as wide each seated measure and girth is predicted.

    Examples
    --------
    >>> thigh = SEATED_AND_GIRTHS.index("thigh_circumference_cm")
    >>> people = np.array(["female"] * 4, dtype=object)
    >>> older_times(people, np.array([40.0, 58.0, 70.0, 90.0]))[:, thigh].round(2)
    array([1.  , 1.  , 1.95, 1.97])
    """
    times = np.ones((len(sex), len(SEATED_AND_GIRTHS)))
    for one in SEXES:
        rows = sex == one
        for j, name in enumerate(SEATED_AND_GIRTHS):
            times[rows, j] = np.interp(age_years[rows], *_knots()[one, name])
    return times
