"""Other targets, other people, the same money otherwise; and how a plan is told."""

from dataclasses import replace

import numpy as np
import pytest

from sizing.charts import chart_from
from sizing.errors import SizingError
from sizing.pages.stock import inputs_of
from sizing.stock import Served, Use, offer_from, plan_stock, tables
from sizing.stock.alternatives import (
    CHECKING,
    CURVE,
    TUNING,
    Work,
    _shifted,
    cost_curve,
    robustness,
)
from sizing.stock.budget import comparison_of
from sizing.stock.cheapest import least_cost
from sizing.stock.days import draw_days, group_from
from sizing.stock.plan import STEPS, Steps
from sizing.words.numbers import share

from .cases import four_hundred, people_of, tall_and_short

TARGETS = CURVE["days"]


@pytest.fixture(scope="module")
def home(people):
    """Twenty clients, the days to plan on, and days to check on."""
    offer = offer_from(tall_and_short(last_year=[10, np.nan]))
    work = Work(offer, Use(), 200, 3, 8 * 200)
    groups = [group_from(Served(people, 20, name="home"), offer)]
    check = tables.Check(work.days(groups, CHECKING, 500), offer, 0)
    return work, groups, work.programme(groups), check


def test_other_targets_are_chosen_alike_and_judged_on_the_other_days(home):
    work, groups, _, check = home
    trial = work.trial(groups)
    packs = trial.cheapest(np.zeros(2, dtype=int), work.level(0.93))
    curve = cost_curve(replace(work, target=0.95), trial, check, packs)
    assert sorted(curve["target"]) == sorted(TARGETS)
    assert curve.loc[curve["plan"], "target"].tolist() == [0.95]
    for row in curve[~curve["plan"]].to_dict("records"):
        level = work.level(row["target"])
        assert level > row["target"]
        found = trial.cheapest(packs, level)
        assert (trial.waiting(found) == 0).mean() >= level
        waiting = check.shortage(found).waiting
        assert row["cost"] == found @ [100, 120] and row["slings"] == found.sum()
        assert row["estimate"] == pytest.approx((waiting > 0).mean())
    assert curve["cost"].is_monotonic_increasing
    # Without a target of one's own the usual ones are there.
    bare = cost_curve(work, trial, check, packs)
    assert sorted(bare["target"].dropna()) == list(TARGETS)


def test_targets_that_no_order_reaches_are_left_out_of_the_curve(people):
    offer = offer_from(tall_and_short(most=[9, 12]))
    work = Work(offer, Use(), 200, 3, 8 * 200)
    groups = [group_from(Served(people, 20), offer)]
    trial = work.trial(groups, number=1000)
    most = trial.programme.most_packs
    share = (trial.waiting(most) == 0).mean()
    check = tables.Check(work.days(groups, CHECKING, 100), offer, 0)
    curve = cost_curve(work, trial, check, most)
    reached = [target for target in TARGETS if work.level(target) <= share]
    assert sorted(curve["target"].dropna()) == reached and len(reached) < len(TARGETS)


def test_the_order_is_judged_on_other_people_and_theirs_is_priced(home, people):
    work, groups, programme, check = home
    order = least_cost(programme, 0.9)
    told = robustness(replace(work, target=0.9), groups, order.packs, check)
    told = told.set_index("people")
    stock = programme.stock(order.packs)
    shifted, words = _shifted(work, groups, "body_mass_kg", 0.1)
    others = {"as planned": groups, "heavier": shifted}
    for name, those in others.items():
        number = 500 if name == "as planned" else 8 * work.scenarios
        days = work.days(those, CHECKING, number)
        again = tables.Check(days, work.offer, 0)
        waiting = again.shortage(stock).waiting
        row = told.loc[name]
        assert row["estimate"] == (waiting == 0).mean() and row["n"] == number
        assert row["waiting"] == waiting.mean()
        assert row["needs_met"] == pytest.approx(1 - waiting.sum() / again.needed.sum())
        assert row["not_fitted"] == days.needs[:, 0].mean()
        if name == "as planned":
            assert row["cost"] == order.cost
        else:
            trial = work.trial(those, CHECKING, number)
            own = trial.cheapest(order.packs, work.level(0.9))
            assert row["cost"] == trial.programme.cost(own)
    assert told.loc["heavier", "shift"] == words
    bare = robustness(work, groups, order.packs, check)
    assert bare["cost"].isna().all()


@pytest.mark.parametrize(("owned", "packs"), [([30, 30], [0, 0]), ([0, 3], [5, 3])])
def test_what_is_owned_counts_when_other_people_are_served(people, owned, packs):
    offer = offer_from(tall_and_short(owned=owned, pack=[2, 3]))
    work = Work(offer, Use(), 100, 3, 8 * 100)
    groups = [group_from(Served(people, 20), offer)]
    check = tables.Check(work.days(groups, CHECKING, 100), offer, 0)
    told = robustness(work, groups, np.array(packs), check)
    held = np.array(owned) + np.array(packs) * [2, 3]
    assert told["waiting"][0] == check.shortage(held).waiting.mean()
    assert (told["waiting"] == 0).all() == (owned == [30, 30])


