"""The plan as a whole: service on fresh days, refusals, files and the form."""

import argparse
import json
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sizing.chart import chart_from, demo_chart
from sizing.cli import stock as command
from sizing.cli.stock import as_json
from sizing.errors import InputProblems, SizingError
from sizing.population import People, load_people, people_from, read_caseload
from sizing.report.stock import stock_page, write_order
from sizing.stock import (
    Served,
    Use,
    demo_scenario,
    offer_from,
    plan_stock,
    serves_from,
    service,
    tables,
)
from sizing.stock.days import draw_days, group_from
from sizing.stock.least_cost import least_cost
from sizing.stock.programme import Programme, programme_from
from sizing.stock.rivals import equal_numbers, like_last_year
from sizing.stock.sampled import people_variance
from sizing.stock.service import Needs


def tall_and_short(**columns):
    return chart_from(
        pd.DataFrame(
            {
                "size": ["short", "tall"],
                "stature_cm_low": [140, 165],
                "stature_cm_high": [170, 190],
                "price": [100.0, 120.0],
                **columns,
            }
        ),
        warn=False,
    )


@pytest.fixture(scope="module")
def people() -> People:
    rng = np.random.default_rng(7)
    return people_from(
        pd.DataFrame(
            {
                "stature_cm": rng.normal(167, 9, 400).round(1),
                "body_mass_kg": rng.normal(75, 15, 400).round(1),
                "age_years": rng.integers(20, 80, 400),
            }
        )
    )


@pytest.fixture(scope="module")
def demo_plan():
    serves, prices = demo_scenario()
    return plan_stock(serves, demo_chart(), prices=prices, scenarios=400)


def test_the_shipped_scenario_serves_ten_points_more_than_equal_numbers(demo_plan):
    row = demo_plan.comparison.set_index("strategy").loc["equal numbers"]
    assert row["cost"] <= demo_plan.cost
    assert row["low"] >= 0.10
    assert demo_plan.gap == 0


def test_the_plan_tells_everything_with_intervals(demo_plan):
    for name in ("service", "demand", "shortages", "not_fitted", "curve", "robustness"):
        table = getattr(demo_plan, name)
        assert {"estimate", "low", "high", "method", "n"} <= set(table.columns), name
        assert (table["low"] <= table["high"]).all(), name
        if name != "not_fitted":  # a range of counts, whose mean may lie above it
            assert (table["estimate"] <= table["high"] + 1e-9).all(), name
    told = demo_plan.service.set_index("measure")["estimate"]
    assert told["not_fitted"] == pytest.approx(
        demo_plan.not_fitted["estimate"].sum(), rel=0.03
    )
    assert (demo_plan.order["stock"] >= demo_plan.order["owned"]).all()
    curve = demo_plan.curve[~demo_plan.curve["plan"]].sort_values("target")
    assert curve["cost"].is_monotonic_increasing
    assert "does not choose a sling for a person" in demo_plan.summary()


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

    truth = judged(200_000, 1)["estimate"]
    rows = [judged(400, 2 + i) for i in range(400)]
    held = np.mean([row["low"] <= truth <= row["high"] for row in rows])
    assert 0.93 <= held <= 0.97


def test_other_people_of_the_same_kind_widen_the_interval(people):
    """Against drawing the people themselves anew and serving them."""
    offer = offer_from(tall_and_short())
    stock = np.array([28, 38])

    def judged(who, days, seed):
        group = group_from(Served(who, 60), offer)
        drawn = draw_days([group], Use(), sizes=2, days=days, seed=(8, seed))
        check = tables.Check(drawn, offer, 0)
        return group, check

    group, check = judged(people, 20_000, 0)
    value = (check.shortage(stock).waiting == 0).astype(float)
    ((variance, df),) = people_variance([group], check.days, [value])
    rng = np.random.default_rng(3)
    found, met = [], []
    for seed in range(150):
        chosen = rng.integers(0, people.n, people.n)
        other = people_from(people.frame.iloc[chosen].drop(columns=["person", "draw"]))
        _, again = judged(other, 2000, seed + 1)
        waiting = again.shortage(stock).waiting
        found.append((waiting == 0).mean())
        met.append(1 - waiting.sum() / again.needed.sum())
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
    # Needs met: the same, from the ratio that each such sample gives.
    half = width[1]["needs_met"] / 2 / stats.norm.ppf(0.975)
    assert half == pytest.approx(np.std(met, ddof=1), rel=0.25)


