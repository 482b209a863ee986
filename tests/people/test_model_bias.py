"""The model's bias in other populations, as intervals of coverage carry it."""

import numpy as np
import pandas as pd
import pytest

from sizing.charts import assign, chart_from
from sizing.client.nudge import nudge, with_edge
from sizing.coverage import compare_charts, estimate_coverage
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people import People, people_from
from sizing.people.body.error import bias_correlation
from sizing.people.body.moments import model_bias
from sizing.people.body.terms import group_models
from sizing.people.layout import layout
from sizing.stats.shares import group_means

HIP, BACK = "hip_circumference_cm", "shoulder_height_sitting_cm"


@pytest.fixture(scope="module")
def people() -> People:
    rng = np.random.default_rng(4)
    frame = pd.DataFrame(
        {
            "sex": np.where(rng.random(1500) < 0.5, "female", "male"),
            "age_years": rng.uniform(20, 70, 1500),
            "body_mass_kg": rng.normal(78, 9, 1500),
            "stature_cm": rng.normal(168, 6, 1500),
        }
    )
    return people_from(frame, draws=6, seed=2)


@pytest.fixture(scope="module")
def chart():
    ends = {"size": ["one"], f"{HIP}_low": [95.0], f"{HIP}_high": [140.0]}
    ends |= {f"{BACK}_low": [40.0], f"{BACK}_high": [61.0]}
    return chart_from(pd.DataFrame(ends), warn=False)


def test_the_bias_is_that_of_moving_every_body(people, chart):
    """Against bodies longer or wider by the typical error, judged anew."""
    place = layout(people, chart.measures)
    plain = layout(people)
    share = place.weight / place.weight.sum()

    def covered(frame: pd.DataFrame) -> np.ndarray:
        given = People("x", frame, people.weight, people.evidence)
        return assign(given, chart).fits.any(axis=1)[place.rows].astype(float)

    fits = covered(people.frame)
    influence = share * (fits - (fits @ share)[:, None])
    told = np.mean(
        [place.model.gradient(d, influence[d][:, None])[0] for d in range(6)], axis=0
    )
    moved = np.zeros(len(SEATED_AND_GIRTHS))
    for measure in (HIP, BACK):
        j = SEATED_AND_GIRTHS.index(measure)
        up, down = (
            covered(
                people.frame.assign(
                    **{measure: people.frame[measure] * np.exp(side * model_bias()[j])}
                )
            )
            for side in (1, -1)
        )
        moved[j] = ((up - down) @ share).mean() / 2
    assert np.abs(moved).max() > 0.01
    (shift,), (bent,) = place.model.biased(told[None])
    np.testing.assert_allclose(shift, moved, rtol=0.15, atol=0.003)
    r = bias_correlation()
    own = [m.correlation for g in ("child", "adult") for m in group_models(g).values()]
    np.testing.assert_allclose(r, sum(own) / 4)
    whole = place.model.variance(told[None])[0]
    coefficients = plain.model.variance(
        np.mean(
            [plain.model.gradient(d, influence[d][:, None]) for d in range(6)], axis=0
        )
    )[0]
    expected = np.sqrt(moved @ r @ moved + coefficients + 3 * bent**2)
    assert np.sqrt(whole) == pytest.approx(expected, rel=0.15)
    # The bend, along the main axes of the two biases, in steps thrice as long.
    both = [SEATED_AND_GIRTHS.index(m) for m in (HIP, BACK)]
    value, axes = np.linalg.eigh(
        (r * np.outer(model_bias(), model_bias()))[both][:, both]
    )
    bend = 0.0
    for axis in (3 * np.sqrt(value) * axes).T:
        for side in (1, -1):
            factor = np.exp(side * axis)
            frame = people.frame.assign(
                **{
                    m: people.frame[m] * k
                    for m, k in zip((HIP, BACK), factor, strict=True)
                }
            )
            bend += ((covered(frame) - fits) @ share).mean() / 2 / 9
    assert bent == pytest.approx(bend, rel=0.3) and bent < -0.001


def test_intervals_of_coverage_are_wider_by_it_and_say_so(people, chart):
    row = estimate_coverage(people, chart).table.iloc[0]
    place = layout(people)
    fits = assign(people, chart).fits.any(axis=1)[place.rows, None].astype(float)
    everyone = [np.ones((len(place.weight), 1))] * 6
    without = group_means(place, list(fits), everyone, replicates=50, seed=1)
    low, high = without.shares()
    assert row["estimate"] == without.estimate[0, 0]
    assert row["low"] < low[0, 0] and high[0, 0] < row["high"]
    assert row["method"].endswith("fitted to other people, its bias counted")


def test_a_difference_of_charts_and_a_moved_edge_carry_it_alike(people, chart):
    other = with_edge(chart, "one", HIP, "high", 104.0)
    row = compare_charts(people, chart, other).table.iloc[0]
    assert row["method"].endswith("fitted to other people, its bias counted")
    moved = nudge(people, chart, other).table.iloc[0]
    told = [moved["estimate"], moved["low"], moved["high"]]
    assert told == pytest.approx([row["estimate"], row["low"], row["high"]], abs=0.002)
    full = estimate_coverage(people, other).table.iloc[0]
    ends = [moved["share_b_low"], moved["share_b_high"]]
    assert ends == pytest.approx([full["low"], full["high"]], abs=0.002)


def test_what_was_measured_has_no_bias():
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({"sex": ["female", "male"] * 100, "age_years": 40.0})
    frame["body_mass_kg"], frame["stature_cm"] = 75.0, rng.normal(168, 8, 200)
    people = people_from(frame, draws=3)
    tall = {"size": ["one"], "stature_cm_low": [160.0], "stature_cm_high": [175.0]}
    tall = chart_from(pd.DataFrame(tall), warn=False)
    row = estimate_coverage(people, tall).table.iloc[0]
    p = row["estimate"]
    assert row["standard_error"] == pytest.approx(np.sqrt(p * (1 - p) / 199), rel=1e-6)


@pytest.mark.surveys
def test_the_real_truth_is_held_where_bodies_are_drawn(survey_folder):
    """Samples of soldiers drawn from body mass and stature, the rest forgotten."""
    from tests.benchmarks.bench_calibration import soldiers

    found = pd.DataFrame(soldiers(20, 5, survey_folder), columns=["item", "held"])
    assert found.groupby("item")["held"].mean().min() >= 0.85
    assert found["held"].mean() >= 0.9
