"""Children: when each measure leaves the size."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from rcpchgrowth import measurement_from_sds, sds_for_measurement
from scipy.stats import norm

from sizing.charts import chart_from
from sizing.client import check_client
from sizing.client.growth import measure_again_in, outgrows
from sizing.client.how import reading
from sizing.client.outcomes import edges_of
from sizing.client.posterior import draw_bodies
from sizing.words.client_notes import growth_words


def chart(**columns):
    return chart_from(pd.DataFrame({"size": ["one"]} | columns), warn=False)


def test_stature_leaves_at_the_age_rcpchgrowth_gives():
    # A girl of 6.5 years, 118 cm: at what age does her centile pass 135 cm?
    z = sds_for_measurement("cdc", 6.5, "height", 118.0, sex="female")
    ages = np.arange(6.5, 14, 1 / 24)
    height = [
        measurement_from_sds(
            "cdc",
            requested_sds=z,
            measurement_method="height",
            sex="female",
            age=float(a),
        )
        for a in ages
    ]
    # Whole millimetres: 135.0 still fits, 135.1 does not.
    right = float(np.interp(135.05, height, ages))
    exact = [
        reading("stature_cm", 118.0, "exact"),
        reading("body_mass_kg", 22, "exact"),
    ]
    bodies = draw_bodies("female", 6.5, exact)
    one = chart(stature_cm_low=[100], stature_cm_high=[135])
    edges = edges_of(one, one.load_limits())
    row = outgrows(bodies, edges, "one").iloc[0]
    assert row["estimate"] == pytest.approx(right, abs=0.1)
    assert row["low"] == pytest.approx(row["high"], abs=1e-6)


def test_a_wider_band_lasts_longer_and_doubt_widens_the_span():
    child = {"sex": "male", "age_years": 7, "body_mass_kg": 24, "stature_cm": 123}
    rows = []
    for high in (70, 80, 90):
        one = chart(hip_circumference_cm_low=[50], hip_circumference_cm_high=[high])
        rows.append(check_client(one, child).growth.iloc[0])
    leaving = [row["estimate"] for row in rows]
    assert leaving == sorted(leaving)
    assert all(row["low"] <= row["estimate"] for row in rows)
    one = chart(hip_circumference_cm_low=[50], hip_circumference_cm_high=[80])
    taken = check_client(one, child | {"hip_circumference_cm": 62}).growth.iloc[0]
    assert taken["high"] - taken["low"] < rows[1]["high"] - rows[1]["low"]


def test_the_load_limit_is_outgrown_too():
    one = chart(load_limit_kg=[30.0], body_mass_kg_low=[10], body_mass_kg_high=[60])
    child = {"sex": "female", "age_years": 8, "body_mass_kg": 26, "stature_cm": 128}
    growth = check_client(one, child).growth
    assert growth.loc[growth["measure"] == "body_mass_kg", "high_edge"].item() == 30.0


def test_adults_have_no_growth_and_children_a_date_to_measure_again():
    one = chart(hip_circumference_cm_low=[50], hip_circumference_cm_high=[70])
    adult = {"sex": "female", "age_years": 40, "body_mass_kg": 60, "stature_cm": 165}
    assert check_client(one, adult).growth.empty
    child = {"sex": "female", "age_years": 9, "body_mass_kg": 29, "stature_cm": 134}
    answer = check_client(one, child)
    assert any("Measure again" in line for line in growth_words(answer))
    again = measure_again_in(answer.growth, 9)
    assert 0 <= again <= 1
    assert 9.5 + again <= answer.growth["low"].min() + 1e-9 or again == 0


def told_of(age, **columns):
    """What is said of a child's growth, were these its figures."""
    one = chart(hip_circumference_cm_low=[50], hip_circumference_cm_high=[70])
    child = {"sex": "female", "age_years": age, "body_mass_kg": 29, "stature_cm": 134}
    answer = check_client(one, child, confirmed=True)
    row = {"measure": "hip_circumference_cm", "high_edge": 70.0, "beyond_20": 0.8}
    return growth_words(replace(answer, growth=pd.DataFrame([row | columns])))


def test_what_is_said_of_growth_is_what_was_found():
    leaves = told_of(9.5, estimate=11.24, low=10.04, high=13.96)
    assert leaves[
        0
    ] == "hip girth leaves one (70 cm) at about 11.2 years (9 in 10: " + (
        "10.0 to 14.0)"
    )
    # Half of the time left until 10.04 years.
    assert "Measure again within 3 months" in leaves[1]
    late = told_of(9.5, estimate=18.0, low=16.0, high=np.nan)
    assert "(9 in 10: 16.0 to after 20)" in late[0] and "within 12 months" in late[1]
    stays = told_of(9.5, estimate=np.nan, low=np.nan, high=np.nan)
    assert stays[0] == "hip girth stays within one until 20 with a chance of 80 %"
    soon = told_of(9.5, estimate=9.9, low=9.6, high=11.0)
    assert "Measure again now and at every lift" in soon[1]
    month = told_of(9.5, estimate=10.0, low=9.7, high=11.0)
    assert "Measure again within 1 months" in month[1]
    assert told_of(20, estimate=21.0, low=20.5, high=22.0) == []


def test_centiles_and_who_is_not_grown_out_of_it_by_twenty():
    exact = [
        reading("stature_cm", 127.3, "exact"),
        reading("body_mass_kg", 25.5, "exact"),
    ]
    bodies = draw_bodies("female", 8.0, exact)
    one = chart(
        stature_cm_low=[100],
        stature_cm_high=[160],
        hip_circumference_cm_low=[50],
        hip_circumference_cm_high=[90],
    )
    table = outgrows(bodies, edges_of(one, one.load_limits()), "one")
    table = table.set_index("measure")
    z = sds_for_measurement("cdc", 8.5, "height", 127.3, sex="female")
    assert table.loc["stature_cm", "centile"] == pytest.approx(norm.cdf(z), abs=0.005)
    assert np.isnan(table.loc["hip_circumference_cm", "centile"])
    assert table.loc["stature_cm", "high_edge"] == 160.0
    # Of one exact build all pass, or none does; of hips some do.
    assert table.loc["stature_cm", "beyond_20"] in (0, 1)
    assert 0 < table.loc["hip_circumference_cm", "beyond_20"] < 1
    hip = table.loc["hip_circumference_cm"]
    assert 8.5 <= hip["low"] < hip["estimate"] <= 20


def test_an_edge_passed_already_is_passed_now():
    exact = [
        reading("stature_cm", 130.0, "exact"),
        reading("body_mass_kg", 27, "exact"),
    ]
    bodies = draw_bodies("male", 8.25, exact)
    for high, now in ((129.9, True), (131.0, False)):
        one = chart(stature_cm_low=[100], stature_cm_high=[high])
        row = outgrows(bodies, edges_of(one, one.load_limits()), "one").iloc[0]
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
    one = chart(hip_circumference_cm_low=[40], hip_circumference_cm_high=[120])
    answer = check_client(one, {"sex": "male", "age_years": age})
    assert len(answer.growth) == 1 and growth_words(answer)
