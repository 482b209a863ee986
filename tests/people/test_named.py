"""The named populations: who is in them, what they weigh, how near they come."""

import re
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rcpchgrowth import sds_for_measurement
from scipy.stats import norm

from data_sources import derive_population_totals
from sizing.errors import SizingError, SizingWarning
from sizing.measures import MEASURES
from sizing.people.classes import (
    CHILD_BMI,
    GROWTH_MEASURES,
    age_band,
    bmi_class,
    value_at,
    z_score,
)
from sizing.people.named import POPULATIONS, cells, load_people, reweight
from sizing.people.own import people_from
from sizing.people.people import LIMITS, model_limits
from sizing.resources import source_table
from sizing.stats.formulas import weighted_quantile
from sizing.surveys import read_embedded

HIP = "hip_circumference_cm"
PERCENTILES = np.arange(5, 100, 5) / 100


@cache
def loaded(name, draws=2):
    return load_people(name, draws=draws, seed=1)


def mean_of(people, column, chosen=None):
    chosen = np.ones(len(people.frame), dtype=bool) if chosen is None else chosen
    value = people.frame[column].to_numpy(dtype=float)[chosen]
    return np.average(value, weights=people.weight.to_numpy()[chosen])


def women(people):
    return (people.frame["sex"] == "female").to_numpy()


@pytest.mark.parametrize("name", POPULATIONS)
def test_every_population_is_whole(name):
    people = loaded(name)
    frame = people.frame
    assert people.name == name and people.measures == MEASURES
    for part in (frame, people.weight, people.evidence):
        assert part.index.equals(pd.RangeIndex(len(frame)))
    assert frame[list(MEASURES)].notna().all(axis=None)
    assert (people.evidence[list(MEASURES)] != "missing").all(axis=None)
    assert (people.weight > 0).all()
    # One weight per person, and every person in every draw.
    assert len(frame) == people.n * people.draws
    assert not frame.duplicated(["person", "draw"]).any()
    spread = people.weight.groupby(frame["person"]).agg(np.ptp)
    assert spread.max() <= 1e-9 * people.weight.max()
    by_draw = people.weight.groupby(frame["draw"]).sum()
    np.testing.assert_allclose(by_draw, by_draw.iloc[0])
    assert frame[["age_band", "bmi_class"]].notna().all(axis=None)
    assert {"walking_difficulty", "ethnic_group"} <= set(frame.columns)
    assert people.sources and people.design_effect >= 1
    assert all(sentence.endswith(".") for sentence in people.limits)
    assert {LIMITS["at_home"], LIMITS["no_posture"]} <= set(people.limits)


def test_everyone_adds_up_to_the_totals_cell_by_cell():
    people = loaded("everyone")
    totals = source_table("nhanes_2017_2018_totals.csv", keep_default_na=False)
    first = (people.frame["draw"] == 0).to_numpy()
    weight = pd.Series(people.weight[first].to_numpy())
    # Who belongs where goes by what was measured, before anything is drawn.
    for kind, cell in cells(read_embedded().frame).items():
        rows = totals[totals["kind"] == kind]
        by = list(cell)
        got = weight.groupby([cell[name].astype(str) for name in by]).sum()
        expected = rows.set_index(by)["total"].sort_index()
        np.testing.assert_allclose(got.sort_index(), expected, rtol=1e-4)
    assert people.n == read_embedded().n


def test_adults_are_as_heavy_as_the_survey_weighs_them():
    """Shares by the survey's own weights: 8.9, 1.55, 4.75 and, walking, 8.6 %."""
    adults, walking = loaded("adults"), loaded("walking_difficulty")
    for people, column, over, share, near in (
        (adults, "bmi", 40, 0.0890, 0.002),
        (adults, "bmi", 50, 0.0155, 0.002),
        (adults, "body_mass_kg", 127, 0.0475, 0.002),
        (walking, "body_mass_kg", 127, 0.087, 0.007),
    ):
        found = np.average(people.frame[column] > over, weights=people.weight)
        assert found == pytest.approx(share, abs=near)


@pytest.mark.parametrize(
    ("name", "ages", "said", "not_said"),
    [
        ("everyone", (2, 80), "seam", None),
        ("children", (2, 17), "children_1977", None),
        ("adults", (18, 80), "soldiers", "children_1977"),
        ("care_home_nordic", (65, 80), "soldiers", "seam"),
        ("bariatric", (18, 80), "bariatric", None),
        ("walking_difficulty", (18, 80), "proxy", None),
    ],
)
def test_who_is_in_each_population_and_with_what_limits(name, ages, said, not_said):
    people = loaded(name)
    assert tuple(people.frame["age_years"].agg(["min", "max"])) == ages
    assert LIMITS[said] in people.limits
    assert LIMITS.get(not_said) not in people.limits
    if name == "walking_difficulty":
        assert people.frame["walking_difficulty"].all()
    if name == "bariatric":
        assert (people.frame["bmi"] >= 40).all()
    if name == "everyone":
        assert loaded("children").n + loaded("adults").n == people.n


