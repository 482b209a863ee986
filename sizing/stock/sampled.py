"""How unsure a stock's service is because the people behind it are a sample."""

from collections.abc import Sequence

import numpy as np

from sizing.people.layout import layout
from sizing.stats.joining import complete_df, join_influences
from sizing.stats.layout import Floats
from sizing.stock.days import Days, Group


def people_variance(
    groups: Sequence[Group], days: Days, values: Sequence[Floats]
) -> list[tuple[float, float]]:
    """Return the variance that the people's sampling adds to means over days.

    Notes
    -----
    Clients are drawn from the people by weight, so a mean is a function of the
    shares of people who fit each set of sizes. One more client of a group with
    set m moves it by ``Cov(values, clients of m) / mean clients of m``, clients of
    that group alone (the score of a Poisson number or, but for a constant, of a
    multinomial one), which the drawn days tell; a person's influence is that of
    her set, times her group's clients a day. Its variance is that of a weighted
    mean of the people, by their design, draws joined as ``coverage`` joins them.
    Groups count as independent samples; df is the least of theirs, which errs on
    the wide side.
    """
    variance = np.zeros(len(values))
    df = np.full(len(values), np.inf)
    # Without groups the people are taken as given.
    for group, clients in zip(groups, days.by_group, strict=False):
        mean = clients.mean(axis=0)
        present = float(mean.sum())
        if group.served.count is None or not present:
            continue
        place = layout(group.served.people)
        share = place.weight / place.weight.sum()
        found = np.minimum(np.searchsorted(days.masks, group.masks), len(mean) - 1)
        known = (days.masks[found] == group.masks) & (mean[found] > 0)
        masks = found[place.rows]
        each = np.divide(present, mean[found], out=np.zeros(len(found)), where=known)
        each = each[place.rows]
        # Days are few, so each covariance is uncertain itself; what that adds to
        # the squares on average is taken off. Draws of one set err together.
        alike = (masks[:, None] == masks[None]).sum(axis=1) / place.draws
        noise = each * (1.0 if place.model is None else alike)
        noise = noise.mean(axis=0) @ np.square(share) * present
        for i, value in enumerate(values):
            covariance = (value - value.mean()) @ clients / days.number
            effect = covariance[masks] * each
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
