"""Measures: units converted and refused, rounding, writing and cells by plain sums."""

import pickle
import warnings
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from data_sources.read_surveys import read_ansur2, read_snyder1977
from sizing.errors import InputProblems, SizingError, SizingWarning
from sizing.measures import (
    LENGTH_UNITS,
    MASS_UNITS,
    MEASURES,
    Amount,
    Said,
    kind_of,
    plausible_range,
    span,
    to_standard_units,
    to_tenths,
    told,
    unit_of,
    written,
)
from sizing.measures.tables import _limits
from sizing.resources import source_table
from sizing.surveys import read_embedded, read_nhanes_files
from tests.measures.test_typed import INCH, POUND


def problems(frame, **options):
    with pytest.raises(InputProblems) as caught:
        to_standard_units(frame, **options)
    return caught.value.table


@given(st.decimals(0, 1000, places=4))
def test_tenths_are_rounded_as_decimals_are_with_halves_up(number):
    expected = (number * 10).quantize(Decimal(1), ROUND_HALF_UP)
    assert to_tenths([float(number)]).tolist() == [int(expected)]


def test_what_is_not_measured_is_marked_among_tenths():
    told = to_tenths(np.array([[np.nan, np.inf], [0.0, 0.0499]]))
    assert told.tolist() == [[-1, -1], [0, 0]] and told.dtype == np.int64


@given(
    st.decimals(-400, 400, places=2),
    st.sampled_from(["stature_cm", "body_mass_kg"]),
    st.sampled_from(["metric", "pounds", "stone"]),
    st.sampled_from(["half", "down", "tenth"]),
)
def test_values_are_written_as_fractions_say(number, measure, units, to):
    length = measure == "stature_cm"
    factor = Fraction(1) if units == "metric" else INCH if length else POUND
    step = Fraction(1, 10) if to == "tenth" else Fraction(1, 2 if length else 1)
    steps = Fraction(number) / factor / step
    if to != "down" and abs(steps % 1 - Fraction(1, 2)) < Fraction(1, 10**9):
        return  # a half may be rounded either way
    down = ROUND_FLOOR if to == "down" else ROUND_HALF_UP
    whole = int(
        (Decimal(steps.numerator) / Decimal(steps.denominator)).quantize(1, down)
    )
    told = written(float(number), measure, units, to=to)
    expected = whole * step
    sign = -1 if told.startswith("-") else 1
    unit = ("cm" if length else "kg") if units == "metric" else "in" if length else "lb"
    if unit == "lb" and units == "stone" and " st " in told:
        stones, _, pounds, last = told.lstrip("-").split()
        assert last == "lb" and Fraction(pounds) < 14 and int(stones) > 0
        assert sign * (int(stones) * 14 + Fraction(pounds)) == expected
    else:
        value, last = told.split()
        assert last == unit and Fraction(value) == expected
        assert units != "stone" or length or abs(expected) < 14


def test_a_step_down_begins_a_millionth_below_its_end():
    """What a factor adds in the last places of a double is no next lower step."""
    for short, words in {0: "10", 5e-8: "10", 1e-6: "9.5", 0.4: "9.5"}.items():
        assert written(10 - short, "stature_cm", to="down") == f"{words} cm"
    assert written(36 * 2.54, "stature_cm", "pounds", to="down") == "36 in"


def test_what_has_no_kind_or_unit_is_refused_and_stones_are_two_numbers():
    for call in (
        lambda: kind_of("stature_in"),
        lambda: written(1, "stature_cm", "feet"),
        lambda: written(1, "stature_cm", to="whole"),
        lambda: unit_of("stature_cm", "feet"),
    ):
        with pytest.raises(SizingError):
            call()
    # Stones and pounds are two numbers: both ends keep their units.
    stone = partial(written, units="stone")
    assert span(5, 70, "body_mass_kg", stone) == "11 lb to 11 st 0.3 lb"


@pytest.mark.parametrize("measure", MEASURES)
def test_a_range_is_that_of_the_band_the_age_lies_in(measure):
    table = source_table("plausible_ranges.csv").query("name == @measure")
    begins, ends = table["age_years_from"].tolist(), table["age_years_below"].tolist()
    # Bands follow each other without a gap.
    assert begins == [2, *ends[:-1]] and ends[-1] > 120
    assert (table["low"] < table["high"]).all()
    assert table["source"].str.contains("no source").all()
    for row in table.itertuples():
        for age in (row.age_years_from, row.age_years_below - 0.01):
            if age <= 120:
                assert plausible_range(measure, age) == (row.low, row.high)
    assert plausible_range(measure, 120) == plausible_range(measure, 119)
    assert plausible_range(measure) == (table["low"].min(), table["high"].max())
    assert plausible_range(measure, float("nan")) == plausible_range(measure)
    ages = np.array([np.nan, 2.0, 4.99, 5.0, 17.99, 18.0])
    low, high = _limits(measure, ages)
    for i, age in enumerate(ages):
        assert (low[i], high[i]) == plausible_range(measure, age)
    with pytest.raises(SizingError, match="unknown measure"):
        plausible_range("shoe_size", 30)
    for age in (1.99, 120.01):
        with pytest.raises(SizingError, match="no figures for this age"):
            plausible_range(measure, age)