@pytest.mark.parametrize("name", ["care_home_nordic", "england_adults"])
def test_margins_are_reached_on_the_people_themselves(name):
    people = loaded(name)
    table = people.settings["margins"]
    np.testing.assert_allclose(table["reached"], table["asked"], rtol=1e-6)
    # And by hand, without the margins' own code.
    if name == "care_home_nordic":
        assert np.average(women(people), weights=people.weight) == pytest.approx(0.642)
        low = (people.frame["bmi"] < 20).to_numpy()
        assert np.average(low, weights=people.weight) == pytest.approx(0.33)
    else:
        men = ~women(people)
        assert mean_of(people, "stature_cm", men) == pytest.approx(175.5)
        obese = (people.frame["bmi"] >= 30).to_numpy()
        assert np.average(obese, weights=people.weight) == pytest.approx(0.30)
        # Not weighted to: 2021, adjusted self-report, 85.1 and 71.8 kg; 2022, 67 %
        # of men overweight or obese.
        assert mean_of(people, "body_mass_kg", men) == pytest.approx(85.1, abs=2)
        assert mean_of(people, "body_mass_kg", ~men) == pytest.approx(71.8, abs=2)
    assert people.weight.sum() == pytest.approx(len(people.frame))
    assert any("design effect" in sentence for sentence in people.limits)
    assert any("Margin: " in source for source in people.sources)
    assert people.design_effect == pytest.approx(people.settings["design_effect"])


def test_care_home_alone_is_answered_with_the_two_there_are():
    with pytest.raises(SizingError, match="care_home_us or care_home_nordic"):
        load_people("care_home")
    home = loaded("care_home_us")
    share = [np.average(home.frame["bmi"] >= b, weights=home.weight) for b in (30, 40)]
    assert share == pytest.approx([0.28, 0.062])


def test_a_users_margins_take_the_place_of_the_kits():
    asked = pd.DataFrame({"variable": ["walking_difficulty", "bmi"]})
    asked = asked.assign(statistic=["share", "mean"], level=["yes", ""])
    asked["target"] = [0.5, 24.0]
    people = load_people("care_home_nordic", draws=1, margins=asked)
    answer = people.frame["walking_difficulty"]
    known = answer.notna().to_numpy()
    share = np.average(answer[known].astype(float), weights=people.weight[known])
    assert share == pytest.approx(0.5)
    assert mean_of(people, "bmi") == pytest.approx(24.0)
    assert len(people.settings["margins"]) == 2


def test_the_bariatric_are_as_many_as_among_all_adults():
    """Rows of all adults at or above the threshold, counted over their draws."""
    draws = 4
    adults = load_people("adults", draws=draws)
    heavy = (adults.frame["bmi"] >= 40).to_numpy()
    people = load_people("bariatric", draws=draws)
    assert set(people.frame["person"]) == set(adults.frame.loc[heavy, "person"])
    expected = adults.weight[heavy].groupby(adults.frame["person"]).sum() / draws
    got = people.weight.groupby(people.frame["person"]).first()
    np.testing.assert_allclose(got, expected, rtol=1e-12)
    # Some of them belong in part of their draws only, or nothing was tested.
    times = adults.frame.loc[heavy, "person"].value_counts()
    assert (times < draws).any()
    # Each draw that belongs is kept, and none much oftener than another.
    kept = people.frame.groupby(["person", "bmi", HIP]).size().groupby("person")
    assert (kept.size() == times.sort_index()).all()
    assert (kept.max() - kept.min() <= 1).all() and (kept.sum() == draws).all()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"name": "martians"}, "everyone, children, adults"),
        ({"name": "adults", "draws": 0}, "number of draws makes no sense"),
        ({"name": "adults", "draws": 2.5}, "number of draws makes no sense"),
        ({"name": "bariatric", "bmi_threshold": 19.9}, "from 20 to 80"),
        ({"name": "bariatric", "bmi_threshold": 80.1}, "from 20 to 80"),
        ({"name": "adults", "margins": pd.DataFrame()}, "no row with a margin"),
    ],
)
def test_settings_that_cannot_be_used_are_refused(arguments, words):
    with pytest.raises(SizingError, match=words):
        load_people(**arguments)


