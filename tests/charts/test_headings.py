"""Headings of charts: what each is understood as, and which slips are named."""

import pytest

from sizing.measures import MEASURES
from sizing.measures.tables import CHART


def wrong_heading(heading):
    _, told = CHART.read(["size", heading], file="mine.csv")
    assert [(p.row, p.file) for p in told] == [(1, "mine.csv")] * len(told)
    return told


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("end", ["low", "high"])
def test_each_measure_is_understood_in_each_unit(measure, end):
    """Centimetres to an inch and kilograms to a pound are exact by definition."""
    factors = {"cm": 1, "mm": 0.1, "m": 100, "in": 2.54, "ft": 30.48}
    if measure.endswith("_kg"):
        factors = {"kg": 1, "g": 0.001, "lb": 0.45359237, "st": 14 * 0.45359237}
    base = measure.rsplit("_", 1)[0]
    for unit, factor in factors.items():
        (_, column), told = CHART.read(["size", f" {base}_{unit}_{end} "])
        assert not told
        assert (column.position, column.end) == (1, end)
        assert (column.standard, column.measure) == (f"{measure}_{end}", measure)
        assert column.unit == unit and column.factor == pytest.approx(factor)
        assert column.given == f"{base}_{unit}_{end}"


def test_the_plain_columns_and_the_users_own_are_understood():
    headings = ["SIZE", "Load Limit lb", "load_limit_kg", "chart name", "Our Colour"]
    columns, told = CHART.read(headings)
    assert [(c.position, c.standard, c.kind, c.unit) for c in columns] == [
        (0, "size", "words", ""),
        (1, "load_limit_kg", "mass", "lb"),
        (2, "load_limit_kg", "mass", "kg"),
        (3, "chart_name", "words", ""),
        (4, "Our Colour", "own", ""),
    ]
    assert [c.factor for c in columns] == [1, pytest.approx(0.45359237), 1, 1, 1]
    assert [p.what for p in told] == [
        "the same measure, load_limit, stands in two units: 'lb' and 'kg'"
    ]
    assert told[0].row == 1 and told[0].column == "load_limit_kg"


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("statur_cm_low", "stature_cm_low"),
        ("hip_bredth_siting_cm_high", "hip_breadth_sitting_cm_high"),
        ("knee_cm_low", None),
    ],
)
def test_the_measure_that_was_meant_is_named(heading, meant):
    (told,) = wrong_heading(heading)
    assert told.what.startswith("this is no measure of the kit")
    assert told.column == heading
    assert (f"; did you mean '{meant}'?" in told.what) == (meant is not None)


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("chest_cm_low", "chest_circumference_cm_low"),
        ("thigh_in_high", "thigh_circumference_cm_high"),
        ("Waist (ft) min", "waist_circumference_cm_low"),
        ("Load limit, kg", "load_limit_kg"),
        ("Hip girth from, cm", "hip_circumference_cm_low"),
        ("Shoulder height sitting to, cm", "shoulder_height_sitting_cm_high"),
        ("Body mass to, kg", "body_mass_kg_high"),
        ("stature_cm_max", "stature_cm_high"),
        ("safe_working_load_kg", "load_limit_kg"),
        ("SWL (kg)", "load_limit_kg"),
    ],
)
def test_what_the_pages_and_people_write_is_understood(heading, meant):
    assert not wrong_heading(heading)
    assert CHART.read([heading])[0][0].standard == meant


@pytest.mark.parametrize(
    ("heading", "what"),
    [
        ("stature", "this measure has no unit in its name"),
        ("sitting_height_low", "this measure has no unit in its name"),
        ("low", "a limit whose measure is not said"),
        ("Upper", "a limit whose measure is not said"),
        ("sizes", "unknown column"),
        ("stature_kg_low", "'kg' is no unit for this measure"),
        ("load_limit_t", "'t' is no unit for this measure"),
    ],
)
def test_a_slip_in_a_heading_is_named(heading, what):
    (told,) = wrong_heading(heading)
    assert (told.what, told.column) == (what, heading)


@pytest.mark.parametrize("heading", ["statures", "lows", "colour", "sized for", "lo"])
def test_what_only_resembles_a_name_is_the_users_own(heading):
    assert not wrong_heading(heading)


def test_two_units_of_one_measure_are_told_once_and_other_measures_not():
    columns = ["stature_cm_low", "stature_in_high", "sitting_height_in_low"]
    (told,) = CHART.read([*columns, "sitting_height_in_high"])[1]
    assert "stature, stands in two units: 'cm' and 'in'" in told.what
    assert (told.row, told.column) == (1, "stature_in_high")
    assert "keep one of 'stature_cm_low' and 'stature_in_high'" in told.action
