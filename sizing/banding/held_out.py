"""Coverage of people the fit has not seen: repeated half-splits by person."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from sizing.banding.fitter import Fitter
from sizing.errors import SizingError, check_number, check_seed

METHOD = (
    "mean of repeated half-splits by person; interval by Student's t with the "
    "variance of the splits times (1/splits + 1) (Nadeau and Bengio 2003, from "
    "memory); survey design not allowed for"
)


@dataclass(frozen=True)
class HeldOut:
    """What a chart fitted to half of the persons covers of the other half.

    Attributes
    ----------
    fitted, rival : ndarray of float, one per split
        Shares of the held-out people covered.
    persons : int
        Number of persons held out in a split.
    """

    fitted: npt.NDArray[np.float64]
    rival: npt.NDArray[np.float64]
    persons: int

    def mean(self, which: str = "fitted") -> float:
        """Return the mean over the splits; NaN without splits."""
        values = self._values(which)
        return float(values.mean()) if len(values) else float("nan")

    def interval(
        self, which: str = "fitted", level: float = 0.95
    ) -> tuple[float, float]:
        """Return the interval described in ``METHOD``; NaN below two splits."""
        values = self._values(which)
        n = len(values)
        if n < 2:
            return float("nan"), float("nan")
        spread = float(values.std(ddof=1)) * np.sqrt(1 / n + 1)
        reach = float(stats.t.ppf((1 + level) / 2, n - 1)) * spread
        mean = float(values.mean())
        low, high = mean - reach, mean + reach
        return (low, high) if which == "gain" else (max(low, 0.0), min(high, 1.0))

    def _values(self, which: str) -> npt.NDArray[np.float64]:
        if which == "gain":
            gain: npt.NDArray[np.float64] = self.fitted - self.rival
            return gain
        return self.fitted if which == "fitted" else self.rival


def check_splits(splits: object, seed: object) -> None:
    """Refuse a number of half-splits or a seed that makes no sense.

    The upper end is a choice of ours: a thousand times what is usual.
    """
    check_number("the number of half-splits", splits, least=0, most=10_000, whole=True)
    check_seed(seed)


def half_splits(fitter: Fitter, *, splits: int, seed: int) -> HeldOut:
    """Fit to a random half of the persons and judge on the other half, often.

    Splits come in pairs: each half trains once and is held out once. All draws
    of a person are on the same side.

    Parameters
    ----------
    fitter : Fitter
        The task.
    splits : int
        How many fits to make; 0 for none.
    seed : int
        Of the random halves.
    """
    bodies = fitter.bodies
    rng = np.random.default_rng(seed)
    n = bodies.persons
    if n < 2 or splits < 1:
        return HeldOut(np.empty(0), np.empty(0), 0)
    shares = []
    half = np.zeros(n, dtype=bool)
    for split in range(splits):
        if split % 2 == 0:
            half = np.zeros(n, dtype=bool)
            half[rng.permutation(n)[: n // 2]] = True
        else:
            half = ~half
        train = half[bodies.person]
        weight = np.where(train, bodies.weight, 0.0)
        try:
            charts = (fitter.fit(weight), fitter.rival(weight))
        except SizingError:
            # Half of the people may not meet constraints that all of them do;
            # the splits that remain are counted in the table.
            continue
        shares.append([fitter.value(chart, ~train) for chart in charts])
    fitted, other = np.array(shares).reshape(-1, 2).T
    return HeldOut(fitted, other, n - n // 2)