def test_drawing_people_alike_tells_no_more_of_other_people(people):
    """Draws that agree are one draw; draws of other sizes add the model's part."""
    one = people.frame.drop(columns="body_mass_kg")
    offer = offer_from(tall_and_short())

    def variance(*shifts):
        frames = [
            one.assign(draw=i, stature_cm=one["stature_cm"] + shift)
            for i, shift in enumerate(shifts)
        ]
        frame = pd.concat(frames, ignore_index=True)
        evidence = pd.DataFrame("predicted", index=frame.index, columns=["stature_cm"])
        weight = pd.Series(np.ones(len(frame)))
        drawn = People("drawn", frame, weight, evidence, outside_model=len(shifts) > 1)
        group = group_from(Served(drawn, 60), offer)
        days = draw_days([group], Use(), sizes=2, days=4000, seed=(8, 0))
        check = tables.Check(days, offer, 0)
        value = (check.shortage(np.array([28, 38])).waiting == 0).astype(float)
        return people_variance([group], days, [value])[0][0]

    assert variance(0, 0, 0) == pytest.approx(variance(0), rel=0.25)
    assert variance(-3, 0, 3) > 2 * variance(0)


def test_a_caseload_is_no_sample_and_says_so(people, demo_plan):
    few = people_from(people.frame.drop(columns=["person", "draw"]).head(30))
    listed = plan_stock(Served(few), tall_and_short(), target=0.9, scenarios=100)
    assert "other people" not in listed.answer()
    assert "and for other people sampled as these were" in demo_plan.answer()
    listed_group = group_from(Served(few), offer_from(tall_and_short()))
    days = draw_days([listed_group], Use(), sizes=2, days=50, seed=(1, 2))
    assert people_variance([listed_group], days, [np.arange(50.0)]) == [(0.0, np.inf)]


def test_a_plan_reaches_its_target_on_days_it_never_saw(people):
    plan = plan_stock(
        Served(people, 30), tall_and_short(), target=0.9, scenarios=300, seed=4
    )
    assert plan.service.iloc[0]["high"] >= 0.9


def test_slings_out_as_needs_agree_with_slings_out_one_by_one(people):
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    use = Use(out={"laundry": (1, 7)})
    days = draw_days([group], use, sizes=2, days=30_000, seed=(1, 1))
    programme = programme_from(offer, days, 0)
    check = tables.Check(days, offer, 0)
    for stock in ([9, 14], [12, 14], [14, 12]):
        stock = np.array(stock)
        as_needs = (programme.needs.shortage(stock).waiting == 0).mean()
        one_by_one = (check.shortage(stock).waiting == 0).mean()
        assert 0.05 < one_by_one < 0.999
        assert abs(as_needs - one_by_one) < 0.015


def test_one_sling_more_or_less_against_judging_that_stock(people):
    """With no sling out of use the same days say exactly what it does."""
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    days = draw_days([group], Use(), sizes=2, days=600, seed=(1, 1))
    check = tables.Check(days, offer, spares=1)
    stock = np.array([10, 12])
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
    few = tables.one_more_or_less(check, offer, np.array([1, 12]))
    assert few["change"].tolist() == [1, 1, -1]


def test_one_sling_more_or_less_where_some_are_out(people):
    """A sling in seven is out: against judging many days with that stock."""
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    use = Use(out={"laundry": (1, 7)})
    stock = np.array([10, 13])

    def waiting(stock):
        days = draw_days([group], use, sizes=2, days=40_000, seed=(1, 1))
        return tables.Check(days, offer, 0).shortage(stock).waiting.mean()

    days = draw_days([group], use, sizes=2, days=40_000, seed=(1, 2))
    table = tables.one_more_or_less(tables.Check(days, offer, 0), offer, stock)
    for row in table.itertuples():
        step = row.change * np.eye(2, dtype=int)[offer.keys.index(row.key)]
        want = waiting(stock + step) - waiting(stock)
        assert row.estimate == pytest.approx(want, abs=0.02)
        assert abs(want) > 0.05