def test_further_lengths_masses_and_ages_are_converted_too():
    frame = {"span_m": [1.7], "reported_mass_lb": [150], "age_months": [30]}
    out = to_standard_units(pd.DataFrame(frame))
    assert list(out) == ["span_cm", "reported_mass_kg", "age_years"]
    assert out.iloc[0].tolist() == pytest.approx([170, 150 * float(POUND), 2.5])
    for name in ("age_cm", "age_kg", "age_days", "age_weeks"):
        assert "is no unit" in problems(pd.DataFrame({name: [5]}))["what"][0]


#: An adult's statures are plausible from 90 to 230 cm, from 65 at any age; 7.5 kg are
#: from 2 to 5 years. No body is over twice or under half of what is at any age.
@pytest.mark.parametrize(
    ("column", "value", "age", "said"),
    [
        ("age_years", 0, None, None),
        ("age_years", 120, None, None),
        ("age_years", 120.01, None, ""),
        ("age_months", 1440, None, None),
        ("age_months", 1441, None, ""),
        ("age_years", -0.1, None, "negative"),
        ("hip_circumference_cm_low", 0, None, None),
        ("body_mass_kg", -np.inf, None, "infinity"),
        ("stature_cm", 230.0, 40, None),
        ("stature_cm", 230.1, 40, "outside the range"),
        ("stature_cm", 460.0, 40, "outside the range"),
        ("stature_cm", 460.1, 40, "no body has this value"),
        ("stature_cm", 90.0, 40, None),
        ("stature_cm", 89.9, 40, "makes sense in inches"),
        ("stature_cm", 32.5, 40, "outside the range"),
        ("stature_cm", 32.4, 40, "no body has this value"),
        ("body_mass_kg", 7.5, 2.0, None),
        ("body_mass_kg", 7.5, 4.99, None),
        ("body_mass_kg", 7.5, 5.0, "makes sense in stones"),
        ("body_mass_kg", 7.5, 120.0, "makes sense in stones"),
        # An age the kit has no figures for leaves the widest range.
        ("body_mass_kg", 7.5, 1.0, None),
        ("body_mass_kg", 7.5, np.nan, None),
        ("stature_cm", 1.7, 40, "makes sense in metres"),
        ("stature_cm", 1700.0, 40, "makes sense in millimetres"),
        ("stature_cm", 68.0, 40, "makes sense in inches"),
        ("hip_circumference_in", 105.0, 40, "makes sense in centimetres"),
        ("body_mass_kg", 12.5, 40, "makes sense in stones"),
        ("body_mass_kg", 75000.0, 40, "makes sense in grams"),
        ("body_mass_st", 80.0, 40, "makes sense in kilograms"),
        ("stature_cm", "1,705", None, "comma"),
        ("stature_cm", "170 kg", None, "in kilograms, where a length is wanted"),
        ("stature_cm", "12 st 7", None, "in stones, where a length is wanted"),
        ("stature_cm", "unknown", None, "text instead of a number"),
        ("stature_cm", "nan", None, "text instead of a number"),
        ("stature_cm", "inf", None, "text instead of a number"),
        ("stature_cm", np.inf, None, "infinity"),
        ("stature_cm", -170, None, "negative"),
        ("stature_cm", 0, None, "cannot be 0"),
        ("stature_cm", True, None, "yes or no"),
    ],
)
def test_a_value_is_taken_warned_of_or_refused(column, value, age, said):
    frame = pd.DataFrame({column: pd.Series([value, None], dtype=object)})
    frame = frame if age is None else frame.assign(age_years=age)
    if said is None:
        months = 12 if column == "age_months" else 1
        assert to_standard_units(frame).iloc[0, 0] == pytest.approx(value / months)
        return
    if said == "outside the range":
        with pytest.warns(SizingWarning, match=said):
            to_standard_units(frame)
        return
    told = problems(frame, allow_unusual=said.startswith("no body"))
    assert said in told["what"][0]
    assert told["row"].tolist() == [2] and told["value"].tolist() == [value]
    if "makes sense" in said:
        with pytest.warns(SizingWarning, match=said):
            to_standard_units(frame, allow_unusual=True)
    elif said.startswith("no body"):
        assert told["allowed"][0].startswith("32.5 to 460 cm")


