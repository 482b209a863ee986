"""The unit gate: converts by name, refuses the rest, repairs nothing."""

import pickle
import warnings
from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from data_sources.read_surveys import read_ansur2, read_snyder1977
from sizing.errors import InputProblems, SizingWarning
from sizing.measures import MEASURES, plausible_range, to_standard_units
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS
from sizing.measures.written import Amount, Said, told, written
from sizing.surveys import read_embedded


def problems(frame: pd.DataFrame, **options: bool) -> pd.DataFrame:
    with pytest.raises(InputProblems) as caught:
        to_standard_units(frame, **options)
    return caught.value.table


def test_factors_against_scipy_constants():
    scipy_cm = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
    scipy_cm |= {"in": constants.inch, "ft": constants.foot}
    for unit, metres in scipy_cm.items():
        assert LENGTH_UNITS[unit] == pytest.approx(metres * 100, rel=1e-15)
    scipy_kg = {"g": constants.gram, "kg": 1.0}
    scipy_kg |= {"lb": constants.pound, "st": constants.stone}
    for unit, kg in scipy_kg.items():
        assert MASS_UNITS[unit] == pytest.approx(kg, rel=1e-15)
    assert scipy_cm.keys() == LENGTH_UNITS.keys()
    assert scipy_kg.keys() == MASS_UNITS.keys()


@given(st.data())
def test_any_unit_comes_back_as_the_value_it_stood_for(data):
    measure = data.draw(st.sampled_from(MEASURES))
    stem, standard = measure.rsplit("_", 1)
    units = LENGTH_UNITS if standard == "cm" else MASS_UNITS
    unit = data.draw(st.sampled_from(sorted(units)))
    low, high = plausible_range(measure)
    values = data.draw(st.lists(st.floats(low, high), min_size=1, max_size=5))
    given_ = pd.DataFrame({f"{stem}_{unit}": [v / units[unit] for v in values]})
    # The ends of the range may leave it by a rounding, which then warns.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SizingWarning)
        out = to_standard_units(given_, allow_unusual=True)
    assert out[measure].to_numpy() == pytest.approx(values, abs=1e-8)


def test_standard_units_pass_unchanged_with_every_other_column():
    own = {"person": [1, 2], "checked_in": [True, False], "age_group": ["a", "b"]}
    frame = pd.DataFrame(own | {"hip_circumference_cm": [100.3, np.nan]}, index=[7, 9])
    before = frame.copy()
    out = to_standard_units(frame)
    pd.testing.assert_frame_equal(out, before)
    pd.testing.assert_frame_equal(frame, before)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("1,705", "comma"),
        ("170 kg", "in kilograms, where a length is wanted"),
        ("12 st 7", "in stones, where a length is wanted"),
        ("unknown", "text instead of a number"),
        ("nan", "text instead of a number"),
        ("inf", "text instead of a number"),
        (float("inf"), "infinity"),
        (-170, "negative"),
        (0, "cannot be 0"),
        (True, "yes or no"),
    ],
)
def test_cells_that_are_no_measure_are_refused_by_row_and_value(value, expected):
    frame = pd.DataFrame({"stature_cm": pd.Series([170.0, value], dtype=object)})
    table = problems(frame)
    assert expected in table["what"].iloc[0]
    assert table["row"].tolist() == [3]
    assert table["value"].tolist() == [value]


@pytest.mark.parametrize(
    ("column", "value", "unit"),
    [
        ("stature_cm", 1.7, "metres"),
        ("stature_cm", 1700.0, "millimetres"),
        ("stature_cm", 68.0, "inches"),
        ("hip_circumference_in", 105.0, "centimetres"),
        ("body_mass_kg", 12.5, "stones"),
        ("body_mass_kg", 75000.0, "grams"),
        ("body_mass_st", 80.0, "kilograms"),
    ],
)
def test_a_value_that_makes_sense_in_another_unit_only_is_refused(column, value, unit):
    frame = pd.DataFrame({column: [value], "age_years": [40]})
    assert f"makes sense in {unit}" in problems(frame)["what"].iloc[0]
    with pytest.warns(SizingWarning, match=f"makes sense in {unit}"):
        to_standard_units(frame, allow_unusual=True)


def test_an_empty_table_passes():
    assert to_standard_units(pd.DataFrame({"stature_in": []})).columns.tolist() == [
        "stature_cm"
    ]


def test_embedded_people_pass_the_gate_unchanged():
    frame = read_embedded().frame
    out = to_standard_units(frame)
    numbers = frame.select_dtypes("number").columns
    pd.testing.assert_frame_equal(out[numbers], frame[numbers], check_dtype=False)


@pytest.mark.surveys
def test_survey_people_pass_the_gate_unchanged(survey_folder):
    children = survey_folder / "snyder1977_children.csv"
    for survey in (read_ansur2(survey_folder), read_snyder1977(children)):
        out = to_standard_units(survey.frame)
        assert out.columns.tolist() == survey.frame.columns.tolist()


@pytest.mark.parametrize(
    ("units", "edge"),
    [
        ("metric", "from over 60 to under 70 kg"),
        ("pounds", "from over 132.3 to under 154.3 lb"),
        ("stone", "from over 9 st 6.3 lb to under 11 st 0.3 lb"),
    ],
)
def test_a_sentence_says_its_amounts_in_any_units_and_leaves_names_alone(units, edge):
    # 0.45359237 kg a pound (exact), 14 pounds a stone.
    size = "to 100 kg {and} 90 cm"
    amount = Amount(60, "body_mass_kg", 70, link=" to under ")
    said = Said("{size} from over {edge}", size=size, edge=amount)
    again = pickle.loads(pickle.dumps(Said("Note: {said}", said=said)))
    for words, lead in ((said, ""), (again, "Note: ")):
        assert told(words, partial(written, units=units)) == f"{lead}{size} {edge}"
        assert words == told(words, written)