def test_demand_against_a_count_of_the_days(people):
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    days = draw_days([group], Use(), sizes=2, days=500, seed=(1, 1))
    told = tables.demand(tables.Check(days, offer, 0), offer)
    told = told.set_index(["key", "share"])
    for size, key in enumerate(offer.keys):
        for share in ("fits", "only"):
            number = np.zeros(500)
            for mask, needs in zip(days.masks.tolist(), days.needs.T, strict=True):
                mine = [bit for bit in range(2) if mask >> bit & 1]
                if size in mine and (share == "fits" or mine == [size]):
                    number += needs
            row = told.loc[(key, share)]
            assert row["estimate"] == pytest.approx(number.mean())
            ends = np.quantile(number, [0.05, 0.95])
            assert row[["low", "high"]].tolist() == ends.tolist()
            assert row["n"] == 500


def test_other_people_are_those_said_and_the_same_people_are_as_planned(demo_plan):
    table = demo_plan.robustness.set_index("people")
    planned = table.loc["as planned"]
    told = demo_plan.service.set_index("measure")["estimate"]
    assert planned["estimate"] == pytest.approx(told["nobody_waits"])
    assert planned["needs_met"] == pytest.approx(told["needs_met"])
    assert planned["not_fitted"] == pytest.approx(told["not_fitted"])
    for name, unit, sign in (
        ("heavier", "kg", 1),
        ("lighter", "kg", -1),
        ("older", "years", 1),
    ):
        moved = re.findall(rf"([+-][\d.]+) {unit} on average", table.loc[name, "shift"])
        assert len(moved) == len(demo_plan.groups)
        assert all(sign * float(one) > 0.2 for one in moved)
    # A tenth of each group: of 40, 6 and 60.
    assert table.loc["more children", "shift"].startswith("11 people exchanged")
    assert table.loc["heavier", "waiting"] != table.loc["lighter", "waiting"]
    assert (table["cost"] > 0).all()


def test_the_curve_holds_the_plan_and_the_usual_targets(demo_plan):
    curve = demo_plan.curve
    assert sorted(curve["target"].dropna()) == [0.80, 0.90, 0.95, 0.98, 0.99]
    (own,) = curve[curve["plan"]].to_dict("records")
    assert own["cost"] == demo_plan.cost
    assert own["slings"] == demo_plan.order["order"].sum()
    told = demo_plan.service.set_index("measure")["estimate"]
    assert own["estimate"] == pytest.approx(1 - told["nobody_waits"])
    assert own["waiting"] == pytest.approx(told["waiting"])
    # On days kept apart a dearer order leaves somebody waiting on fewer.
    others = curve[~curve["plan"]].sort_values("target")
    assert others["estimate"].is_monotonic_decreasing


def test_the_order_adds_up(demo_plan):
    order = demo_plan.order
    assert (order["order"] == order["packs"] * order["pack"]).all()
    assert (order["stock"] == order["owned"] + order["order"]).all()
    assert (order["cost"] == order["order"] * order["price"]).all()
    assert order["cost"].sum() == pytest.approx(demo_plan.cost)
    plan = demo_plan.comparison.set_index("strategy").loc["plan"]
    assert plan[["estimate", "low", "high"]].tolist() == [0, 0, 0]
    assert plan["slings"] == order["order"].sum()
    bought = order[order["order"] > 0]
    listed = ", ".join(f"{row.order} of {row.key}" for row in bought.itertuples())
    assert f"The order: {listed}." in demo_plan.summary()
    assert f"Buy {order['order'].sum()} slings for" in demo_plan.answer()


@pytest.mark.parametrize(
    ("use", "words"),
    [
        (Use(), "Each client has a sling of her own; out of use: never."),
        (
            Use(each=2, passed_on=False, spares=1, out={"laundry": (1, 7)}),
            "Each client has 2 slings of her own, not passed on when she leaves; out "
            "of use: laundry 1 day in 7; 1 spare of each size stocked.",
        ),
        (
            Use("shared", at_once=0.3, at_most=4),
            "Slings come from a shared pool; at the busiest moment 30 % of clients "
            "need a sling, at most 4 clients at once; out of use: never.",
        ),
    ],
)
def test_use_is_said_as_it_is(use, words):
    assert use.summary() == words


