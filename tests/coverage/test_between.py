"""Who falls between sizes: closed forms, a published table, separation."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from sizing.coverage import who_falls_between
from sizing.coverage.between import COLUMNS
from sizing.errors import SizingError
from sizing.people.classes import age_band

from .cases import CHART, exposed_people, invented, people_with


def direct_fit(frame, weight, columns, **errors):
    """Return statsmodels' own model of who falls between the sizes of the chart."""
    x = frame["stature_cm"].round(1)
    between = ((x > 168) & (x < 172)).astype(float)
    design = sm.add_constant(pd.DataFrame(columns).astype(float))
    family = sm.families.Binomial()
    return sm.GLM(between, design, family=family, var_weights=weight).fit(**errors)


def test_weighted_model_against_a_direct_call(rng):
    people = invented(rng, 600, 1)
    adults = people.frame["age_years"] >= 18
    found = who_falls_between(people, CHART, terms=["sex", "age_band"])
    found = found.query("fitted_to == 'adults'").set_index("level")

    frame, weight = people.frame[adults], people.weight[adults]
    band = np.asarray(age_band(frame["age_years"]))
    columns = {b: band == b for b in ("18 to 39", "60 to 79", "80 and over")}
    columns["male"] = frame["sex"] == "male"
    direct = direct_fit(frame, weight / weight.mean(), columns, cov_type="HC0")
    for level in columns:
        assert found.loc[level, "estimate"] == pytest.approx(
            np.exp(direct.params[level])
        )
        half = np.log(found.loc[level, "high"] / found.loc[level, "estimate"])
        assert half / 1.97 == pytest.approx(direct.bse[level], rel=0.01)
    assert found.loc["female", "message"] == "the reference"
    assert found.loc["40 to 59", "estimate"] == 1


def test_children_are_modelled_apart(rng):
    people = invented(rng, 600, 1)
    found = who_falls_between(people, CHART)
    child = people.frame["age_years"] < 18
    for name, chosen in (("children", child), ("adults", ~child)):
        rows = found[found["fitted_to"] == name]
        assert rows.query("term == 'sex'")["n"].sum() == chosen.sum()
    adult_bands = {"18 to 39", "40 to 59", "60 to 79", "80 and over"}
    children = found.query("fitted_to == 'children' and term == 'age_band'")
    assert not adult_bands & set(children["level"])
    assert list(found.columns) == COLUMNS


def test_people_of_unknown_age_are_left_out(rng):
    people = invented(rng, 300, 1)
    frame = people.frame.copy()
    frame.loc[:49, "age_years"] = np.nan
    found = who_falls_between(replace(people, frame=frame), CHART, terms=["sex"])
    assert found["n"].sum() == 250


def test_draws_are_joined(rng):
    people = invented(rng, 400, 4)
    people.frame["stature_cm"] += rng.normal(0, 1, 1600)
    joined = who_falls_between(people, CHART, terms=["sex"])
    men = "fitted_to == 'adults' and level == 'male'"
    row, logs = joined.query(men).iloc[0], []
    for draw in range(4):
        here = people.frame["draw"] == draw
        single = people_with(people.frame[here].assign(draw=0), people.weight[here])
        found = who_falls_between(single, CHART, terms=["sex"])
        logs.append(np.log(found.query(men)["estimate"].iloc[0]))
    assert np.log(row["estimate"]) == pytest.approx(np.mean(logs))
    assert "4 draws joined" in row["method"]


@pytest.mark.filterwarnings("ignore:cov_type not fully supported")
def test_errors_of_one_stratum_against_statsmodels(rng):
    """statsmodels' clustered sandwich also scales by (n - 1) / (n - k)."""
    people = invented(rng, 400, 1)
    people = people_with(
        people.frame.assign(age_years=50.0, stratum=1, unit=rng.integers(0, 25, 400)),
        people.weight,
    )
    found = who_falls_between(people, CHART, terms=["sex"])
    columns = {"sex": people.frame["sex"] == "male"}
    errors = {"cov_type": "cluster"}
    errors["cov_kwds"] = {"groups": people.frame["unit"].to_numpy()}
    direct = direct_fit(people.frame, people.weight, columns, **errors)
    row = found.query("level == 'male'").iloc[0]
    assert np.log(row["estimate"]) == pytest.approx(direct.params["sex"])
    half = np.log(row["high"] / row["estimate"]) / stats.t.ppf(0.975, 24)
    want = direct.bse["sex"] * np.sqrt((400 - 2) / (400 - 1))
    assert half == pytest.approx(want, rel=1e-6)


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        ((0, 40, 20, 60), "nobody in this group falls between sizes"),
        ((40, 0, 20, 60), "everybody in this group falls between sizes"),
    ],
)
def test_separation_is_a_message_not_a_crash(counts, message):
    found = who_falls_between(exposed_people(counts), CHART, terms=["exposed"])
    row = found.query("level == 'yes'").iloc[0]
    assert message in row["message"]
    assert "no comparison of odds can be given" in row["message"]
    assert np.isnan(row["estimate"])
    assert found.query("level == 'no'")["message"].iloc[0] == "the reference"


def test_a_barred_level_does_not_spoil_the_others(rng):
    people = invented(rng, 600, 1)
    frame = people.frame.assign(ward=rng.choice(["a", "b", "c"], 600))
    frame.loc[frame["ward"] == "c", "stature_cm"] = 160.0
    found = who_falls_between(replace(people, frame=frame), CHART, terms=["ward"])
    adults = found.query("fitted_to == 'adults'").set_index("level")
    assert np.isnan(adults.loc["c", "estimate"])
    assert adults.loc[["a", "b"], "estimate"].notna().all()


def test_a_level_empty_in_some_draw_is_told(rng):
    people = invented(rng, 200, 2)
    frame = people.frame.assign(
        drawn=np.where(
            (people.frame["draw"] == 1) & (people.frame["person"] < 40), "yes", "no"
        )
    )
    found = who_falls_between(replace(people, frame=frame), CHART, terms=["drawn"])
    row = found.query("fitted_to == 'adults' and level == 'yes'").iloc[0]
    assert "in some draw nobody is in this group" in row["message"]
    assert "in at least one of 2 draws" in row["message"]


def test_terms_that_say_the_same_are_a_message(rng):
    people = invented(rng, 600, 1)
    frame = people.frame.assign(copy=people.frame["sex"])
    found = who_falls_between(
        replace(people, frame=frame), CHART, terms=["sex", "copy"]
    )
    rows = found[found["message"] != "the reference"]
    assert rows["message"].str.contains("cannot be kept apart").all()
    assert rows["estimate"].isna().all()


def test_nobody_asked_gives_an_empty_table():
    frame = pd.DataFrame({"stature_cm": [np.nan], "sex": "female", "age_years": 50.0})
    found = who_falls_between(people_with(frame), CHART, terms=["sex"])
    assert found.empty
    assert list(found.columns) == COLUMNS


def test_terms_that_cannot_be_used(rng):
    with pytest.raises(SizingError, match="at least one term"):
        who_falls_between(invented(rng, 60), CHART, terms=[])
    with pytest.raises(SizingError, match="no column wrad"):
        who_falls_between(invented(rng, 60), CHART, terms=["wrad"])
