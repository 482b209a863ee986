"""Coverage against band width and number of sizes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.bands.axis import WIDEST, check_widths
from sizing.bands.fitter import Fitter
from sizing.bands.result import check_splits, half_splits
from sizing.errors import check_number
from sizing.people.people import People


def frontier(
    people: People,
    *,
    widths: Mapping[str, float],
    sizes: Iterable[int] = (2, 3, 4, 5),
    scales: Sequence[float] = (0.6, 0.8, 1.0, 1.2, 1.4),
    splits: int = 4,
    seed: int = 1,
    **settings: Any,
) -> pd.DataFrame:
    """Tell the best coverage for each number of sizes and each band width.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to float
        The widths that a scale of 1 stands for; all are scaled together.
    sizes : iterable of int
        Numbers of sizes.
    scales : sequence of float
        What the widths are multiplied by.
    splits, seed : int
        Half-splits for the held-out figures.
    **settings
        Constraints as in ``fit_bands``.

    Returns
    -------
    DataFrame
        One row per number of sizes and scale: sizes, scale, ``<measure>_width``
        for each measure (in its unit), estimate (the best share of the people
        given), held_out, low, high (mean share of held-out persons, with its
        95 % interval), method, n.

    Raises
    ------
    SizingError
        As ``fit_bands``, or if a scale is not positive.
    """

    check_splits(splits, seed)
    rows = []
    for count in sizes:
        for scale in scales:
            wide = _scaled(widths, scale)
            fitter = Fitter.of(people, widths=wide, sizes=count, **settings)
            held = half_splits(fitter, splits=splits, seed=seed)
            low, high = held.interval()
            rows.append(
                {
                    "sizes": count,
                    "scale": scale,
                    **{f"{measure}_width": width for measure, width in wide.items()},
                    "estimate": fitter.value(fitter.fit()),
                    "held_out": held.mean(),
                    "low": low,
                    "high": high,
                    "method": f"exact optimum; {splits} half-splits by person",
                    "n": people.n,
                }
            )
    return pd.DataFrame(rows)


def width_needed(
    people: People,
    *,
    widths: Mapping[str, float],
    sizes: Iterable[int] = (2, 3, 4, 5),
    targets: Sequence[float] = (0.90, 0.95, 0.99),
    most: float = 4.0,
    **settings: Any,
) -> pd.DataFrame:
    """Tell how wide the bands must be for the best chart to reach a coverage.

    All widths are scaled together. The answer is found to 0.1 (cm, or kg) of
    the first measure's width; coverage never falls as widths grow, so halving
    the range finds it.

    Parameters
    ----------
    people, widths, sizes, **settings
        See ``frontier``.
    targets : sequence of float
        Shares to reach, of the people given.
    most : float
        Largest scale tried.

    Returns
    -------
    DataFrame
        One row per number of sizes and target: sizes, target, scale,
        ``<measure>_width`` (NaN where ``most`` does not suffice), estimate
        (the share reached), method, n.
    """
    targets = list(targets)
    for target in targets:
        check_number("the target", target, above=0, most=1)
    check_number("the largest scale", most, above=0)
    sizes = list(sizes)
    for count in sizes:
        check_widths(widths, count)
    first = next(iter(widths.values()))
    # Bands wider than ``WIDEST`` are tried no more than they can be asked for.
    widest = WIDEST / max(widths.values())
    largest = int(min(np.ceil(most * first * 10), widest * first * 10))
    rows = []
    for count in sizes:
        share = _BestShares(people, widths, {"sizes": count, **settings}).of
        for target in targets:
            low, high = 0, largest
            reached = share(high) >= target - 1e-12
            while reached and high - low > 1:
                middle = (low + high) // 2
                if share(middle) >= target - 1e-12:
                    high = middle
                else:
                    low = middle
            scale = high / (10 * first) if reached else float("nan")
            wide = {m: scale * w for m, w in widths.items()}
            rows.append(
                {
                    "sizes": count,
                    "target": target,
                    "scale": scale,
                    **{f"{measure}_width": width for measure, width in wide.items()},
                    "estimate": share(high),
                    "method": "exact optimum, people given",
                    "n": people.n,
                }
            )
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class _BestShares:
    """The best share by the first measure's width in tenths, each found once."""

    people: People
    widths: Mapping[str, float]
    settings: Mapping[str, Any]
    known: dict[int, float] = field(default_factory=dict)

    def of(self, width: int) -> float:
        if width not in self.known:
            scale = width / (10 * next(iter(self.widths.values())))
            wide = _scaled(self.widths, scale)
            fitter = Fitter.of(self.people, widths=wide, **self.settings)
            self.known[width] = fitter.value(fitter.fit())
        return self.known[width]


def _scaled(widths: Mapping[str, float], scale: float) -> dict[str, float]:
    check_number("the scale", scale, above=0)
    return {
        measure: max(round(width * scale, 6), 0.1) for measure, width in widths.items()
    }