def test_settings_at_their_limits_are_taken(people):
    for use in (
        {"sharing": "shared", "at_once": 0.0},
        {"sharing": "shared", "at_once": 1.0, "at_most": 1},
        {"out": {"laundry": (0, 7)}},
        {"out": {"laundry": (7, 8)}},
        {"spares": 0, "each": 1},
    ):
        Use(**use)
    for use in (
        {"sharing": "shared", "at_once": 1.01},
        {"sharing": "shared", "at_once": -0.01},
        {"sharing": "shared", "at_most": 0},
        {"out": {"laundry": (9, 10)}},
        {"out": {"laundry": (1, 2), "repair": (4, 10)}},
        {"spares": -1},
        {"each": 0},
    ):
        with pytest.raises(InputProblems):
            Use(**use)
    plan = plan_stock(
        Served(people, 2), tall_and_short(), budget=0, scenarios=50, seed=0
    )
    assert plan.cost == 0 and plan.order["order"].sum() == 0
    for wrong in ({"scenarios": 49}, {"seed": -1}, {"target": 0}, {"budget": np.nan}):
        with pytest.raises(SizingError):
            plan_stock(Served(people, 2), tall_and_short(), **wrong)


def test_a_fitting_sling_added_never_hurts(people):
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 20), offer)
    days = draw_days(
        [group], Use(out={"laundry": (1, 7)}), sizes=2, days=500, seed=(1, 1)
    )
    check = tables.Check(days, offer, 0)
    before = check.shortage(np.array([9, 10])).waiting
    for more in ([1, 0], [0, 1], [2, 3]):
        assert (check.shortage(np.array([9, 10]) + more).waiting <= before).all()


def test_admissions_replace_a_caseload_at_a_constant_rate():
    own = people_from(pd.DataFrame({"stature_cm": [150.0] * 10}))
    others = people_from(pd.DataFrame({"stature_cm": [180.0]}))
    offer = offer_from(tall_and_short())
    group = group_from(Served(own, admissions=20, newcomers=others), offer)
    days = draw_days([group], Use(), sizes=2, days=20_000, seed=(2, 0))
    new = days.needs[:, days.masks == 2].sum() / days.needs.sum()
    # Mean of 1 - exp(-2 t) for t uniform on 0 to 1.
    assert new == pytest.approx(1 - (1 - np.exp(-2)) / 2, abs=0.01)


def test_slings_not_passed_on_must_do_for_everyone_admitted(people):
    offer = offer_from(tall_and_short())
    for passed_on, mean in ((True, 10), (False, 16)):
        group = group_from(Served(people, 10, admissions=6), offer)
        use = Use(passed_on=passed_on)
        days = draw_days([group], use, sizes=2, days=4000, seed=(1, 0))
        assert days.needs.sum(axis=1).mean() == pytest.approx(mean, abs=0.15)


def test_a_pool_lifts_no_more_than_it_has_hoists(people):
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 30), offer)
    use = Use("shared", at_once=0.4, at_most=8, each=2)
    days = draw_days([group], use, sizes=2, days=4000, seed=(1, 0))
    total = days.needs.sum(axis=1)
    expected = np.minimum(stats.binom.rvs(30, 0.4, size=100_000, random_state=1), 8)
    assert total.max() == 16
    assert total.mean() / 2 == pytest.approx(expected.mean(), abs=0.05)


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


@pytest.mark.parametrize("at_most", [None, 6])
def test_who_is_lifted_at_the_busiest_moment_is_anyone(people, at_most):
    """Light and heavy alike: who needs a sling has nothing to do with her body."""
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 30), offer)
    use = Use("shared", at_once=0.3, at_most=at_most)
    for groups in ([group], [group, group]):
        some = draw_days(groups, use, sizes=2, days=4000, seed=(1, 0))
        w = np.bincount(np.searchsorted(some.masks, group.masks), minlength=4)
        found = some.needs.sum(axis=0) / some.needs.sum()
        np.testing.assert_allclose(found, w / w.sum(), atol=0.01)