def test_the_same_money_is_spent_otherwise_and_judged_on_the_same_days(home):
    _, _, programme, check = home
    order = least_cost(programme, 0.9)
    told = comparison_of(programme, check, order, order.cost).set_index("strategy")
    assert list(told.index) == ["plan", "equal numbers", "last year's use"]
    assert (told["cost"] <= order.cost).all()
    less = told.loc["plan", "needs_met"] - told["needs_met"]
    assert told["estimate"].tolist() == pytest.approx(less.tolist())
    # Of the size not used last year none is bought.
    row = told.loc["last year's use"]
    packs = np.array([row["cost"] // 100, 0]).astype(int)
    waiting = check.shortage(packs).waiting
    assert row["cost"] % 100 == 0 and row["slings"] == packs[0]
    assert row["nobody_waits"] == (waiting == 0).mean()
    assert row["needs_met"] == pytest.approx(1 - waiting.sum() / check.needed.sum())
    table = programme.offer.table.assign(last_year=[np.nan, 0.0])
    used = replace(programme, offer=replace(programme.offer, table=table))
    bare = comparison_of(used, check, order, 500.0)
    assert bare["strategy"].tolist() == ["plan", "equal numbers"]


def test_a_budget_alone_is_spent_on_what_serves_most(people):
    plan = plan_stock(Served(people, 20), tall_and_short(), budget=1500, scenarios=100)
    assert 1500 - 120 < plan.cost <= 1500
    assert plan.target is None and plan.budget == 1500
    assert len(plan.curve) == len(TARGETS) + 1
    assert (plan.comparison["estimate"] >= -1e-9).all()
    both = plan_stock(
        Served(people, 4), tall_and_short(), target=0.8, budget=900.0, scenarios=100
    )
    assert both.target == 0.8 and both.cost <= 900 == both.budget


def test_a_plan_says_what_it_was_made_of(people):
    groups = [
        Served(people, 5, name="home"),
        Served(people, 3, admissions=2.5, number="poisson", name="ward"),
        Served(people_of(*[150.0] * 4), name="ours"),
    ]
    plan = plan_stock(groups, tall_and_short(), target=0.8, scenarios=60, seed=9)
    told = dict(plan.settings)
    assert told.pop("choosing") >= 8 * 60 and plan.service["n"].eq(240).all()
    assert told == {"scenarios": 60, "seed": 9, "checks": 240}
    columns = ["group", "count", "listed", "admissions", "number"]
    assert plan.groups[columns].to_numpy().tolist() == [
        ["home", 5, False, 0, "fixed"],
        ["ward", 3, False, 2.5, "poisson"],
        ["ours", 4, True, 0, "fixed"],
    ]
    said = inputs_of(plan)[0][1]
    assert "Ward: 3 people, drawn from" in said
    assert said.count("their number varying by chance, 2.5 admitted") == 1
    assert plan.sources[-1].startswith(f"Chart: {tall_and_short().name}.")
    assert set(plan.limits) >= set(people.limits)


def test_what_cannot_be_reached_is_told_in_figures(people):
    """The best there is: three of each size, for 660."""
    with pytest.raises(SizingError) as found:
        plan_stock(Served(people, 20), tall_and_short(most=[3, 3]), scenarios=100)
    said = str(found.value)
    assert "leaves nobody waiting on 95 % of days" in said and "costs 660.00" in said
    with pytest.raises(SizingError, match=r"costs up to 500.00 \(the target needs"):
        plan_stock(Served(people, 20), tall_and_short(), target=0.95, budget=500)
    offer = offer_from(tall_and_short(most=[3, 3]))
    group = group_from(Served(people, 20), offer)
    unseen = draw_days([group], Use(), sizes=2, days=6000, seed=(1, TUNING))
    waiting = tables.Check(unseen, offer, 0).shortage(np.array([3, 3])).waiting
    reached = share((waiting == 0).mean(), places=1)
    assert f"leaves nobody waiting on {reached} of days" in said
    assert f"(on an average day {waiting.mean():.2f} people wait)" in said


def test_nobody_to_serve_is_said_and_who_only_comes_is_served(people):
    for nobody in (Served(people, 0), [Served(people, 0), Served(people, 0)]):
        with pytest.raises(SizingError, match="nobody to be served"):
            plan_stock(nobody, tall_and_short(), scenarios=50)
    plan = plan_stock(
        Served(people, 0, admissions=4),
        tall_and_short(),
        use=Use(passed_on=False),
        scenarios=np.int64(50),
        target=0.8,
    )
    assert plan.order["order"].sum() >= 4


def test_progress_goes_on_from_step_to_step_and_never_back():
    assert sum(STEPS.values()) == pytest.approx(1)
    assert min(STEPS.values()) >= 0.05
    told, done = [], 0.0
    with Steps(lambda words, share: told.append((words, share))) as steps:
        for words, part in STEPS.items():
            steps.begin(words)
            assert told[-1] == (words, pytest.approx(done))
            for left in (0.95, 0.95**2, 0.95**3):
                steps.tick()
                assert told[-1] == (words, pytest.approx(done + part * (1 - left)))
            done += part
    shares = [share for _, share in told]
    assert shares == sorted(shares)


def test_one_sling_is_no_slings_and_no_order_is_nothing():
    alone = people_of(150.0)
    plan = plan_stock(Served(alone), tall_and_short(), scenarios=50)
    assert "everybody. Buy 1 sling for 100.\n" in plan.answer()
    assert "Known need takes 1 of the slings" in plan.answer()
    assert "The other" not in plan.answer()
    assert plan.people == 1
    none = plan_stock(Served(alone), tall_and_short(owned=[1, 0]), scenarios=50)
    assert "Buy 0 slings for 0.\nNobody" in none.answer()
    assert "The order: nothing." in none.summary()
    assert none.gap == 0 and none.settings["checks"] == 200


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"scenarios": True}, "makes no sense"),
        ({"scenarios": 49}, "number of days drawn makes no sense .* from 50"),
        ({"seed": 1.0}, "makes no sense"),
        ({"seed": -1}, "makes no sense"),
        ({"budget": "much"}, "makes no sense"),
        ({"budget": -1}, "the budget makes no sense"),
        ({"budget": np.nan}, "makes no sense"),
        ({"target": "all"}, "target must be"),
        ({"target": 0}, "target must be"),
        ({"target": 1.0}, "No order can promise all"),
    ],
)
def test_settings_that_cannot_be_are_refused(people, wrong, words):
    with pytest.raises(SizingError, match=words):
        plan_stock(Served(people, 2), tall_and_short(), **wrong)


