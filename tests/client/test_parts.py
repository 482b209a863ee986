"""One client piece by piece: draws, weights and gains, each worked out anew."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.stats import binomtest, norm

from sizing.client.how import reading
from sizing.client.nudge import nudge, with_edge
from sizing.client.own_chart import judge_chart
from sizing.client.posterior import _bodies, _builds, _Pool, _seated
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people.body.moments import moments
from sizing.people.own import people_from

from .cases import BACK, DEMO, HIP, MASS, SITTING, STATURE, check, made, row_of

KERNEL = np.diag([0.03**2, 0.01**2])


@pytest.fixture(scope="module")
def pool():
    """Invented people: ln mass, ln stature, age, sex."""
    draw = np.random.default_rng(4)
    build = np.column_stack([draw.normal(4.3, 0.2, 600), draw.normal(5.1, 0.05, 600)])
    sex = draw.choice(["female", "male"], 600).astype(object)
    return _Pool(build, draw.uniform(2, 80, 600), sex)


@pytest.mark.parametrize(
    ("mass", "how"),
    [(None, "guessed"), (75.0, "guessed"), (240.0, "scale"), (50_000.0, "scale")],
)
def test_builds_are_drawn_from_the_mixture_given_the_readings(pool, mass, how):
    """Weights by the density of the reading, not by completing the square."""
    one = reading(MASS, mass or 75.0, how)
    noise, at = one.log_sd**2 if mass else 1e12, one.log_value
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
    build, age, sex = _builds(pool, age_weight, 40.0, centre, precision, aim, u)
    sd = np.sqrt(np.diag(spread))
    assert np.abs((build.mean(axis=0) - mean) / sd).max() < 0.02
    scaled = (np.cov(build.T) - spread) / np.outer(sd, sd)
    assert np.abs(scaled).max() < 0.03
    assert (age == 40.0).all()
    women = (pool.sex == "female").astype(float)
    assert (sex == "female").mean() == pytest.approx(weight @ women, abs=0.01)
    # The further from everybody, the wider the kernel, within eight steps.
    assert (step > 0) == (mass in (240.0, 50_000.0))


def test_bodies_follow_each_build_and_impossible_ones_weigh_nothing(rng):
    n, each = 2, 4
    parts = (
        np.log([[70.0, 170.0], [90.0, 180.0]]),
        np.array([40.5, 60.5]),
        np.array(["female", "male"], dtype=object),
    )
    one = moments(parts[2], *np.exp(parts[0]).T, parts[1])
    covariance = one.covariance()
    nothing, none = np.full(len(one.mean[0]), np.nan), np.zeros(len(one.mean[0]))
    z = np.zeros((n * each, len(none)))
    sitting = SEATED_AND_GIRTHS.index(SITTING)
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
    z = rng.normal(size=(20_000, len(none)))
    logs = _seated(one.mean, laws, never, nothing, none, z)
    told = _bodies(parts, logs, np.array([0.5, 0.5]), [], confirmed=False)
    for i in range(n):
        logs = np.log(told.values[told.build == i, 2:])
        assert np.abs((logs.mean(axis=0) - one.mean[i]) / one.sd[i]).max() < 0.05
        sd = np.sqrt(np.diag(covariance[i]))
        r = np.abs(np.cov(logs.T) - covariance[i]) / np.outer(sd, sd)
        assert r.max() < 0.07


@pytest.mark.parametrize("known", [{}, {HIP: 104, BACK: 57}])
def test_the_measure_likeliest_to_fail_decides_and_of_equals_the_tightest(known):
    # Over 58 no predicted chance is written above 95 %, so that many would be equal.
    entry = {"sex": "female", "age_years": 50, MASS: 68, STATURE: 160}
    answer = check(entry | known)
    margins = answer.margins
    width = (margins["high_edge"] - margins["low_edge"]).groupby(margins["measure"])
    tight = margins["margin"] / margins["measure"].map(width.median())
    ranked = margins.assign(chance=margins["chance"].round(6), tight=tight)
    ranked = ranked.sort_values(["chance", "tight"], kind="stable")
    first = ranked.groupby("size").first()
    told = margins[margins["decides"]].set_index("size")
    assert len(told) == len(DEMO.sizes)
    assert told["measure"].to_dict() == first["measure"].to_dict()
    edge = margins[["margin_low", "margin_high"]].min(axis=1)
    np.testing.assert_allclose(margins["margin"], edge)
    sizes = answer.sizes.set_index("size")
    borne = ~sizes["over_load"]
    decides = told["measure"].reindex(sizes.index)
    assert (sizes["deciding_measure"] == decides)[borne].all()
    np.testing.assert_allclose(sizes["margin"], told["margin"].reindex(sizes.index))
    order = sizes.assign(rounded=sizes["estimate"].round(3))
    again = order.sort_values(["rounded", "margin"], ascending=False, kind="stable")
    assert again.index.tolist() == sizes.index.tolist()


def test_measures_are_marked_by_the_worst_of_what_sex_may_be():
    heavy = {MASS: 150, STATURE: 160, "age_years": 40}
    told = {
        sex: check(heavy | {"sex": sex}, confirmed=True).measures.set_index("measure")
        for sex in ("female", "male", None)
    }
    order = ["measured", "predicted", "extrapolated", "unsupported"]
    for measure in SEATED_AND_GIRTHS:
        each = [told[sex].loc[measure, "evidence"] for sex in ("female", "male")]
        assert told[None].loc[measure, "evidence"] == max(each, key=order.index)
    assert told[None].loc["hip_breadth_sitting_cm", "evidence"] == "unsupported"
    # Nobody older than 58 was measured for lengths.
    old = check(heavy | {"age_years": 74, MASS: 68}).measures
    assert row_of(old, SITTING)["evidence"] == "extrapolated"
    table = told["female"]
    assert (table["n"] == 4096).all()
    assert table["method"].iloc[0] == "median and 90 % interval of joint draws"
    assert (table.loc[[MASS, STATURE], "evidence"] == "measured").all()
    said = check({"sex": "female", MASS: 68}, how="reported").measures.iloc[0]
    assert (said["evidence"], said["how"]) == ("predicted", "reported")


def test_an_own_chart_is_judged_by_the_counts_of_its_people():
    """Of a hundred like people three in ten are too heavy for what fits them."""
    hip = np.repeat([80.0, 100.0, 130.0], [40, 50, 10])
    mass = np.where(np.arange(100) % 10 < 3, 121.0, 90.0)
    own = people_from(pd.DataFrame({HIP: hip, MASS: mass}))
    limits = {HIP: [(70, 105), (90, 110)], MASS: [(None, 100), (None, None)]}
    chart = made(limits, load=[120, None])
    found = judge_chart(own, chart, replicates=2000)
    assert found.between.empty and (found.sizes["n"] == 100).all()
    sizes = found.sizes.set_index("size")
    # The first 90 have hips of size one, 27 of them over its load; 50 of size two.
    for name, counts in (
        ("fits", [63, 50]),
        ("needs", [28, 15]),
        ("load_first", [27, 0]),
    ):
        assert sizes[name].tolist() == pytest.approx(np.array(counts) / 100)
        for size, count in zip(("one", "two"), counts, strict=True):
            interval = binomtest(count, 100).proportion_ci(method="wilson")
            ends = sizes.loc[size, [f"{name}_low", f"{name}_high"]].tolist()
            # With t for a normal, and a bootstrap's noise.
            assert ends == pytest.approx([interval.low, interval.high], abs=0.012)
    assert sizes["unneeded"].tolist() == [False, False]
    np.testing.assert_array_equal(sizes["load_limit_kg"], [120, np.nan])
    assert found.coverage.table["estimate"].iloc[0] == pytest.approx(0.78)
    wide = with_edge(chart, "two", HIP, "high", None)
    moved = nudge(own, chart, wide).table.iloc[0]
    shares = moved[["share_a", "share_b", "estimate"]].tolist()
    assert shares == pytest.approx([0.78, 0.88, 0.1])
    assert moved["changed"] == 10 and moved["n"] == 100
    half = stats.t.ppf(0.975, 99) * np.sqrt(0.1 * 0.9 / 99)
    assert [moved["low"], moved["high"]] == pytest.approx([0.1 - half, 0.1 + half])