def test_slings_out_have_nothing_to_do_with_who_is_there(people):
    offer = offer_from(tall_and_short())
    group = group_from(Served(people, 30, number="poisson"), offer)
    use = Use(out={"laundry": (1, 3)})
    days = draw_days([group], use, sizes=2, days=4000, seed=(1, 0))
    total = days.needs.sum(axis=1)
    for size in range(2):
        free = days.free(np.array([20, 20]))[:, size]
        assert abs(np.corrcoef(total, free)[0, 1]) < 0.05


def test_heavier_lighter_and_older_people_are_so_by_the_share_said(people):
    plan = plan_stock(Served(people, 6), tall_and_short(), scenarios=50, target=0.8)
    told = plan.robustness.set_index("people")["shift"]
    mean = people.frame[["body_mass_kg", "age_years"]].mean()
    for name, measure, share in (
        ("heavier", "body_mass_kg", 0.1),
        ("lighter", "body_mass_kg", -0.1),
        ("older", "age_years", 0.05),
    ):
        (shift,) = re.findall(r"([+-][\d.]+) \w+ on average", told[name])
        assert float(shift) == pytest.approx(share * mean[measure], abs=0.06)
    assert told["as planned"] == "the people as given"


def test_tilted_weights_move_the_mean_and_no_further_than_people_go():
    w = np.ones(5)
    x = np.array([50.0, 60.0, 70.0, 80.0, 90.0])
    for shift in (5.0, -7.0, 0.0):
        new = tables.tilted(w, x, shift)
        assert new @ x / new.sum() == pytest.approx(70 + shift)
    new = tables.tilted(w, x, 100.0)
    assert 85 < new @ x / new.sum() < 90


def test_two_charts_and_packs_are_planned_together(people):
    second = chart_from(
        pd.DataFrame(
            {
                "size": ["short"],
                "stature_cm_low": [140],
                "stature_cm_high": [172],
                "price": [60.0],
                "pack": [5],
            }
        ),
        name="other",
        warn=False,
    )
    plan = plan_stock(
        Served(people, 10), [tall_and_short(), second], scenarios=200, target=0.9
    )
    order = plan.order.set_index("key")["order"]
    assert order["other: short"] % 5 == 0 and order["other: short"] > 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"price": [100.0, None]}, "the size 'tall' has no price"),
        ({"price": [100.0, -5.0]}, "the size 'tall' has no such price"),
        ({"owned": [-1, 0]}, "the size 'short' has no such owned"),
        ({"pack": [0, 1]}, "the size 'short' has no such pack"),
        ({"size": ["short", "huge"]}, "unknown size (found: 'huge')"),
    ],
)
def test_wrong_prices_are_named(change, words):
    prices = pd.DataFrame({"size": ["short", "tall"], "price": [100.0, 120.0]})
    bare = tall_and_short()
    bare = chart_from(bare.frame.drop(columns="price"), name="bare", warn=False)
    with pytest.raises(InputProblems) as found:
        offer_from(bare, prices.assign(**change))
    assert words in str(found.value)


def test_every_wrong_row_is_named_and_the_good_one_between_is_kept():
    bare = tall_and_short()
    bare = chart_from(bare.frame.drop(columns="price"), name="bare", warn=False)
    sizes = ["huge", "short", "tiny", "short"]
    prices = pd.DataFrame({"size": sizes, "price": [1.0, 2.0, 3.0, 4.0]})
    with pytest.raises(InputProblems) as found:
        offer_from(bare, prices)
    table = found.value.table
    named = table[table["column"] == "size"]
    assert named["row"].tolist() == [2, 4, 5]
    # Of the two sizes only that without a row is said to lack its price.
    assert table["what"].str.contains("has no price").sum() == 1
    with pytest.raises(InputProblems) as found:
        offer_from(tall_and_short(price=[None, None], most=[-1, None]))
    told = [problem.what for problem in found.value.problems]
    assert told == [
        "the size 'short' has no price",
        "the size 'tall' has no price",
        "the size 'short' has no such most",
    ]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"target": 1.0}, "No order can promise every day"),
        ({"budget": -1}, "The budget must be 0 or more"),
        ({"scenarios": 3}, "scenarios must be a whole number of 50 or more"),
    ],
)
def test_wrong_goals_are_named(people, settings, words):
    with pytest.raises(SizingError, match=words):
        plan_stock(Served(people, 3), tall_and_short(), **settings)


