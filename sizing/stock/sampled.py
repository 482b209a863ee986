"""How unsure a stock's service is because the people behind it are a sample."""

from collections.abc import Sequence

import numpy as np

from sizing.coverage.joining import complete_df, join_influences
from sizing.coverage.layout import Floats, layout
from sizing.stock.days import Days, Group


def people_variance(
    groups: Sequence[Group], days: Days, values: Sequence[Floats]
) -> list[tuple[float, float]]:
    """Return the variance that the people's sampling adds to means over days.

    Parameters
    ----------
    groups : sequence of Group
        Those the days were drawn from; none if the people are taken as given.
    days : Days
    values : sequence of ndarray of float, each (days,)
        What is averaged, such as whether nobody waits.

    Returns
    -------
    list of (variance, df)
        For each of ``values``; variance 0 where every group is a caseload: those
        are the clients themselves, not a sample of them.

    Notes
    -----
    Clients are drawn from the people by weight, so a mean is a function of the
    shares of people who fit each set of sizes. One more client with set m moves
    it by ``Cov(values, needs of m) / mean needs of m`` (the score of a Poisson
    number), which the drawn days tell; a person's influence is that of her set,
    times her group's needs a day. Its variance is that of a weighted mean of the
    people, by their design, draws joined as ``coverage`` joins them. Groups count
    as independent samples; df is the least of theirs, which errs on the wide side.
    """
    variance = np.zeros(len(values))
    df = np.full(len(values), np.inf)
    mean = days.needs.mean(axis=0)
    per_need = np.divide(1.0, mean, out=np.zeros_like(mean), where=mean > 0)
    needs_of = days.by_group.sum(axis=1) / days.number
    for place_of_group, group in enumerate(groups):
        if group.served.count is None or not needs_of[place_of_group]:
            continue
        place = layout(group.served.people)
        share = place.weight / place.weight.sum()
        found = np.minimum(np.searchsorted(days.masks, group.masks), len(mean) - 1)
        known = days.masks[found] == group.masks
        masks = found[place.rows]
        each_need = np.where(known, per_need[found], 0.0)[place.rows]
        each_need *= needs_of[place_of_group]
        # Days are few, so each covariance is uncertain itself; what that adds to
        # the squares on average is taken off. Draws of one set err together.
        alike = (masks[:, None] == masks[None]).sum(axis=1) / place.draws
        noise = each_need * (alike if place.outside else 1.0)
        noise = noise.mean(axis=0) @ np.square(share) * needs_of[place_of_group]
        for i, value in enumerate(values):
            covariance = (value - value.mean()) @ days.needs / days.number
            effect = covariance[masks] * each_need
            centre = effect @ share
            _, total, degrees = join_influences(
                place,
                centre,
                share * (effect - centre[:, None]),
                complete_df(place),
            )
            variance[i] += max(float(total) - value.var() / days.number * noise, 0.0)
            df[i] = min(df[i], float(degrees))
    return list(zip(variance.tolist(), df.tolist(), strict=True))
