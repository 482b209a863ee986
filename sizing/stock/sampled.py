"""How unsure a stock's service is because the people behind it are a sample."""

from collections.abc import Sequence

import numpy as np

from sizing.coverage.shares import Floats, influence_variance, join_draws, layout
from sizing.stock.days import Days, Group


def people_variance(
    groups: Sequence[Group], days: Days, values: Floats
) -> tuple[float, float]:
    """Return the variance that the people's sampling adds to a mean over days.

    Parameters
    ----------
    groups : sequence of Group
    days : Days
    values : ndarray of float, shape (days,)
        What is averaged, such as whether nobody waits.

    Returns
    -------
    variance, df : float
        0 and infinity where every group is a caseload: those are the clients
        themselves, not a sample of them.

    Notes
    -----
    Clients are drawn from the people by weight, so the mean is a function of the
    shares of people who fit each set of sizes. One more client with set m moves
    it by ``Cov(values, needs of m) / mean needs of m`` (the score of a Poisson
    number), which the drawn days tell; a person's influence is that of her set,
    times her group's needs a day. Its variance is that of a weighted mean of the
    people, by their design, draws joined by Rubin's rules. Groups count as
    independent samples.
    """
    mean = days.needs.mean(axis=0)
    covariance = (values - values.mean()) @ days.needs / days.number
    each = np.where(mean > 0, covariance / np.where(mean > 0, mean, 1), 0.0)
    # Days are few, so that each covariance is uncertain itself: what that adds
    # to the squares on average is taken off below.
    noise = np.where(mean > 0, values.var() / np.where(mean > 0, mean, 1), 0.0)
    noise = noise / days.number
    variance, dfs = 0.0, []
    for group, needs in zip(groups, days.by_group.sum(axis=1), strict=True):
        if group.served.count is None or not needs:
            continue
        a_day = needs / days.number
        place = layout(group.served.people)
        found = np.minimum(np.searchsorted(days.masks, group.masks), len(mean) - 1)
        known = days.masks[found] == group.masks
        effect = np.where(known, each[found], 0.0)[place.rows] * a_day
        share = place.weight / place.weight.sum()
        centre = effect @ share
        own, complete = influence_variance(place, share * (effect - centre[:, None]))
        extra = np.where(known, noise[found], 0.0)[place.rows] * a_day**2
        own = np.maximum(own - (extra @ np.square(share)), 0.0)
        _, total, df = join_draws(centre, own, complete)
        variance += float(total)
        dfs.append(float(df))
    return variance, min(dfs, default=np.inf)