def test_wrong_groups_and_uses_are_named(people):
    with pytest.raises(SizingError, match="whole number of 0 or more, not -4"):
        Served(people, -4)
    table = pd.DataFrame({"people": ["care_home", "nobody"], "count": [-1, 3]})
    with pytest.raises(InputProblems) as found:
        serves_from(table)
    assert "row 2" in str(found.value) and "nobody" in str(found.value)
    for pair in ((8, 7), (0, 0), (1, -7), (1,), "17", (True, 7)):
        with pytest.raises(InputProblems, match="days out of days"):
            Use(out={"laundry": pair})
    with pytest.raises(InputProblems, match="for a shared pool"):
        Use(at_most=3)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"count": 2.5}, "whole number of 0 or more, not 2.5"),
        ({"count": True}, "whole number of 0 or more, not True"),
        ({"admissions": -0.1}, "admissions must be a number of 0 or more"),
        ({"admissions": np.inf}, "admissions must be a number of 0 or more"),
        ({"count": 4, "number": "many"}, "fixed, poisson"),
        ({"number": "poisson"}, "a caseload is a fixed list"),
    ],
)
def test_groups_that_cannot_be_are_refused(people, settings, words):
    with pytest.raises(SizingError, match=words):
        Served(people, **settings)
    assert Served(people, 0).present == 0
    assert Served(people).present == people.n
    assert Served(people, 7, admissions=0.5, number="poisson").present == 7


def test_a_table_of_groups_is_read_row_by_row(tmp_path):
    (tmp_path / "ours.csv").write_text("sex,stature_cm\nf,160\nm,175\n")
    table = pd.DataFrame(
        {
            "people": ["bariatric", " care_home ", "ours.csv"],
            "count": [6.0, 8.0, np.nan],
            "admissions": [np.nan, 2.5, 1.0],
            "number": [None, "poisson", ""],
            "name": ["", "the home", None],
        }
    )
    groups = serves_from(table, folder=tmp_path)
    assert [group.count for group in groups] == [6, 8, None]
    assert [group.admissions for group in groups] == [0, 2.5, 1]
    assert [group.number for group in groups] == ["fixed", "poisson", "fixed"]
    assert groups[1].title == "the home" and groups[2].present == 2
    assert groups[0].title == "adults of high body mass index"
    wrong = pd.DataFrame(
        {"people": ["care_home", "martians", "../ours.csv"], "count": [None, 3, 2.5]}
    )
    with pytest.raises(InputProblems) as found:
        serves_from(wrong, folder=tmp_path)
    told = found.value.table
    assert told["row"].tolist() == [2, 3, 4]
    assert (
        told["what"].str.contains("How many|Unknown people|is not in the folder").all()
    )
    for empty in (table.iloc[:0], table[["people"]], table[["count"]]):
        with pytest.raises(SizingError, match="needs a row per group"):
            serves_from(empty)
    with pytest.raises(SizingError, match="Say whom the stock serves"):
        serves_from([])


def test_a_target_out_of_reach_is_told_with_the_best_there_is(people):
    with pytest.raises(SizingError, match=r"No order that is to be had .* % of days"):
        plan_stock(Served(people, 20), tall_and_short(most=[3, 3]), scenarios=100)
    with pytest.raises(SizingError, match=r"costs up to 500.00 \(the target needs"):
        plan_stock(
            Served(people, 20), tall_and_short(), target=0.95, budget=500, scenarios=100
        )


