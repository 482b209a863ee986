"""One client piece by piece: draws, weights and gains, each worked out anew."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import binomtest, multivariate_normal, norm

from sizing.charts import chart_from, demo_chart
from sizing.client import check_client
from sizing.client.how import reading
from sizing.client.measuring import _right, _sorted, next_measures
from sizing.client.outcomes import edges_of, fitting
from sizing.client.own_chart import judge_chart, nudge, with_edge
from sizing.client.posterior import (
    Bodies,
    _aim_at,
    _aimed,
    _bodies,
    _builds,
    _near_in_age,
    _Pool,
    _seated,
    _seated_density,
    build_of,
)
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people.body.donors import donors
from sizing.people.body.moments import moments
from sizing.people.own import people_from

KERNEL = np.diag([0.03**2, 0.01**2])
HIP = "hip_circumference_cm"


@pytest.fixture(scope="module")
def pool():
    """Invented people: ln mass, ln stature, age, sex."""
    draw = np.random.default_rng(4)
    build = np.column_stack([draw.normal(4.3, 0.2, 600), draw.normal(5.1, 0.05, 600)])
    sex = draw.choice(["female", "male"], 600).astype(object)
    return _Pool(build, draw.uniform(2, 80, 600), sex)


@pytest.mark.parametrize(
    ("age", "year", "near"),
    [
        (3.0, 3.5, 0.5),
        (7, 7.5, 0.75),
        (9.25, 9.25, 0.925),
        (30, 30.0, 3.0),
        (85, 80.0, 3.0),
    ],
)
def test_people_count_by_how_near_they_are_in_age(pool, age, year, near):
    """The reach is a tenth of the age, half a year at least and three at most."""
    ages = np.append(pool.age[:20], [12.0, 80.0, 79.0])
    told = _near_in_age(_Pool(pool.build, ages, pool.sex), age)
    theirs = np.append(ages[:20], [12.5, 80.0, 79.0])
    right = norm.logpdf(theirs, year, near) - norm.logpdf(0, 0, near)
    assert told == pytest.approx(right)
    assert (_near_in_age(pool, None) == 0).all()


def test_build_at_an_age_is_the_weighted_peoples_with_the_kernel():
    mean, covariance = build_of("female", 7)
    theirs = donors()["female"].build
    ages = np.where(theirs[:, 2] < 20, theirs[:, 2] + 0.5, theirs[:, 2])
    weight = norm.pdf(ages, 7.5, 0.75)
    assert mean == pytest.approx(np.average(theirs[:, :2], axis=0, weights=weight))
    spread = np.cov(theirs[:, :2].T, aweights=weight, ddof=0) + KERNEL
    np.testing.assert_allclose(covariance, spread, rtol=1e-9)


@pytest.mark.parametrize(
    ("mass", "how"),
    [(None, "guessed"), (75.0, "guessed"), (240.0, "scale"), (50_000.0, "scale")],
)
def test_builds_are_drawn_from_the_mixture_given_the_readings(pool, mass, how):
    """Weights by the density of the reading, not by completing the square."""
    one = reading("body_mass_kg", mass or 75.0, how)
    noise = one.log_sd**2 if mass else 1e12
    at = one.log_value
    centre = np.array([at, pool.build[:, 1].mean()])
    precision = np.diag([1 / noise if mass else 0.0, 0.0])
    age_weight = norm.logpdf(pool.age, 40.0, 3.0)
    for step in range(8):
        h = KERNEL * 1.6 ** (2 * step)
        reach = np.sqrt(h[0, 0] + noise)
        log_weight = age_weight + norm.logpdf(at, pool.build[:, 0], reach)
        weight = np.exp(log_weight - log_weight.max())
        if weight.sum() ** 2 / np.square(weight).sum() >= 20:
            break
    weight = weight / weight.sum()
    gain = h[0, 0] / (h[0, 0] + noise)
    middle = pool.build.copy()
    middle[:, 0] += gain * (at - middle[:, 0])
    inner = np.diag([h[0, 0] * (1 - gain), h[1, 1]])
    mean = weight @ middle
    spread = np.cov(middle.T, aweights=weight, ddof=0) + inner
    u = np.random.default_rng(1).random((100_000, 3))
    aim = (np.zeros((2, 2)), np.zeros(2))
    build, age, sex = _builds(pool, 40.0, centre, precision, aim, u)
    sd = np.sqrt(np.diag(spread))
    assert np.abs((build.mean(axis=0) - mean) / sd).max() < 0.02
    scaled = (np.cov(build.T) - spread) / np.outer(sd, sd)
    assert np.abs(scaled).max() < 0.03
    assert (age == 40.0).all()
    women = (pool.sex == "female").astype(float)
    assert (sex == "female").mean() == pytest.approx(weight @ women, abs=0.01)
    # The further from everybody, the wider the kernel, within eight steps.
    assert (step > 0) == (mass in (240.0, 50_000.0))


def test_ages_are_those_of_whoever_was_picked_where_none_is_known(pool):
    u = np.column_stack([(np.arange(600) + 0.5) / 600, np.full((600, 2), 0.5)])
    centre, nothing = pool.build.mean(axis=0), np.zeros((2, 2))
    build, age, sex = _builds(pool, None, centre, nothing, (nothing, np.zeros(2)), u)
    # Every one alike, once each, at the middle of her kernel.
    place = np.arange(600)
    assert age.tolist() == pool.age[place].tolist()
    np.testing.assert_allclose(build, pool.build[place])
    assert (sex == pool.sex[place]).all()


def test_an_aim_leads_from_where_builds_lie_to_where_the_weight_is(rng):
    x = rng.multivariate_normal([0.1, -0.02], [[0.04, 0.004], [0.004, 0.002]], 400)
    weight = np.exp(3 * x[:, 0] - 40 * x[:, 0] ** 2)
    weight /= weight.sum()
    more, information = _aim_at(x, weight)
    before = np.linalg.inv(np.cov(x.T))
    after = np.linalg.inv(np.cov(x.T, aweights=weight, ddof=0) + KERNEL)
    values = np.linalg.eigvalsh(after - before)
    assert np.linalg.eigvalsh(more) == pytest.approx(np.maximum(values, 0), abs=1e-9)
    # Normal with the builds' mean and spread, times the aim: mean where weight is.
    product = np.linalg.solve(before + more, before @ x.mean(axis=0) + information)
    assert product == pytest.approx(weight @ x)
    told = _aimed(x, (more, information))
    each = [0.5 * row @ more @ row - information @ row for row in x]
    assert told == pytest.approx(each)
    # Wider than what was drawn: no precision below none.
    wide = np.where(np.abs(x[:, 0] - 0.1) > 0.25, 1.0, 0.01)
    more, _ = _aim_at(x, wide / wide.sum())
    assert np.linalg.eigvalsh(more).min() > -1e-9


def test_seated_readings_weigh_builds_by_their_density(rng):
    n = 3
    body = [rng.uniform(60, 90, n), rng.uniform(160, 180, n), np.full(n, 50.5)]
    one = moments(np.full(n, "male", dtype=object), *body, sampling=True)
    covariance = one.covariance()
    seated, error = np.full(8, np.nan), np.zeros(8)
    assert (_seated_density(one, covariance, seated, error) == 0).all()
    place = [1, 4, 6]
    seated[place] = one.mean[0, place] + [0.02, -0.05, 0.1]
    error[place] = [1e-4, 4e-4, 9e-4]
    told = _seated_density(one, covariance, seated, error)
    for i in range(n):
        part = covariance[i][np.ix_(place, place)] + np.diag(error[place])
        right = multivariate_normal(one.mean[i, place], part).logpdf(seated[place])
        assert told[i] == pytest.approx(right)


def test_bodies_follow_each_build_and_impossible_ones_weigh_nothing(rng):
    n, each = 2, 4
    parts = (
        np.log([[70.0, 170.0], [90.0, 180.0]]),
        np.array([40.5, 60.5]),
        np.array(["female", "male"], dtype=object),
    )
    one = moments(parts[2], *np.exp(parts[0]).T, parts[1])
    covariance = one.covariance()
    nothing, none = np.full(8, np.nan), np.zeros(8)
    z = np.zeros((n * each, 8))
    sitting = SEATED_AND_GIRTHS.index("sitting_height_cm")
    z[1, sitting] = 40.0
    laws, never = [covariance, covariance], np.zeros(2)
    logs = _seated(one.mean, laws, never, nothing, none, z)
    told = _bodies(parts, logs, np.array([0.25, 0.75]), [], confirmed=False)
    assert told.build.tolist() == [0] * 4 + [1] * 4
    assert told.age_years.tolist() == [40.5] * 4 + [60.5] * 4
    assert told.sex.tolist() == ["female"] * 4 + ["male"] * 4
    np.testing.assert_allclose(told.values[0, 2:], np.exp(one.mean[0]))
    assert told.weight[1] == 0 and told.weight.sum() == pytest.approx(1)
    assert told.weight[4] / told.weight[0] == pytest.approx(3.0)
    assert told.values[:, 0] == pytest.approx([70.0] * 4 + [90.0] * 4)
    # Standard normals become the model's spread, by any root of its covariance.
    z = rng.normal(size=(20_000, 8))
    logs = _seated(one.mean, laws, never, nothing, none, z)
    told = _bodies(parts, logs, np.array([0.5, 0.5]), [], confirmed=False)
    for i in range(n):
        logs = np.log(told.values[told.build == i, 2:])
        assert np.abs((logs.mean(axis=0) - one.mean[i]) / one.sd[i]).max() < 0.05
        sd = np.sqrt(np.diag(covariance[i]))
        r = np.abs(np.cov(logs.T) - covariance[i]) / np.outer(sd, sd)
        assert r.max() < 0.07


@given(st.integers(2, 40), st.integers(0, 999))
@settings(max_examples=25)
def test_quantiles_lie_where_half_of_each_weight_is_passed(n, seed):
    draw = np.random.default_rng(seed)
    weight = draw.dirichlet(np.ones(n))
    values = draw.normal(100, 10, (n, 10))
    age, sex = np.full(n, 40.0), np.full(n, "male", dtype=object)
    bodies = Bodies(values, weight, np.arange(n) // 2, sex, age)
    order = np.argsort(values[:, 3])
    place = [weight[order[: i + 1]].sum() - weight[order[i]] / 2 for i in range(n)]
    expected = np.interp([0.05, 0.5, 0.95], place, values[order, 3])
    np.testing.assert_allclose(bodies.quantile([0.05, 0.5, 0.95])[:, 3], expected)
    by_build = pd.Series(weight).groupby(np.arange(n) // 2).sum()
    np.testing.assert_allclose(bodies.build_weight, by_build)
    assert bodies.effective == pytest.approx(1 / (by_build**2).sum())


# What to measure next


def test_readings_are_sorted_into_thirty_two_classes_of_like_weight(rng):
    read, weight = rng.normal(size=4096), rng.dirichlet(np.ones(4096))
    classes = _sorted(read, weight)
    assert set(classes) == set(range(32))
    by_class = np.bincount(classes, weight)
    assert by_class == pytest.approx(np.full(32, 1 / 32), abs=3 * weight.max())
    ends = [(read[classes == k].min(), read[classes == k].max()) for k in range(32)]
    assert all(one[1] <= two[0] for one, two in pairwise(ends))


def test_the_answer_chosen_by_the_other_half_by_plain_counting(rng):
    n, count, width = 200, 5, 3
    classes = rng.integers(0, count, n)
    fold, answers = rng.integers(0, 2, n), rng.integers(0, 2, (n, width)).astype(float)
    weight = rng.dirichlet(np.ones(n))
    age, sex = np.full(n, 40.0), np.full(n, "male", dtype=object)
    bodies = Bodies(np.ones((n, 10)), weight, np.arange(n), sex, age)
    told = _right(classes, count, fold, bodies, answers)
    for i in range(n):
        other = (classes == classes[i]) & (fold == 1 - fold[i])
        best = (weight[other] @ answers[other]).argmax()
        assert told[i] == answers[i, best]


def test_a_gain_is_that_of_the_chance_with_its_interval():
    entry = {"sex": "female", "age_years": 74, "body_mass_kg": 68, "stature_cm": 160}
    answer = check_client(demo_chart(), entry)
    table = answer.next_measure
    assert (table["estimate"].diff().dropna() <= 0).all()
    np.testing.assert_allclose(table["after"] - table["now"], table["estimate"])
    middle = (table["low"] + table["high"]) / 2
    np.testing.assert_allclose(middle, table["estimate"])
    assert (table["n"] == 4096).all() and np.ptp(table["now"]) == 0
    assert set(table["measure"]) == set(SEATED_AND_GIRTHS)
    edges = edges_of(demo_chart(), demo_chart().load_limits())
    bodies = answer.bodies
    found = fitting(bodies.values, edges, over=np.zeros(9, dtype=bool))
    # Twice as many errors of a tape are poor enough to be taken again.
    hip = reading(HIP, 104.0)
    for times, again in ((1.49, False), (1.5, False), (1.51, True)):
        one = replace(hip, sd=hip.sd * times)
        client = replace(answer.client, readings=(one,))
        told = next_measures(client, bodies, found).set_index("measure")
        assert (HIP in told.index) == again
    assert told.loc["body_mass_kg", "how"] == "scale"
    assert told.loc["stature_cm", "how"] == "tape once"


# Sizes, margins and measures of an answer


@pytest.mark.parametrize("known", [{}, {HIP: 104, "shoulder_height_sitting_cm": 57}])
def test_the_measure_likeliest_to_fail_decides_and_of_equals_the_tightest(known):
    # Over 58 no predicted chance is written above 95 %, so that many would be equal.
    entry = {"sex": "female", "age_years": 50, "body_mass_kg": 68, "stature_cm": 160}
    answer = check_client(demo_chart(), entry | known)
    margins = answer.margins
    width = (margins["high_edge"] - margins["low_edge"]).groupby(margins["measure"])
    tight = margins["margin"] / margins["measure"].map(width.median())
    ranked = margins.assign(chance=margins["chance"].round(6), tight=tight)
    ranked = ranked.sort_values(["chance", "tight"], kind="stable")
    first = ranked.groupby("size").first()
    told = margins[margins["decides"]].set_index("size")
    assert len(told) == len(demo_chart().sizes)
    assert told["measure"].to_dict() == first["measure"].to_dict()
    edge = margins[["margin_low", "margin_high"]].min(axis=1)
    np.testing.assert_allclose(margins["margin"], edge)
    sizes = answer.sizes.set_index("size")
    borne = ~sizes["over_load"]
    assert (sizes["deciding_measure"] == told["measure"].reindex(sizes.index))[
        borne
    ].all()
    np.testing.assert_allclose(sizes["margin"], told["margin"].reindex(sizes.index))
    order = sizes.assign(rounded=sizes["estimate"].round(3))
    again = order.sort_values(["rounded", "margin"], ascending=False, kind="stable")
    assert again.index.tolist() == sizes.index.tolist()


def test_allowances_move_the_edges_and_not_the_body():
    entry = {"sex": "female", "age_years": 74, "body_mass_kg": 68, "stature_cm": 160}
    plain = check_client(demo_chart(), entry)
    moved = check_client(demo_chart(), entry, allowances={"leg_stop": -5})
    length = "buttock_popliteal_length_cm"
    for measure in demo_chart().measures:
        one, other = (
            a.margins[a.margins["measure"] == measure].reset_index(drop=True)
            for a in (plain, moved)
        )
        by = -5.0 if measure == length else 0.0
        assert (other["allowance"] == by).all() and (one["allowance"] == 0).all()
        for column in ("estimate", "low", "high", "margin_low"):
            np.testing.assert_allclose(other[column], one[column] + by)
        np.testing.assert_allclose(other["margin_high"], one["margin_high"] - by)
        np.testing.assert_allclose(other["low_edge"], one["low_edge"])
    pd.testing.assert_frame_equal(plain.measures, moved.measures)


def test_measures_are_marked_by_the_worst_of_what_sex_may_be():
    heavy = {"body_mass_kg": 150, "stature_cm": 160}
    told = {}
    for sex in ("female", "male", None):
        entry = heavy | {"age_years": 40} | ({"sex": sex} if sex else {})
        answer = check_client(demo_chart(), entry, confirmed=True)
        told[sex] = answer.measures.set_index("measure")
    order = ["measured", "predicted", "extrapolated", "unsupported"]
    for measure in SEATED_AND_GIRTHS:
        each = [
            order.index(told[s].loc[measure, "evidence"]) for s in ("female", "male")
        ]
        assert told[None].loc[measure, "evidence"] == order[max(each)]
    assert told[None].loc["hip_breadth_sitting_cm", "evidence"] == "unsupported"
    table = told["female"]
    assert (table["n"] == 4096).all()
    assert table["method"].iloc[0] == "median and 90 % interval of joint draws"
    assert table.loc[["body_mass_kg", "stature_cm"], "evidence"].tolist() == (
        ["measured"] * 2
    )
    said = check_client(
        demo_chart(), {"sex": "female", "body_mass_kg": 68}, how="reported"
    )
    assert said.measures["evidence"].iloc[0] == "predicted"
    assert said.measures["how"].iloc[0] == "reported"


def test_an_own_chart_is_judged_by_the_counts_of_its_people():
    """Of a hundred like people three in ten are too heavy for what fits them."""
    hip = np.repeat([80.0, 100.0, 130.0], [40, 50, 10])
    mass = np.where(np.arange(100) % 10 < 3, 121.0, 90.0)
    own = people_from(pd.DataFrame({HIP: hip, "body_mass_kg": mass}))
    chart = chart_from(
        pd.DataFrame(
            {
                "size": ["one", "two"],
                "load_limit_kg": [120, None],
                f"{HIP}_low": [70, 90],
                f"{HIP}_high": [105, 110],
                "body_mass_kg_high": [100, None],
            }
        ),
        warn=False,
    )
    found = judge_chart(own, chart, replicates=2000)
    assert found.between.empty and (found.sizes["n"] == 100).all()
    sizes = found.sizes.set_index("size")
    # The first 90 have hips of size one, 27 of them over its load; 50 of size two.
    for name, counts in {
        "fits": [63, 50],
        "needs": [28, 15],
        "load_first": [27, 0],
    }.items():
        assert sizes[name].tolist() == pytest.approx(np.array(counts) / 100)
        for size, count in zip(("one", "two"), counts, strict=True):
            interval = binomtest(count, 100).proportion_ci(method="wilson")
            ends = sizes.loc[size, [f"{name}_low", f"{name}_high"]].tolist()
            # With t for a normal, and a bootstrap's noise.
            assert ends == pytest.approx([interval.low, interval.high], abs=0.012)
    assert sizes["unneeded"].tolist() == [False, False]
    assert sizes["load_limit_kg"].iloc[0] == 120 and np.isnan(
        sizes["load_limit_kg"].iloc[1]
    )
    assert found.coverage.table["estimate"].iloc[0] == pytest.approx(0.78)
    wide = with_edge(chart, "two", HIP, "high", None)
    moved = nudge(own, chart, wide).table.iloc[0]
    assert moved[["share_a", "share_b", "estimate"]].tolist() == pytest.approx(
        [0.78, 0.88, 0.1]
    )
    assert moved["changed"] == 10 and moved["n"] == 100
    half = stats.t.ppf(0.975, 99) * np.sqrt(0.1 * 0.9 / 99)
    assert [moved["low"], moved["high"]] == pytest.approx([0.1 - half, 0.1 + half])