# Other prices and fewer sizes, against plans made anew


@pytest.mark.parametrize("goal", [{"target": 0.9}, {"budget": 1500.0}])
def test_a_size_fewer_is_what_planning_without_it_gives(goal):
    """The shorter size is left out, as fewer need it; the days drawn are others."""
    home = Served(four_hundred(), 20)
    plan = plan_stock(home, tall_and_short(), scenarios=300, **goal)
    row = plan.variants.query("sizes == 1").iloc[0]
    gone = row["scenario"].removeprefix("without ")
    frame = tall_and_short().frame
    chart = chart_from(frame[frame["size"] != gone], warn=False)
    alone = plan_stock(home, chart, scenarios=300, seed=2, **goal)
    told = alone.service.set_index("measure")["estimate"]
    fitted, money = 20 - row["not_fitted"], f"{row['cost']:,.0f}"
    some = f" 1 of them fits about {fitted:,.0f} of 20 people, with {row['slings']:.0f}"
    assert f"{some} slings for {money}." in plan.sizes_words()
    assert f"slings for {plan.cost:,.0f}. 1 of them" in plan.summary()
    assert row["cost"] == pytest.approx(alone.cost, rel=0.08)
    assert row["not_fitted"] == pytest.approx(told["not_fitted"], rel=0.05)
    assert row["needs_met"] == pytest.approx(told["needs_met"], abs=0.03)


def test_of_a_pool_those_count_who_need_a_sling_at_one_time():
    """Before, this failed: those whom nothing fits at one time were taken from all."""
    home, use = Served(four_hundred(), 40), Use(sharing="shared", at_once=0.25)
    plan = plan_stock(home, tall_and_short(), use=use, target=0.9, scenarios=100)
    told = plan.service.set_index("measure")["estimate"]
    assert plan.people == pytest.approx(10, abs=0.3)
    assert told["not_fitted"] == pytest.approx(
        plan.people * told["not_fitted_share"], rel=1e-6
    )
    assert f"of {plan.people:.0f} people" in plan.sizes_words()
    assert f" of {plan.people:.0f} people who need a sling at one time " in (
        plan.answer()
    )


def test_prices_move_the_cost_of_a_target_and_the_order_of_a_budget():
    home = Served(four_hundred(), 20)
    plan = plan_stock(home, tall_and_short(), target=0.9, scenarios=100)
    up, down = plan.variants["cost"][:2]
    assert (up, down) == pytest.approx((1.2 * plan.cost, 0.8 * plan.cost))
    spent = plan_stock(home, tall_and_short(), budget=1500, scenarios=100)
    rows = spent.variants.head(2)
    assert rows["cost"].between(1200, 1500 + 1e-6).all()
    assert rows["slings"].is_monotonic_increasing
    assert rows["needs_met"].is_monotonic_increasing
