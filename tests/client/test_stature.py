"""Stature of those who cannot stand: published equations, surveys, no double pull."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from data_sources import derive_segment_equations
from sizing.client import client_from, estimate_stature
from sizing.client.posterior import draw_bodies
from sizing.client.readings import as_reading, equations, segment_table
from sizing.errors import InputProblems, SizingError
from sizing.resources import source_table

from .cases import HIP, KNEE, MASS, STATURE, check

DEMISPAN, ULNA = "demispan_cm", "ulna_length_cm"


# Chumlea, Roche, Steinbaugh, J Am Geriatr Soc 1985;33:116-120; Donini et al., J Nutr
# Health Aging 2000; Bassey, Ann Hum Biol 1986;13:499-502 (all as quoted by secondary
# sources), worked by hand. Elia (ed.) 2003 (from memory): a line of its table of ulna
# lengths, 32 cm, is 1.94, 1.87, 1.84 and 1.84 m.
@pytest.mark.parametrize(
    ("sex", "age", "segment", "value", "key", "right"),
    [
        ("male", 70, KNEE, 52.0, "chumlea_1985", 64.19 - 2.80 + 105.04),
        ("female", 80, KNEE, 48.0, "chumlea_1985", 84.88 - 19.20 + 87.84),
        ("male", 75, KNEE, 52.0, "donini_2000", 94.87 + 4.8 + 82.16 - 17.25),
        ("female", 75, KNEE, 48.0, "donini_2000", 94.87 + 75.84 - 17.25),
        ("male", 30, DEMISPAN, 80.0, "bassey_1986", 1.40 * 80 + 57.8),
        ("female", 30, DEMISPAN, 75.0, "bassey_1986", 1.35 * 75 + 60.1),
        ("male", 30, DEMISPAN, 80.0, "elia_2003", 1.3 * 80 + 68),
        ("female", 54, DEMISPAN, 75.0, "elia_2003", 1.3 * 75 + 62),
        ("male", 55, DEMISPAN, 80.0, "elia_2003", 1.2 * 80 + 71),
        ("female", 82, DEMISPAN, 75.0, "elia_2003", 1.2 * 75 + 67),
        ("male", 64, ULNA, 32.0, "elia_2003", 194),
        ("male", 65, ULNA, 32.0, "elia_2003", 187),
        ("female", 18, ULNA, 32.0, "elia_2003", 184),
        ("female", 90, ULNA, 32.0, "elia_2003", 184),
    ],
)
def test_equations_by_hand(sex, age, segment, value, key, right):
    first = {"equation": key} if segment == KNEE else {}
    table = estimate_stature(sex, age, {segment: value}, **first).table
    row = table[(table["key"] == key) & (table["ages"] == "inside")].iloc[0]
    assert row["estimate"] == pytest.approx(right, abs=0.01 if segment == KNEE else 0.5)
    assert row["low"] < right < row["high"]
    if segment == KNEE:
        # Error in use: quartiles 5.4 cm apart (Epidemiol Health 2009;31:e2009004).
        assert 1.349 * row["sd_cm"] == pytest.approx(5.4, abs=0.01)
    else:
        assert "from memory" in table["source"].sum()


def test_an_estimate_is_not_drawn_to_the_mean_twice():
    for sex, knee in (("female", 42.0), ("female", 53.0), ("male", 47.0)):
        found = estimate_stature(sex, 75, {KNEE: knee})
        bodies = draw_bodies(sex, 75.0, [as_reading(found, sex, 75)])
        stature = bodies.values[:, 1]
        mean = bodies.weight @ stature
        sd = np.sqrt(bodies.weight @ (stature - mean) ** 2)
        assert mean == pytest.approx(found.best["estimate"], abs=1.2)
        assert sd == pytest.approx(found.best["sd_cm"], rel=0.15)


def test_an_estimate_brings_a_wider_interval_than_a_tape():
    common = {"sex": "female", "age_years": 75, MASS: 62}
    told = [
        check(common | more).measures.iloc[1]
        for more in ({STATURE: 153.2}, {KNEE: 47.0})
    ]
    width = [row["high"] - row["low"] for row in told]
    assert width[1] > 2.5 * width[0]
    assert [row["evidence"] for row in told] == ["measured", "predicted"]
    assert told[1]["how"] == "estimated"


def test_beyond_its_ages_an_equation_is_marked_and_widened():
    inside = estimate_stature("male", 40, {"span_cm": 180.0}).best
    beyond = estimate_stature("male", 80, {"span_cm": 180.0}).best
    assert (inside["ages"], beyond["ages"]) == ("inside", "beyond")
    assert beyond["sd_cm"] == pytest.approx(1.5 * inside["sd_cm"])
    half = norm.ppf(0.95) * inside["sd_cm"]
    assert inside["high"] - inside["low"] == pytest.approx(2 * half, rel=1e-4)
    ages = (40, 80)
    told = [estimate_stature("male", age, {"span_cm": 180.0}).said() for age in ages]
    words = "beyond the ages the equation was made on"
    assert [words in one for one in told] == [False, True]


def used_first(age, *segments, equation="chumlea_1985"):
    known = dict.fromkeys(segments, 50.0) | {"span_cm": 160.0}
    known = {name: known[name] for name in segments}
    table = estimate_stature("female", age, known, equation=equation).table
    return list(zip(table["segment"], table["key"], table["ages"], strict=True))


def test_equations_that_hold_for_the_age_come_first_then_the_surest():
    rows = used_first(70, KNEE, "span_cm")
    assert rows[0] == (KNEE, "chumlea_1985", "inside")
    assert rows[1] == (KNEE, "donini_2000", "inside")
    assert {row[2] for row in rows[2:]} == {"beyond"}
    rows = used_first(70, KNEE, equation="donini_2000")
    assert rows[0][1] == "donini_2000"
    # In youth the surveys' own hold, and of two the one of the smaller error.
    rows = used_first(40, "span_cm", KNEE)
    assert rows[0] == (KNEE, "survey", "inside")
    assert rows[1] == ("span_cm", "survey", "inside")
    # At the last age of an equation it holds; past it the nearest age is put in.
    assert used_first(58, "span_cm")[0][2] == "inside"
    assert used_first(59, "span_cm")[0][2] == "beyond"
    spans = {"span_cm": 160.0}
    at, past = (estimate_stature("female", age, spans).best for age in (58, 75))
    assert past["estimate"] == pytest.approx(at["estimate"])


def test_a_stature_that_was_estimated_stands_among_the_readings_in_order():
    common = {"sex": "f", "age_years": 70, KNEE: 48}
    for more in ({}, {MASS: 60}, {HIP: 100}):
        client = client_from(common | more)
        order = [MASS, STATURE, HIP]
        named = [one.measure for one in client.readings]
        assert named == [name for name in order if name in {*more, STATURE}]
        assert client.segments == {KNEE: 48}
        assert client.known[STATURE].how == "estimated"


def test_what_cannot_be_estimated_is_refused():
    with pytest.raises(SizingError, match="no segment"):
        estimate_stature("male", 70, {"foot_cm": 25})
    with pytest.raises(InputProblems, match="without sex and age"):
        client_from({"sex": "m", KNEE: 50})


def test_a_stature_by_tape_goes_before_an_estimate():
    client = client_from({"sex": "m", "age_years": 70, STATURE: 170, KNEE: 49})
    assert client.stature is None and client.known[STATURE].value == 170


@pytest.mark.surveys
def test_segment_equations_are_those_of_the_surveys(survey_folder):
    surveys = derive_segment_equations.read(survey_folder)
    shipped = source_table("segment_equations.csv")
    for source, frame in surveys.items():
        segment = derive_segment_equations.FROM_SURVEY[source][0]
        for sex in ("female", "male"):
            names = [STATURE, segment, "age_years", "weight"]
            mine = frame.loc[frame["sex"] == sex, names].dropna().astype(float)
            # Least squares leaves a gap of mean 0 that goes with no predictor.
            row = shipped.set_index(["segment", "sex", "source"]).loc[
                segment, sex, source
            ]
            told = row["constant"] + row["slope"] * mine[segment]
            told += row["age_slope"] * mine["age_years"]
            gap = mine[STATURE] - told
            weight = mine["weight"] / mine["weight"].mean()
            assert abs(np.average(gap, weights=weight)) < 0.01
            for column in (segment, "age_years"):
                assert abs(np.cov(gap, mine[column], aweights=weight)[0, 1]) < 0.05
            sd = np.sqrt(np.average(gap**2, weights=weight))
            assert sd == pytest.approx(row["sd_cm"], rel=0.01)


@pytest.mark.parametrize("segment", ["demispan_cm", "ulna_length_cm"])
def test_a_client_is_entered_with_demispan_or_ulna_length(segment):
    value = {"demispan_cm": 72.0, "ulna_length_cm": 24.0}[segment]
    entry = {"sex": "f", "age_years": 82, segment.replace("_cm", "_in"): value / 2.54}
    client = client_from(entry)
    assert client.segments[segment] == pytest.approx(value)
    assert 145 < client.stature.best["estimate"] < 165
    assert segment_table().loc[segment, "definition"] in client.stature.said()


@pytest.mark.parametrize(
    ("segment", "value", "age", "words"),
    [
        ("demispan_cm", 50.0, 8, ["8 years", "from demispan", "knee height"]),
        ("ulna_length_cm", 18.0, 17, ["17 years", "from ulna length"]),
        ("span_cm", 120.0, 6, ["6 years", "from arm span", "forearm and hand"]),
        ("upper_leg_length_cm", 40.0, 17, ["upper leg", "shoulder to elbow"]),
    ],
)
def test_no_adults_equation_is_used_for_a_child(segment, value, age, words):
    with pytest.raises(InputProblems) as caught:
        client_from({"sex": "f", "age_years": age, segment: value})
    for word in words:
        assert word in str(caught.value)
    both = {segment: value, KNEE: 36.0}
    table = estimate_stature("female", age, both).table
    assert set(table["segment"]) == {KNEE}


@pytest.mark.surveys
def test_errors_of_demispan_are_those_in_the_survey(survey_folder):
    """Half of span less the middle finger: hand less palm."""
    for sex, name in (("male", "men"), ("female", "women")):
        raw = pd.read_csv(survey_folder / f"ansur2_{name}.csv", encoding="latin-1")
        raw.columns = raw.columns.str.lower()
        demispan = (raw["span"] / 2 - (raw["handlength"] - raw["palmlength"])) / 10
        for key, most in (("bassey_1986", 120), ("elia_2003", 54)):
            table = equations()[equations()["segment"] == "demispan_cm"]
            row = table[(table["key"] == key) & (table["sex"] == sex)].iloc[0]
            told = row["constant"] + row["slope"] * demispan
            gap = (raw["stature"] / 10 - told)[raw["age"] <= most]
            assert np.sqrt((gap**2).mean()) == pytest.approx(row["sd_cm"], abs=0.06)
