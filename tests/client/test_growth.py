"""Children: when each measure leaves the size."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from rcpchgrowth import measurement_from_sds, sds_for_measurement
from scipy.stats import norm

from sizing.client.change import measure_again_in, outgrows
from sizing.client.posterior import draw_bodies
from sizing.client.readings import reading
from sizing.words.client_notes import growth_words

from .cases import HIP, MASS, STATURE, check, edges, made


def chart(measure=HIP, low=50, high=90, **more):
    return made({measure: [(low, high)]}, **more)


def build(age, stature, mass, sex="female"):
    """Bodies of a child whose height and weight are known for certain."""
    exact = [reading(STATURE, stature, "exact"), reading(MASS, mass, "exact")]
    return draw_bodies(sex, age, exact)


def test_stature_leaves_at_the_age_rcpchgrowth_gives():
    # A girl of 6.5 years, 118 cm: at what age does her centile pass 135 cm?
    z = sds_for_measurement("cdc", 6.5, "height", 118.0, sex="female")
    ages = np.arange(6.5, 14, 1 / 24)
    height = [
        measurement_from_sds("cdc", z, "height", sex="female", age=float(age))
        for age in ages
    ]
    # Whole millimetres: 135.0 still fits, 135.1 does not.
    right = float(np.interp(135.05, height, ages))
    one = edges(chart(STATURE, 100, 135))
    row = outgrows(build(6.5, 118.0, 22), one, "one").iloc[0]
    assert row["estimate"] == pytest.approx(right, abs=0.1)
    assert row["low"] == pytest.approx(row["high"], abs=1e-6)


def test_a_wider_band_lasts_longer_and_doubt_widens_the_span():
    child = {"sex": "male", "age_years": 7, MASS: 24, STATURE: 123}
    rows = [check(child, chart(high=high)).growth.iloc[0] for high in (70, 80, 90)]
    leaving = [row["estimate"] for row in rows]
    assert leaving == sorted(leaving)
    assert all(row["low"] <= row["estimate"] for row in rows)
    taken = check(child | {HIP: 62}, chart(high=80)).growth.iloc[0]
    assert taken["high"] - taken["low"] < rows[1]["high"] - rows[1]["low"]


def test_the_load_limit_is_outgrown_too():
    child = {"sex": "female", "age_years": 8, MASS: 26, STATURE: 128}
    growth = check(child, chart(MASS, 10, 60, load=[30.0])).growth
    assert growth.loc[growth["measure"] == MASS, "high_edge"].item() == 30.0


def test_adults_have_no_growth():
    adult = {"sex": "female", "age_years": 40, MASS: 60, STATURE: 165}
    assert check(adult, chart(high=70)).growth.empty


def told_of(age, **columns):
    """What is said of a child's growth, were these its figures."""
    child = {"sex": "female", "age_years": age, MASS: 29, STATURE: 134}
    answer = check(child, chart(high=70), confirmed=True)
    row = {"measure": HIP, "high_edge": 70.0, "beyond_20": 0.8}
    return growth_words(replace(answer, growth=pd.DataFrame([row | columns])))


@pytest.mark.parametrize(
    ("years", "said", "when"),
    [
        # Half of the time left until the early end.
        (
            (11.24, 10.04, 13.96),
            "11.2 years (9 in 10: 10.0 to 14.0)",
            "within 3 months",
        ),
        ((18.0, 16.0, np.nan), "(9 in 10: 16.0 to after 20)", "within 12 months"),
        ((9.9, 9.6, 11.0), "", "now and at every lift"),
        ((10.0, 9.7, 11.0), "", "within 1 months"),
    ],
)
def test_what_is_said_of_growth_is_what_was_found(years, said, when):
    leaves, again = told_of(
        9.5, **dict(zip(("estimate", "low", "high"), years, strict=True))
    )
    assert (
        leaves.startswith("hip girth leaves one (70 cm) at about ") and said in leaves
    )
    assert f"Measure again {when}" in again


def test_who_stays_within_a_size_is_said_with_the_chance():
    stays = told_of(9.5, estimate=np.nan, low=np.nan, high=np.nan)
    assert stays[0] == "hip girth stays within one until 20 with a chance of 80 %"
    assert told_of(20, estimate=21.0, low=20.5, high=22.0) == []


def test_centiles_and_who_is_not_grown_out_of_it_by_twenty():
    one = edges(made({STATURE: [(100, 160)], HIP: [(50, 90)]}))
    table = outgrows(build(8.0, 127.3, 25.5), one, "one")
    table = table.set_index("measure")
    z = sds_for_measurement("cdc", 8.5, "height", 127.3, sex="female")
    assert table.loc[STATURE, "centile"] == pytest.approx(norm.cdf(z), abs=0.005)
    assert np.isnan(table.loc[HIP, "centile"])
    assert table.loc[STATURE, "high_edge"] == 160.0
    # Of one exact build all pass, or none does; of hips some do.
    assert table.loc[STATURE, "beyond_20"] in (0, 1)
    assert 0 < table.loc[HIP, "beyond_20"] < 1
    hip = table.loc[HIP]
    assert 8.5 <= hip["low"] < hip["estimate"] <= 20


def test_an_edge_passed_already_is_passed_now():
    bodies = build(8.25, 130.0, 27, "male")
    for high, now in ((129.9, True), (131.0, False)):
        row = outgrows(bodies, edges(chart(STATURE, 100, high)), "one").iloc[0]
        assert (row["estimate"] == 8.25) == now
        assert row["estimate"] < 8.6


def leaving(*ages):
    return pd.DataFrame({"low": ages})


@pytest.mark.parametrize(
    ("table", "age", "again"),
    [
        # No edge to pass, or none before 20: once a year.
        (pd.DataFrame(), 9.5, 1.0),
        (leaving(np.nan, np.nan), 9.5, 1.0),
        # Half the time until the first may be passed, a year at most, never past.
        (leaving(12.0, 10.1, np.nan), 9.5, 0.3),
        (leaving(15.0), 9.5, 1.0),
        (leaving(9.0), 9.5, 0.0),
        # 9 stands for completed years: half a year more is the best guess.
        (leaving(10.1), 9, 0.3),
    ],
)
def test_a_child_is_measured_again_before_the_first_edge(table, age, again):
    assert measure_again_in(table, age) == pytest.approx(again)


@pytest.mark.parametrize("age", [2, 2.03, 16, 19, 19.9])
def test_every_childs_age_can_be_projected(age):
    answer = check({"sex": "male", "age_years": age}, chart(low=40, high=120))
    assert len(answer.growth) == 1 and growth_words(answer)
