"""The CDC 2000 reference: against another library, itself and published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rcpchgrowth import sds_for_measurement

from sizing.people.growth import GROWTH_MEASURES, value_at, z_score
from sizing.resources import source_table

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
            other = sds_for_measurement(
                "cdc", age, OTHER_NAMES[measure], value, sex=sex
            )
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
