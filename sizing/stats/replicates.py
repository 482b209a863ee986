"""Bootstrap weights: the survey drawn again, unit by unit."""

import numpy as np
import numpy.typing as npt

from sizing.errors import SizingError
from sizing.stats.design import number_units
from sizing.stats.weighted import Array, checked


def bootstrap_weights(
    weights: npt.ArrayLike | None,
    *,
    replicates: int,
    rng: np.random.Generator,
    stratum: npt.ArrayLike | None = None,
    unit: npt.ArrayLike | None = None,
    n: int | None = None,
) -> Array:
    """Return bootstrap weights: one column per replicate.

    In each stratum of m units, m - 1 are drawn with replacement and their
    people's weights multiplied by times drawn * m / (m - 1) (Rao and Wu's
    rescaling, in the form of Rao, Wu and Yue). Recompute an estimate with each
    column: the spread of the results is its standard error. A stratum of one
    unit keeps its weights and adds no error.

    Parameters
    ----------
    weights : array-like, shape (n,), or None
        Survey weights; None with ``n`` for equal weights.
    replicates : int
        How many columns, at least 1.
    rng : numpy.random.Generator
    stratum, unit : array-like, shape (n,), optional
        Sampling stratum and unit; without ``unit`` persons are drawn.
    n : int, optional
        Number of people, needed if ``weights`` is None.

    Returns
    -------
    ndarray, shape (n, replicates)

    Raises
    ------
    SizingError
        If ``replicates`` is below 1, or there are fewer than two units.

    References
    ----------
    Rao and Wu, J Am Stat Assoc 1988;83:231-241; Rao, Wu and Yue, Survey Methodol
    1992;18:209-217 (volumes and pages from memory).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> bootstrap_weights([2, 2, 4], replicates=100, rng=rng).shape
    (3, 100)
    """
    if replicates < 1:
        raise SizingError("too few replicates", allowed="1 or more", value=replicates)
    if weights is None and n is None:
        raise SizingError(
            "neither weights nor a number of people", allowed="one of the two"
        )
    given = np.ones(n or 0) if weights is None else weights
    size = np.size(np.asarray(given))
    _, w = checked(np.zeros(size), given)
    design = number_units(size, stratum, unit, w > 0, "certainty")
    times = np.ones((len(design.stratum_of_unit), replicates))
    counts = np.bincount(design.stratum_of_unit)
    if not (counts > 1).any():
        raise SizingError(
            "every stratum has one sampling unit, so nothing can be drawn",
            allowed="at least two units in one stratum",
            action="join strata, or draw persons by leaving out unit",
        )
    for code, m in enumerate(counts):
        if m > 1:
            members = np.flatnonzero(design.stratum_of_unit == code)
            drawn = rng.multinomial(m - 1, np.full(m, 1 / m), size=replicates)
            times[members] = drawn.T * (m / (m - 1))
    return w[:, None] * times[design.unit_of]