def test_a_budget_is_kept_and_a_caseload_file_is_read(tmp_path):
    file = tmp_path / "mine.csv"
    file.write_text(
        "sex,age_years,body_mass_kg,stature_cm\nf,82,51.5,158\nm,47,,181\nf,30,120,\n"
    )
    prices = demo_scenario()[1]
    served = Served(read_caseload(file), admissions=2)
    plan = plan_stock(served, demo_chart(), prices=prices, budget=400.0, scenarios=100)
    assert plan.cost <= 400 and plan.target is None
    assert plan.robustness["cost"].isna().all()


def arguments(*words):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return parser.parse_args(words)


def test_the_command_writes_order_page_and_json(tmp_path, capsys):
    lists = tmp_path / "o.csv", tmp_path / "o.xlsx"
    page = tmp_path / "page.html"
    words = ["--people", "care_home=8", "--out", "laundry=1/7", "--scenarios", "100"]
    words += ["--order", str(lists[0]), "--order", str(lists[1])]
    assert command.run(arguments(*words, "--report", str(page), "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    order = pd.read_csv(lists[0])
    assert order["order"].sum() == sum(row["order"] for row in told["order"])
    assert pd.read_excel(lists[1])["order"].tolist() == order["order"].tolist()
    text = page.read_text(encoding="utf-8")
    assert "Before any lift" in text and "http" not in text.split("<body>")[1]
    assert told["cautions"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--people", "care_home"], "write a population's name and a number"),
        (["--people", "care_home=-2"], "whole number of 0 or more, not -2"),
        (["--out", "laundry"], "write a reason and days out of days"),
    ],
)
def test_the_command_names_mistakes(words, said):
    with pytest.raises(SizingError) as found:
        command.run(arguments(*words))
    assert said in str(found.value)


def test_page_and_json_hold_the_plans_own_numbers(demo_plan, tmp_path):
    page = stock_page(demo_plan)
    assert f"{demo_plan.cost:,.0f}" in page  # exact in the files
    assert "Stock planning does not choose a sling for a person." in page
    told = as_json(demo_plan)
    assert json.loads(json.dumps(told))["cost"] == demo_plan.cost
    with pytest.raises(SizingError, match=r"ending in \.csv or \.xlsx"):
        write_order(demo_plan, tmp_path / "order.txt")


def test_a_named_population_gives_the_same_plan_twice():
    home = Served(load_people("care_home", draws=1), 6)
    prices = demo_scenario()[1]
    plans = [
        plan_stock(home, demo_chart(), prices=prices, scenarios=100) for _ in range(2)
    ]
    pd.testing.assert_frame_equal(plans[0].order, plans[1].order)
    pd.testing.assert_frame_equal(plans[0].service, plans[1].service)


def test_many_linked_sizes_are_planned_nearly_as_well(monkeypatch):
    serves, prices = demo_scenario()
    groups = serves_from(serves)
    exact = plan_stock(groups, demo_chart(), prices=prices, scenarios=200)
    monkeypatch.setattr(service, "MOST_LISTED", 3)
    quick = plan_stock(groups, demo_chart(), prices=prices, scenarios=200)
    assert quick.cost <= 1.05 * exact.cost
    assert 0 <= quick.gap < 0.2
    assert quick.service.iloc[0]["high"] >= 0.95


def test_whom_no_size_fits_is_told_client_by_client_on_a_caseload():
    own = people_from(
        pd.DataFrame({"person": [7, 8, 9], "stature_cm": [150.0, 199.0, 120.0]})
    )
    plan = plan_stock(Served(own), tall_and_short(), scenarios=50)
    told = plan.not_fitted.set_index("client")
    assert told["outcome"].to_dict() == {8: "beyond_largest", 9: "below_smallest"}
    assert told.loc[8, "nearest_size"] == "tall" and told.loc[8, "estimate"] == 1
    assert told.loc[8, "miss_median"] == pytest.approx(9.0)
    assert plan.order["order"].tolist() == [1, 0]
    assert "row 8" in stock_page(plan)


def test_a_client_whose_draws_differ_is_not_fitted_on_some_days():
    """Two of her three draws fit no size: on two days in three, so 0 or 1."""
    frame = pd.DataFrame(
        {
            "person": [1, 1, 1, 2, 2, 2],
            "draw": [0, 1, 2] * 2,
            "stature_cm": [160.0, 195, 196, 199, 199, 199],
        }
    )
    own = People(
        "own",
        frame,
        pd.Series(np.ones(6)),
        pd.DataFrame("predicted", index=frame.index, columns=["stature_cm"]),
    )
    offer = offer_from(tall_and_short())
    told = tables.not_fitted([group_from(Served(own), offer)], offer)
    told = told.set_index("client")
    assert told.loc[1, "estimate"] == pytest.approx(2 / 3)
    assert told.loc[1, ["low", "high"]].tolist() == [0, 1]
    assert told.loc[2, ["estimate", "low", "high"]].tolist() == [1, 1, 1]


def test_who_is_not_fitted_is_described_by_those_who_count():
    """The only hip known is of someone with no weight: nothing is said of hips."""
    frame = pd.DataFrame(
        {
            "stature_cm": [199.0, 199.0, 197.0, 160.0],
            "hip_circumference_cm": [np.nan, 90.0, np.nan, 100.0],
        }
    )
    some = people_from(frame, weight=np.array([1.0, 0.0, 2.0, 1.0]))
    offer = offer_from(tall_and_short())
    (row,) = tables.not_fitted([group_from(Served(some, 8), offer)], offer).to_dict(
        "records"
    )
    assert np.isnan(row["hip_circumference_cm"])
    # Weights 1 and 2: the middle of the three is the shorter.
    assert (row["stature_cm"], row["miss_median"], row["miss_p90"]) == (197, 7, 9)
    law = stats.binom(8, 3 / 4)
    assert row["estimate"] == pytest.approx(law.mean())
    assert (row["low"], row["high"]) == law.interval(0.9)


def test_what_is_said_of_the_rivals_is_what_was_found(demo_plan):
    """Were these the figures, far from nothing so that a hundredth part is seen."""
    rivals = demo_plan.comparison.copy()
    rivals.loc[1:, ["needs_met", "estimate", "low", "high"]] = [0.1, 0.88, 0.77, 0.99]
    told = replace(demo_plan, comparison=rivals).summary().splitlines()
    told = [line for line in told if line.startswith("The same money")]
    assert told == [
        f"The same money spent as {name} meets 10 % of needs: the plan meets 88 points "
        "more (77 to 99)."
        for name in rivals["strategy"][1:]
    ]
    assert len(told) == 2


def test_how_near_the_best_an_order_is_is_said(demo_plan):
    assert "for less: proved" in demo_plan.proof()
    near = replace(demo_plan, gap=0.0123)
    assert "costs at most 1.2 % less than this one: proved" in near.proof()
    money = replace(demo_plan, gap=0.0123, target=None, budget=900.0)
    assert "at most 1.2 % above the best that the money can do" in money.proof()
    assert near.proof() in near.summary()


def test_shares_of_days_are_told_in_percent_and_never_rounded_to_all(demo_plan):
    def told(low, estimate, high):
        table = demo_plan.service.copy()
        here = table["measure"] == "nobody_waits"
        table.loc[here, ["low", "estimate", "high"]] = [low, estimate, high]
        return replace(demo_plan, service=table).answer()

    assert "sling on 95 % (94 to 97) of days" in told(0.94, 0.95, 0.97)
    assert "sling on 95 % of days" in told(0.951, 0.952, 0.954)
    assert "sling on over 99 % (99 to over 99) of days" in told(0.994, 0.996, 0.999)
    assert "sling on 100 % of days" in told(1.0, 1.0, 1.0)
    assert "sling on 99 % (98 to over 99) of days" in told(0.98, 0.9949, 0.995)


def test_equal_numbers_are_equal_and_spend_what_they_can():
    offer = offer_from(tall_and_short())
    needs = Needs(np.array([[9, 9]]), np.array([1, 2]), 2)
    programme = Programme(offer, needs, 0)
    # Three of each cost 660, and nothing costs the 10 left; with 770 one more.
    assert equal_numbers(programme, 670.0).tolist() == [3, 3]
    assert equal_numbers(programme, 770.0).tolist() == [4, 3]
    assert like_last_year(programme, 560.0, np.array([2.0, 1.0])).tolist() == [4, 1]