def test_the_threshold_may_be_as_low_and_as_high_as_it_is_said_to_be():
    all_but_the_thin = load_people("bariatric", draws=1, bmi_threshold=20)
    assert all_but_the_thin.n > 0.9 * loaded("adults").n
    assert all_but_the_thin.frame["bmi"].min() >= 20
    with pytest.warns(SizingWarning, match="2 people as informative as"):
        assert load_people("bariatric", draws=1, bmi_threshold=80).n == 2
    # A body mass index on the threshold is in.
    bmi = loaded("bariatric").frame["bmi"]
    threshold = float(bmi[bmi < 45].max())
    found = load_people("bariatric", draws=1, bmi_threshold=threshold)
    assert found.frame["bmi"].min() == threshold


@pytest.mark.parametrize(
    ("ages", "told"),
    [
        ((2, 15.9), {"children", "seam"}),
        ((2, 16), {"children", "seam", "adults"}),
        ((17.9, 80), {"children", "seam", "adults"}),
        ((18, 80), {"seam", "adults"}),
        ((19.9, 80), {"seam", "adults"}),
        ((20, 80), {"adults"}),
    ],
)
def test_limits_of_the_models_are_those_of_the_ages(ages, told):
    found = model_limits(*ages)
    names = {"children": "children_1977", "seam": "seam", "adults": "soldiers"}
    assert {one for one, name in names.items() if LIMITS[name] in found} == told
    # Of nobody was the back taped along the body.
    assert LIMITS["back"] in found


def test_what_weights_cost_and_lean_on_is_said():
    sexes = ["f"] * 10 + ["m"] * 70
    own = people_from(pd.DataFrame({"sex": sexes, "stature_cm": [160.0] * 80}))
    row = {"variable": "sex", "statistic": "share", "level": "female"}
    for target, raised in ((0.5, True), (0.24, False)):
        people = reweight(own, pd.DataFrame([row | {"target": target}]))
        told = people.limits[-1]
        w = people.weight
        effect = len(w) * (w**2).sum() / w.sum() ** 2
        assert people.design_effect == pytest.approx(effect)
        assert people.effective_n == pytest.approx(80 / effect)
        assert told.startswith(
            f"Reweighted to 1 margins: 80 people say as much as {80 / effect:.0f} "
            f"equally weighted ones (design effect {effect:.1f})."
        )
        lean = f"is raised from 12 % to {100 * target:.0f} %, and rests on 10 people."
        assert (lean in told) == raised
        assert ("raised" in told) == raised
        assert f"design effect {effect:.2f}" in people.summary()
    assert "each drawn 2 times" in loaded("adults").summary()
    assert "each drawn" not in own.summary()


def test_bands_of_age_begin_where_they_say():
    ages = [1.99, 2, 4.99, 5, 9.99, 10, 13.9, 14, 17.9, 18, 39.9, 40, 59.9, 60, 79.9]
    found = age_band([*ages, 80, np.nan])
    words = found.astype(object)
    for age, word in zip([*ages, 80], words[:-1], strict=True):
        if age < 2:
            assert pd.isna(word)
            continue
        ends = [float(part) for part in re.findall(r"\d+", word)]
        assert ends[0] <= age and (len(ends) == 1 or age < ends[1] + 1)
    assert pd.isna(words[-1]) and found.ordered


@pytest.mark.parametrize("sex", ["female", "male"])
@pytest.mark.parametrize("age", [2.0, 7.0, 12.0, 17.0])
def test_classes_of_children_against_another_library(sex, age):
    bmi = np.arange(12.0, 34.0)
    frame = pd.DataFrame(
        {"sex": sex, "age_years": age, "stature_cm": 100.0, "body_mass_kg": bmi}
    )
    z = [sds_for_measurement("cdc", age + 0.5, "bmi", one, sex=sex) for one in bmi]
    # 5, 85 and 95 per cent (US CDC about child BMI, from memory).
    ends, words = [0, 0.05, 0.85, 0.95, 1.1], list(CHILD_BMI.values())
    expected = pd.cut(norm.cdf(z), ends, right=False, labels=words)
    assert bmi_class(frame).tolist() == list(expected)
    assert len(set(expected)) >= 3


def test_ages_with_decimals_are_taken_as_they_are():
    frame = pd.DataFrame({"sex": ["male"] * 2, "age_years": [2.0, 10.01]})
    # P95 of boys of exactly 2 is 19.3, half a year later 18.5.
    frame = frame.assign(stature_cm=100.0, body_mass_kg=[18.8, 17.0])
    assert bmi_class(frame).tolist() == ["overweight", "healthy weight"]
    whole = frame.assign(age_years=[2.0, 10.0])
    assert bmi_class(whole).tolist() == ["obesity", "healthy weight"]


