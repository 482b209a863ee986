"""Chances keep their word: on survey people the model was not fitted on."""

import numpy as np
import pytest

from data_sources.derive_older_widths import derive
from sizing.client.draws import older_times
from sizing.client.how import reading
from sizing.client.posterior import draw_bodies
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.resources import source_table

from .calibrated import (
    HELD_OUT,
    ORDERS,
    ask,
    charts_for,
    held_by_shape,
    promised,
    without_bias,
)
from .cases import MASS, STATURE, THIGH, edges, fits

#: What was said and found of chances before unlike bodies were thought possible. It
#: must not be further out by more than 2 points.
BEFORE = {
    "soldiers": {
        "95 %": (0.950, 0.942),
        "80 %": (0.799, 0.801),
        "50 %": (0.498, 0.493),
        "first": (0.542, 0.536),
    },
    "children": {
        "95 %": (0.945, 0.957),
        "80 %": (0.800, 0.841),
        "50 %": (0.502, 0.522),
        "first": (0.539, 0.550),
    },
}
WORSE = 0.02


@pytest.fixture(scope="module", params=list(HELD_OUT))
def held_out(request, survey_folder):
    for people in HELD_OUT[request.param](survey_folder):
        yield request.param, people


@pytest.fixture(scope="module")
def asked(held_out):
    return held_out[0], ask(*held_out)


@pytest.mark.surveys
def test_of_sizes_said_to_fit_so_many_do(asked):
    who, asked = asked
    for name, row in promised(asked).iterrows():
        said, found = BEFORE[who][str(name)]
        assert row["n"] > 200, name
        gap = abs(row["found"] - row["said"])
        assert gap <= abs(found - said) + WORSE, (name, row["said"], row["found"])


@pytest.mark.surveys
def test_more_known_is_never_worse_on_average(asked):
    who, asked = asked
    squared = (asked["chance"] - asked["fits"]) ** 2
    assert squared.groupby(asked["taken"]).mean().is_monotonic_decreasing
    if who == "soldiers":
        # E max P(size | what is known) cannot fall; among so few it may waver.
        named = asked[asked["first"] == 1].groupby("taken")[["fits", "chance"]].mean()
        assert (named.diff().dropna() > -0.01).all(axis=None)
        assert (named.loc[3.0] > named.loc[0.0] + 0.01).all()


@pytest.mark.surveys
def test_two_readings_beat_one(held_out):
    who, people = held_out
    rng = np.random.default_rng(3)
    charts = [edges(chart) for chart in charts_for(who, people, rng)]
    scores = {"tape once": [], "tape twice": []}
    for _, row in people.iloc[::3].iterrows():
        true = np.array([[row.get(name, np.nan) for name in MEASURES]], dtype=float)
        one, two = rng.normal(0, 1, (2, len(ORDERS[who])))
        build = [reading(MASS, float(row[MASS]), "scale")]
        build.append(reading(STATURE, float(row[STATURE])))
        for how in scores:
            readings = [*build]
            for name, a, b in zip(ORDERS[who], one, two, strict=True):
                error = a if how == "tape once" else (a + b) / 2
                value = float(row[name]) + reading(name, 1.0).sd * error
                readings.append(reading(name, value, how))
            age = float(row["age_years"])
            bodies = draw_bodies(row["sex"], age, readings, draws=512)
            for chart in charts:
                chance = bodies.weight @ fits(bodies.values, chart).fits
                right = fits(true, chart).fits[0]
                scores[how].append(np.square(chance - right).mean())
    assert np.mean(scores["tape twice"]) < np.mean(scores["tape once"])


@pytest.mark.surveys
def test_thighs_of_the_old_lie_where_said(survey_folder, monkeypatch):
    without_bias(monkeypatch)
    held = held_by_shape(survey_folder)
    assert len(held) > 250
    # As run once: 96.3, 91.4 and 55.4 %; as surveyed, not widened: 70, 63 and 31 %.
    assert 0.86 <= held[0.90].mean() <= 0.94
    assert held[0.95].mean() >= 0.92
    assert 0.46 <= held[0.50].mean() <= 0.60
    assert (held.groupby("sex")[0.90].mean() > 0.83).all()


@pytest.mark.surveys
def test_widths_are_those_of_the_survey(survey_folder):
    made, shipped = derive(survey_folder), source_table("older_widths.csv")
    assert made["times"].tolist() == shipped["times"].tolist()
    assert (made["measure"] == shipped["measure"]).all()


@pytest.mark.parametrize("sex", SEXES)
def test_only_those_older_than_the_surveyed_are_wider(sex):
    age = np.arange(2.0, 111.0)
    times = older_times(np.full(len(age), sex, dtype=object), age)
    assert (times[age <= 58] == 1).all()
    assert (np.diff(times[age >= 75], axis=0) == 0).all()
    assert (times >= 1).all()
    thigh = SEATED_AND_GIRTHS.index(THIGH)
    assert times[-1, thigh] > 1.5
    assert (np.diff(times, axis=0) >= 0)[:, thigh].all()


@pytest.mark.parametrize("sex", SEXES)
def test_what_is_predicted_for_the_old_is_wider(sex):
    def width(age):
        build = [reading(MASS, 70.0, "exact"), reading(STATURE, 165.0)]
        low, high = draw_bodies(sex, age, build).quantile([0.05, 0.95])
        return np.log(high / low)[MEASURES.index(THIGH)]

    assert width(85.0) > 1.5 * width(55.0)