@pytest.mark.parametrize("count", [1, 9, 10, 11, 13])
def test_ten_cells_of_a_kind_are_named_and_the_rest_counted(count):
    for column, bad, good in (
        ("stature_cm", "tall", "170"),
        ("sex", "x", "f"),
        ("body_mass_kg", -1.0, 70.0),
    ):
        frame = pd.DataFrame({column: [good, *[bad] * count, good]})
        told = problems(frame, file="wards.csv")
        rows = told["row"].dropna().astype(int).tolist()
        assert rows == list(range(3, 3 + min(count, 10)))
        more = told[told["row"].isna()]["what"].str.cat()
        words = f"{count - 10} more cells of this column have such a problem"
        assert more == words * (count > 10)
        assert set(told["column"]) == {column} and set(told["file"]) == {"wards.csv"}


def test_unusual_values_are_named_up_to_ten_and_warned_of_where_they_are_read():
    frame = pd.DataFrame({"stature_in": [66.0, *[1.7] * 12], "age_years": 40.5})
    assert problems(frame)["allowed"].tolist() == ["90 to 230 cm for height"] * 10
    with pytest.warns(SizingWarning) as caught:
        to_standard_units(frame, allow_unusual=True)
    assert caught[0].filename == __file__ and str(caught[0].message).count("\n- ") == 10


def test_edges_of_a_chart_may_lie_below_everybody_but_not_all_of_them():
    """The least stature plausible at any age is 65 cm."""
    low, high = "stature_cm_low", "stature_cm_high"
    taken = pd.DataFrame({low: [0.5, 1.0], high: [1.0, 65.0]})
    assert to_standard_units(taken)[high].tolist() == [1.0, 65.0]
    told = problems(pd.DataFrame({low: [0.7, 1.0], high: [1.0, 1.6]}))
    assert set(told["what"]) == {"this makes sense in metres, not in centimetres"}
    assert sorted(told["row"]) == [2, 2, 3, 3]
    # Far too high, and no unit makes sense of it: the chart's own check is to say.
    endless = pd.DataFrame({low: [70.0], high: [9999999.0]})
    assert to_standard_units(endless).shape == (1, 2)
    told = problems(pd.DataFrame({low: [70.0], high: [1500.0]}))
    assert "makes sense in millimetres" in told["what"][0]


def test_cells_of_text_are_read_in_any_column_of_objects():
    cells = [" 170 ", 171, 172.5, np.float64(173), None, "+1.7e2", "170."]
    frame = pd.DataFrame({"stature_cm": pd.Series(cells, dtype=object)})
    out = to_standard_units(frame)["stature_cm"]
    assert out[out.notna()].tolist() == [170, 171, 172.5, 173, 170, 170]
    assert out.isna().tolist() == [False] * 4 + [True] + [False] * 2
    whole = pd.DataFrame({"stature_cm": pd.array([170, None], dtype="Int64")})
    assert to_standard_units(whole)["stature_cm"].isna().tolist() == [False, True]
    told = problems(pd.DataFrame({"stature_cm": [True, False]}))
    assert told["what"].tolist() == ["yes or no instead of a number"] * 2
    sexes = pd.DataFrame({"sex": [" F ", "MALE", "", None, "m"], "stature_cm": 170.0})
    told = to_standard_units(sexes)["sex"].tolist()
    assert told == ["female", "male", None, None, "male"]


# The gate


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
    frame = read_embedded().frame.iloc[::-1].assign(checked_in=True)
    before = frame.copy()
    for one in (to_standard_units(frame), frame):
        pd.testing.assert_frame_equal(one, before, check_dtype=False)


@pytest.mark.surveys
def test_survey_people_pass_the_gate_unchanged(survey_folder):
    """Whoever lay outside the plausible ranges would be refused or warned of."""
    nhanes = survey_folder / "nhanes_2015_2016"
    for survey in (
        read_ansur2(survey_folder),
        read_snyder1977(survey_folder / "snyder1977_children.csv"),
        read_nhanes_files(nhanes / "DEMO_I.XPT", nhanes / "BMX_I.XPT"),
    ):
        out = to_standard_units(survey.frame)
        assert out.columns.tolist() == survey.frame.columns.tolist(), survey.name


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


@given(
    st.lists(st.sampled_from([np.nan, np.inf, -1.0, 0.0, 5.6, 12.5, 70.0, 170.0])),
    st.sampled_from(["stature_cm", "stature_in", "stature_ft", "body_mass_st"]),
)
def test_a_column_of_numbers_is_read_as_its_cells_one_by_one_are(values, column):
    found = []
    for kind in (float, object):
        frame = pd.DataFrame({column: pd.Series(values, dtype=kind)})
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            try:
                read = to_standard_units(frame, allow_unusual=True).iloc[:, 0].tolist()
            except InputProblems as error:
                read = [str(error)]
        found.append((*read, *(str(one.message) for one in told)))
    assert repr(found[0]) == repr(found[1])
