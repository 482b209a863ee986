"""How many sizes belong in each group."""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding.counts import Floats
from sizing.banding.fitter import Fitter
from sizing.banding.groups import by_group, check_groups, group_of, widths_of
from sizing.banding.settings import check_request
from sizing.chart.size_chart import GROUPS
from sizing.errors import Problem, SizingError
from sizing.population.people import People


def split_sizes(
    people: People | Mapping[str, People],
    *,
    widths: Mapping[str, Any],
    sizes: Iterable[int] = range(3, 13),
    load_limits_kg: Mapping[str, float] | None = None,
    adult_age: float = 18.0,
    bmi_threshold: float = 40.0,
    **settings: Any,
) -> pd.DataFrame:
    """Share N sizes out over the groups so that most people are covered.

    Every group's best chart is fitted for each number of sizes; the split that
    covers the largest weight of all groups' people, each judged on the own
    group's sizes, is found by trying every split.

    Parameters
    ----------
    people, widths, load_limits_kg, adult_age, bmi_threshold
        See ``fit_groups``. Groups given apart must not overlap: their weights
        are added up.
    sizes : iterable of int
        The numbers N to share out.
    **settings
        Constraints and goal as in ``fit_bands``.

    Returns
    -------
    DataFrame
        One row per N: sizes; one column per group with its number of sizes;
        estimate (share of all people covered under the best split); equal
        (share under N/3 in each group, where N can be so divided) and
        loss_of_equal (what that loses). Shares are of the people given, not
        held out. Of equally good splits, the one with most sizes for the
        earlier group.

    Raises
    ------
    SizingError
        As ``fit_bands``.
    """
    numbers = sorted({int(n) for n in sizes})
    if isinstance(people, People):
        groups = group_of(people, adult_age=adult_age, bmi_threshold=bmi_threshold)
        people = by_group(people, groups)
    check_groups(people, "people")
    names = [g for g in GROUPS if g in people]
    if not numbers or numbers[0] < 1:
        raise SizingError(
            str(Problem("no number of sizes to share out", "numbers from 1 up"))
        )
    weights = {g: float(people[g].weight.sum() / people[g].draws) for g in names}
    whole = sum(weights.values())
    gain = {}
    for group in names:
        reached = [0.0]
        for count in range(1, numbers[-1] + 1):
            request = check_request(
                people[group],
                widths=widths_of(widths, group),
                sizes=count,
                load_limit_kg=(load_limits_kg or {}).get(group),
                **settings,
            )
            fitter = Fitter(request)
            value = max(fitter.value(fitter.fit()), reached[-1])
            reached.append(value)
        gain[group] = np.array(reached) * weights[group] / whole
    rows = []
    for number in numbers:
        best = max(
            _splits(number, len(names)),
            key=lambda split: (round(_total(gain, names, split), 12), split),
        )
        row: dict[str, Any] = {"sizes": number, **dict(zip(names, best, strict=True))}
        row["estimate"] = _total(gain, names, best)
        equal = float("nan")
        if number % len(names) == 0:
            even = (number // len(names),) * len(names)
            equal = _total(gain, names, even)
        row["equal"], row["loss_of_equal"] = equal, row["estimate"] - equal
        rows.append(row)
    return pd.DataFrame(rows)


def _splits(number: int, groups: int) -> Iterable[tuple[int, ...]]:
    if groups == 1:
        yield (number,)
        return
    for first in range(number + 1):
        for rest in _splits(number - first, groups - 1):
            yield (first, *rest)


def _total(gain: Mapping[str, Floats], names: list[str], split: Any) -> float:
    return float(sum(gain[g][k] for g, k in zip(names, split, strict=True)))
