"""How other people change a stock's service, where it can be worked out by hand."""

import pandas as pd
import pytest

from sizing.people import people_from
from sizing.stock import Served, Use, offer_from
from sizing.stock.days import draw_days, group_from, people_variance

from .cases import tall_and_short


def some(fitted, not_fitted):
    """Return people of whom so many fit a size and so many do not."""
    return people_from(
        pd.DataFrame({"stature_cm": [150.0] * fitted + [199.0] * not_fitted})
    )


def variances(served, use=None, days=20_000):
    offer = offer_from(tall_and_short())
    groups = [group_from(one, offer) for one in served]
    drawn = draw_days(groups, use or Use(), sizes=2, days=days, seed=(6, 0))
    nobody_fitted = drawn.needs[:, 0].astype(float)
    return people_variance(groups, drawn, [nobody_fitted, 2 * nobody_fitted])


def of_share(count, n, p):
    """Return the variance of a mean number, of people drawn from so many."""
    return count**2 * p * (1 - p) / (n - 1)


@pytest.mark.parametrize("number", ["fixed", "poisson"])
def test_the_number_whom_nothing_fits_varies_with_the_share_in_the_sample(number):
    """Twelve times the share of one sample, whose variance is known."""
    (one, twice) = variances([Served(some(60, 20), 12, number=number)])
    assert one[0] == pytest.approx(of_share(12, 80, 0.25), rel=0.1)
    assert twice[0] == pytest.approx(4 * one[0])
    assert one[1] == twice[1] == 79


@pytest.mark.parametrize("number", ["fixed", "poisson"])
def test_groups_add_up_as_samples_of_their_own_and_a_caseload_adds_nothing(number):
    first = Served(some(60, 20), 12, number=number)
    second = Served(some(20, 20), 5, number=number)
    ((both, df), _) = variances([first, second])
    want = of_share(12, 80, 0.25) + of_share(5, 40, 0.5)
    assert both == pytest.approx(want, rel=0.1) and df == 39
    ((listed, df), _) = variances([first, Served(some(3, 2))])
    assert listed == pytest.approx(of_share(12, 80, 0.25), rel=0.1) and df == 79
    ((absent, df), _) = variances([first, Served(some(1, 1), 0)])
    assert absent == pytest.approx(of_share(12, 80, 0.25), rel=0.1) and df == 79


def test_two_slings_for_each_client_count_twice():
    use = Use(each=2)
    ((one, _), _) = variances([Served(some(60, 20), 12, number="poisson")])
    ((two, _), _) = variances([Served(some(60, 20), 12, number="poisson")], use)
    assert two == pytest.approx(4 * one, rel=0.1)


def test_people_of_whom_all_are_alike_leave_no_doubt():
    ((none, _), _) = variances([Served(some(40, 0), 12, number="poisson")], days=200)
    assert none == pytest.approx(0, abs=1e-12)
