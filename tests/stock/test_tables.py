"""What is told of a stock: against plain counts, other draws, and jackknives."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from sizing.people import People, people_from
from sizing.stock import Served, Use, offer_from, tables
from sizing.stock.cheapest import least_cost
from sizing.stock.days import draw_days, group_from, people_variance
from sizing.stock.programme import programme_from
from sizing.stock.service import Needs

from .cases import drawn, people_of, tall_and_short


def test_the_interval_holds_the_service_on_fresh_days(people):
    offer = offer_from(tall_and_short())
    use = Use(out={"laundry": (1, 10)})
    group = group_from(Served(people, 12), offer)
    planning = draw_days([group], use, sizes=2, days=300, seed=(5, 0))
    programme = programme_from(offer, planning, 0)
    stock = programme.stock(least_cost(programme, 0.9).packs)

    def judged(days, seed):
        drawn = draw_days([group], use, sizes=2, days=days, seed=(5, seed))
        return tables.service(tables.Check(drawn, offer, 0), stock).iloc[0]

    truth = judged(100_000, 1)["estimate"]
    rows = [judged(400, 2 + i) for i in range(300)]
    held = np.mean([row["low"] <= truth <= row["high"] for row in rows])
    assert 0.93 <= held <= 0.97


def test_other_people_of_the_same_kind_widen_the_interval(people):
    """Against drawing the people themselves anew and serving them."""
    offer = offer_from(tall_and_short())
    stock = np.array([28, 38])

    def judged(who, days, seed):
        _, group, some = drawn(Served(who, 60), days=days, seed=(8, seed))
        return group, tables.Check(some, offer, 0)

    group, check = judged(people, 20_000, 0)
    value = (check.shortage(stock).waiting == 0).astype(float)
    ((variance, df),) = people_variance([group], check.days, [value])
    rng = np.random.default_rng(3)
    found, met, others = [], [], []
    for seed in range(100):
        chosen = rng.integers(0, people.n, people.n)
        other = people_from(people.frame.iloc[chosen].drop(columns=["person", "draw"]))
        _, again = judged(other, 2000, seed + 1)
        waiting = again.shortage(stock).waiting
        found.append((waiting == 0).mean())
        met.append(1 - waiting.sum() / again.needed.sum())
        others.append(again.days.needs[:, 0].mean())
    of_days = np.mean([share * (1 - share) / 2000 for share in found])
    want = np.var(found, ddof=1) - of_days
    assert np.sqrt(variance) == pytest.approx(np.sqrt(want), rel=0.2)
    assert df == pytest.approx(people.n - 1)
    told = [
        tables.service(check, stock, groups).set_index("measure")
        for groups in ([], [group])
    ]
    width = [table["high"] - table["low"] for table in told]
    assert width[1]["nobody_waits"] > 3 * width[0]["nobody_waits"]
    # The others: the same, from what each such sample gives.
    want = {
        "nobody_waits": np.std(found, ddof=1),
        "needs_met": np.std(met, ddof=1),
        "not_fitted_share": np.std(others, ddof=1) / 60,
    }
    for measure, error in want.items():
        # A share that ends at nothing has its upper half whole.
        upper = (told[1]["high"] - told[1]["estimate"])[measure]
        half = upper if measure == "not_fitted_share" else width[1][measure] / 2
        assert half / 1.96 == pytest.approx(error, rel=0.25), measure
    # One home differs by its days and by its people, whose squares add up.
    row, plain = (table.loc["not_fitted"] for table in told[::-1])
    reach = np.hypot(plain["high"] - plain["estimate"], 1.645 * np.std(others, ddof=1))
    assert row["high"] - row["estimate"] == pytest.approx(reach, rel=0.1)
    kinds = {"nobody_waits": "95 % score interval"}
    kinds |= dict.fromkeys(["needs_met", "not_fitted_share"], "95 % t interval")
    for measure, method in told[1]["method"].items():
        kind = kinds.get(measure, "90 % range")
        assert method == f"{kind} over drawn days and sampled people"
    assert (told[1]["estimate"] == told[0]["estimate"]).all()


def test_draws_that_agree_tell_no_more_of_other_people(people):
    one = people.frame.drop(columns="body_mass_kg")
    offer = offer_from(tall_and_short())

    def variance(draws):
        frame = pd.concat([one.assign(draw=i) for i in range(draws)], ignore_index=True)
        evidence = pd.DataFrame("measured", index=frame.index, columns=["stature_cm"])
        drawn = People("drawn", frame, pd.Series(np.ones(len(frame))), evidence)
        group = group_from(Served(drawn, 60), offer)
        days = draw_days([group], Use(), sizes=2, days=4000, seed=(8, 0))
        check = tables.Check(days, offer, 0)
        value = (check.shortage(np.array([28, 38])).waiting == 0).astype(float)
        return people_variance([group], days, [value])[0][0]

    assert variance(3) == pytest.approx(variance(1), rel=0.25)


def test_one_sling_more_or_less_against_judging_that_stock(people):
    """With no sling out of use the same days say exactly what it does."""
    offer, _, days = drawn(Served(people, 20), days=600)
    check = tables.Check(days, offer, spares=1)
    stock = np.array([10, 11])
    found = tables.one_more_or_less(check, offer, stock).set_index(["key", "change"])
    short = tables.shortages(check, offer, stock).set_index("key")["estimate"]
    before = check.shortage(stock).waiting
    for size, key in enumerate(offer.keys):
        for change in (1, -1):
            after = check.shortage(stock + change * np.eye(2, dtype=int)[size]).waiting
            row = found.loc[(key, change)]
            assert row["estimate"] == pytest.approx((after - before).mean())
            assert row["nobody_waits_change"] == pytest.approx(
                (after == 0).mean() - (before == 0).mean()
            )
            if change == 1:
                assert short[key] == pytest.approx((before - after).mean())
    assert found["estimate"].abs().min() > 0.01
    # Of a size that is nothing but a spare none can be taken away.
    few = tables.one_more_or_less(check, offer, np.array([1, 11]))
    assert few["change"].tolist() == [1, 1, -1]


def test_one_sling_more_or_less_where_some_are_out(people):
    """A sling in seven is out: against judging many days with that stock."""
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    use = Use(out={"laundry": (1, 7)})
    stock = np.array([10, 13])

    def waiting(stock):
        days = draw_days([group], use, sizes=2, days=20_000, seed=(1, 1))
        return tables.Check(days, offer, 0).shortage(stock).waiting.mean()

    days = draw_days([group], use, sizes=2, days=20_000, seed=(1, 2))
    table = tables.one_more_or_less(tables.Check(days, offer, 0), offer, stock)
    for row in table.itertuples():
        step = row.change * np.eye(2, dtype=int)[offer.keys.index(row.key)]
        want = waiting(stock + step) - waiting(stock)
        assert row.estimate == pytest.approx(want, abs=0.02)
        assert abs(want) > 0.05


def test_demand_against_a_count_of_the_days(people):
    offer, _, days = drawn(Served(people, 20), days=500)
    told = tables.demand(tables.Check(days, offer, 0), offer)
    told = told.set_index(["key", "share"])
    for key, size in (("short", 1), ("tall", 2)):
        only = days.needs[:, days.masks == size].sum(axis=1)
        both = days.needs[:, days.masks == 3].sum(axis=1)
        for share, number in (("fits", only + both), ("only", only)):
            row = told.loc[(key, share)]
            ends = np.quantile(number, [0.05, 0.95])
            assert row["estimate"] == pytest.approx(number.mean())
            assert row[["low", "high", "n"]].tolist() == [*ends, 500]


def test_a_ratio_over_days_against_a_mean_and_a_jackknife(rng):
    part, whole = rng.poisson(8, 300), rng.poisson(3, 300) + 10
    row = tables.ratio_row(part, whole)
    assert row["estimate"] == pytest.approx(part.sum() / whole.sum())
    left_out = (part.sum() - part) / (whole.sum() - whole)
    sd = np.sqrt(299**2 / 300 * left_out.var())
    half = stats.t.ppf(0.975, 299) * sd
    assert row["high"] - row["estimate"] == pytest.approx(half, rel=0.01)
    assert row["estimate"] - row["low"] == pytest.approx(half, rel=0.01)
    even = tables.ratio_row(part, np.full(300, 16))
    mean = tables.mean_row(part / 16)
    for end in ("estimate", "low", "high", "n"):
        assert even[end] == pytest.approx(mean[end])
    # Nothing needed: all of it is met.
    nothing = tables.ratio_row(np.zeros(5), np.zeros(5))
    assert [nothing[k] for k in ("estimate", "low", "high", "n")] == [1, 1, 1, 0]


def not_fitted(served):
    offer = offer_from(tall_and_short())
    return tables.not_fitted([group_from(served, offer)], offer)


def test_a_client_whose_draws_differ_is_not_fitted_on_some_days():
    """Two of her three draws fit no size: on two days in three, so 0 or 1."""
    rows = {"person": [1, 1, 1, 2, 2, 2], "draw": [0, 1, 2] * 2}
    frame = pd.DataFrame(rows | {"stature_cm": [160.0, 195, 196, 199, 199, 199]})
    said = pd.DataFrame("predicted", index=frame.index, columns=["stature_cm"])
    own = People("own", frame, pd.Series(np.ones(6)), said)
    told = not_fitted(Served(own)).set_index("client")
    assert told.loc[1, "estimate"] == pytest.approx(2 / 3)
    assert told.loc[1, ["low", "high"]].tolist() == [0, 1]
    assert told.loc[2, ["estimate", "low", "high"]].tolist() == [1, 1, 1]


def test_who_is_not_fitted_is_described_by_those_who_count():
    """The only hip known is of someone with no weight: nothing is said of hips."""
    hips = [np.nan, 90.0, np.nan, 100.0]
    frame = people_of(199.0, 199.0, 197.0, 160.0, hip_circumference_cm=hips).frame
    some = people_from(frame, weight=np.array([1.0, 0.0, 2.0, 1.0]))
    (row,) = not_fitted(Served(some, 8)).to_dict("records")
    assert np.isnan(row["hip_circumference_cm"])
    # Weights 1 and 2: the middle of the three is the shorter.
    assert (row["stature_cm"], row["miss_median"], row["miss_p90"]) == (197, 7, 9)
    law = stats.binom(8, 3 / 4)
    assert row["estimate"] == pytest.approx(law.mean())
    assert (row["low"], row["high"]) == law.interval(0.9)


def test_the_service_is_counted_day_by_day(people):
    """Without sampled people: shares by Wilson, numbers with nine days of ten."""
    offer, _, days = drawn(Served(people, 20), days=300)
    check = tables.Check(days, offer, spares=1)
    told = tables.service(check, np.array([11, 13])).set_index("measure")
    waiting = Needs(days.needs[:, 1:], days.masks[1:], 2).shortage([10, 12]).waiting
    needed = days.needs[:, 1:].sum(axis=1)
    low, high = proportion_confint((waiting == 0).sum(), 300, method="wilson")
    row = told.loc["nobody_waits"]
    assert row["estimate"] == (waiting == 0).mean() and 0.2 < row["estimate"] < 0.95
    assert (row["low"], row["high"]) == pytest.approx((low, high))
    bare = Needs(days.needs[:, 1:], days.masks[1:], 2).shortage([2, 0]).waiting
    told = tables.service(check, np.array([11, 13]), owned=np.array([3, 1]))
    told = told.set_index("measure")
    unfit = days.needs[:, 0]
    for measure, values in (
        ("waiting", waiting),
        ("not_fitted", unfit),
        ("known_need", bare),
    ):
        row = told.loc[measure]
        assert row["estimate"] == values.mean()
        ends = np.quantile(values, [0.05, 0.95])
        assert (row["low"], row["high"]) == pytest.approx(ends)
    assert told.loc["not_fitted_share", "estimate"] == unfit.mean() / 20
    met = tables.ratio_row(needed - waiting, needed)
    for name in ("estimate", "low", "high"):
        assert told.loc["needs_met", name] == pytest.approx(met[name])
    assert told["n"].eq(300).all()
    assert list(told.index) == list(tables.SERVICE)


def test_intervals_end_where_shares_and_numbers_do(people):
    """One day in forty somebody waits: below nothing and above all is not said."""
    offer, group, days = drawn(Served(people, 20), days=40)
    check = tables.Check(days, offer, 0)
    for stock in ([15, 14], [40, 40]):
        told = tables.service(check, np.array(stock), [group]).set_index("measure")
        bare = tables.mean_row(check.shortage(np.array(stock)).waiting)
        assert (told["low"] >= 0).all()
        assert (told.loc[["nobody_waits", "needs_met"], "high"] <= 1).all()
        assert told.loc["waiting", "high"] >= bare["high"] > -1
    assert told.loc["nobody_waits", "estimate"] == 1 == told.loc["needs_met", "low"]


def test_whom_nothing_fits_is_told_by_kind_the_most_frequent_first():
    """Two are too tall and one is too short; of thirty clients twenty are too tall."""
    some = people_of(199.0, 120.0, 195.0)
    told = not_fitted(Served(some, 30))
    assert told["outcome"].tolist() == ["beyond_largest", "below_smallest"]
    assert told["estimate"].tolist() == pytest.approx([20, 10])
    assert told["n"].tolist() == [2, 1] and told["client"].isna().all()
    law = stats.binom(30, 2 / 3)
    assert told.loc[0, ["low", "high"]].tolist() == list(law.interval(0.9))
    # Between the two, as of every median here.
    assert told["miss_median"].tolist() == [7, 20]
    assert told["miss_p90"].tolist() == [9, 20]
    varied = not_fitted(Served(some, 30, number="poisson"))
    ends = stats.poisson.interval(0.9, 20)
    assert varied.loc[0, ["low", "high"]].tolist() == list(ends)
    # Where everybody is fitted the table is there, and empty.
    none = not_fitted(Served(people_of(160.0), 3))
    assert none.empty and list(none) == list(told)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1), st.floats(-12, 12))
@example(1, -1.2e-38)
def test_tilted_weights_are_the_nearest_with_that_mean(seed, shift):
    """Exponential in the value, which least relative entropy asks for."""
    rng = np.random.default_rng(seed)
    w, x = rng.uniform(0.2, 2, 40), rng.normal(70, 12, 40)
    x[3] = np.nan
    known = np.isfinite(x)
    new = tables.tilted(w, x, shift)
    before = np.average(x[known], weights=w[known])
    after = np.average(x[known], weights=new[known])
    spread = x[known].std()
    end = x[known].max() if shift > 0 else x[known].min()
    # No further than nine tenths of the way that is left to the extreme.
    if abs(shift) < 0.8 * abs(end - before):
        assert after == pytest.approx(before + shift, abs=1e-6)
    slope = np.polyfit(x[known], np.log(new[known] / w[known]), 1, full=True)
    assert slope[1] < 1e-12 * max(1.0, spread)
    assert slope[0][0] * shift >= 0 or abs(shift) < 1e-9


# How other people change a stock's service, where it can be worked out by hand


def some(fitted, not_fitted):
    """Return people of whom so many fit a size and so many do not."""
    return people_from(
        pd.DataFrame({"stature_cm": [150.0] * fitted + [199.0] * not_fitted})
    )


def variances(served, use=None, days=20_000):
    offer = offer_from(tall_and_short())
    groups = [group_from(one, offer) for one in served]
    drawn = draw_days(groups, use or Use(), sizes=2, days=days, seed=(6, 0))
    return people_variance(groups, drawn, [drawn.needs[:, 0].astype(float)])[0]


def of_share(count, n, p):
    """Return the variance of a mean number, of people drawn from so many."""
    return count**2 * p * (1 - p) / (n - 1)


@pytest.mark.parametrize("number", ["fixed", "poisson"])
def test_groups_add_up_as_samples_of_their_own_and_a_caseload_adds_nothing(number):
    first = Served(some(60, 20), 12, number=number)
    second = Served(some(20, 20), 5, number=number)
    both, df = variances([first, second])
    want = of_share(12, 80, 0.25) + of_share(5, 40, 0.5)
    assert both == pytest.approx(want, rel=0.1) and df == 39
    listed, df = variances([first, Served(some(3, 2))])
    assert listed == pytest.approx(of_share(12, 80, 0.25), rel=0.1) and df == 79
    absent, df = variances([first, Served(some(1, 1), 0)])
    assert absent == pytest.approx(of_share(12, 80, 0.25), rel=0.1) and df == 79


def test_two_slings_for_each_client_count_twice_and_people_alike_leave_no_doubt():
    one, _ = variances([Served(some(60, 20), 12, number="poisson")])
    two, _ = variances([Served(some(60, 20), 12, number="poisson")], Use(each=2))
    assert two == pytest.approx(4 * one, rel=0.1)
    none, _ = variances([Served(some(40, 0), 12, number="poisson")], days=200)
    assert none == pytest.approx(0, abs=1e-12)