def test_means_of_adults_against_published_ones():
    """US adults 2011-14: men 195.7 lb, 5 ft 9 1/4; women 168.5 lb, 5 ft 3 3/4.

    NCHS, Vital and Health Statistics 3(39), release of 3 August 2016. The people
    are of 2017-18, and the mean body mass has risen.
    """
    people = loaded("adults")
    female = women(people)
    for measure, men, hers, near in (
        ("stature_cm", 175.9, 161.9, 1.5),
        ("body_mass_kg", 88.8, 76.4, 3),
    ):
        assert mean_of(people, measure, ~female) == pytest.approx(men, abs=near)
        assert mean_of(people, measure, female) == pytest.approx(hers, abs=near)


@pytest.mark.surveys
def test_stature_percentiles_come_within_2_5_mm_of_the_surveys_own(survey_folder):
    frame = derive_population_totals.weighted(survey_folder)
    grown = frame[(frame["age_years"] >= 18) & frame["stature_cm"].notna()]
    of = grown["stature_cm"]
    expected = weighted_quantile(of, PERCENTILES, weights=grown["weight"])
    people = loaded("adults")
    measured = (people.evidence["stature_cm"] == "measured").to_numpy()
    stature, weight = people.frame["stature_cm"], people.weight
    got = weighted_quantile(stature[measured], PERCENTILES, weights=weight[measured])
    plain = weighted_quantile(grown["stature_cm"], PERCENTILES)
    assert np.abs(got - expected).mean() < 0.25
    assert np.abs(plain - expected).mean() > 2 * np.abs(got - expected).mean()


# The CDC 2000 reference: against another library, itself and published values


OTHER_NAMES = {"stature_cm": "height", "body_mass_kg": "weight", "bmi": "bmi"}
# The other library follows CDC's extension of 2022 above the 95th centile of BMI.
SPREAD = {"stature_cm": (0.85, 1.15), "body_mass_kg": (0.7, 1.6), "bmi": (0.8, 1.1)}


@pytest.mark.parametrize("measure", list(GROWTH_MEASURES))
@pytest.mark.parametrize("sex", ["female", "male"])
def test_z_scores_against_rcpchgrowth(measure, sex):
    # Ages of the reference's own rows (half months), where no interpolation
    # enters: the other library interpolates by cubic curves.
    for months in (36.5, 60.5, 100.5, 150.5, 200.5, 230.5):
        age = months / 12
        for factor in (*SPREAD[measure], 1.02):
            value = float(value_at(measure, sex, age, 0.0)) * factor
            name = OTHER_NAMES[measure]
            other = sds_for_measurement("cdc", age, name, value, sex=sex)
            ours = float(z_score(measure, sex, age, value))
            assert ours == pytest.approx(other, abs=0.01)


def test_medians_against_published_table():
    # CDC 2000 growth chart data tables: stature-for-age and BMI-for-age,
    # medians at 24 months as published (statage.csv, bmiagerev.csv).
    assert value_at("stature_cm", "male", 2.0, 0.0) == pytest.approx(86.4522, abs=1e-4)
    assert value_at("bmi", "male", 2.0, 0.0) == pytest.approx(16.57503, abs=1e-5)


@given(
    st.sampled_from(list(GROWTH_MEASURES)),
    st.sampled_from(["female", "male"]),
    st.floats(2.05, 20.0),
    st.floats(-3.0, 2.5),
)
def test_value_and_z_undo_each_other(measure, sex, age, z):
    value = value_at(measure, sex, age, z)
    assert z_score(measure, sex, age, value) == pytest.approx(z, abs=1e-6)


@pytest.mark.parametrize("sex", ["female", "male"])
def test_where_the_power_is_nothing_the_logarithm_takes_its_place(sex):
    """L of stature crosses 0: there and on either side one curve."""
    table = source_table("cdc_2000_lms.csv")
    table = table[(table["measure"] == "stature") & (table["sex"] == sex)]
    age, power, median, spread = (
        table.sort_values("age_years")[c].to_numpy() for c in ("age_years", *"LMS")
    )
    for i in np.flatnonzero(np.sign(power[1:]) != np.sign(power[:-1])):
        part = power[i] / (power[i] - power[i + 1])
        at, m, s = (x[i] + part * (x[i + 1] - x[i]) for x in (age, median, spread))
        for z in (-2.0, 0.5, 2.0):
            value = value_at("stature_cm", sex, at, z)
            assert value == pytest.approx(m * np.exp(s * z), rel=1e-9)
            assert z_score("stature_cm", sex, at, value) == pytest.approx(z, abs=1e-6)
            for near in (at - 1e-4, at + 1e-4):
                assert value_at("stature_cm", sex, near, z) == pytest.approx(
                    value, rel=1e-5
                )
