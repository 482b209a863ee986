"""Headings of charts: what each is understood as, and which slips are named."""

import pytest

from sizing.chart.headings import ENDS, read_headings
from sizing.measures import MEASURES


def wrong_heading(heading):
    _, told = read_headings(["size", heading], file="mine.csv")
    assert [(p.row, p.file) for p in told] == [(1, "mine.csv")] * len(told)
    return told


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("end", ENDS)
def test_each_measure_is_understood_in_each_unit(measure, end):
    """Centimetres to an inch and kilograms to a pound are exact by definition."""
    factors = {"cm": 1, "mm": 0.1, "m": 100, "in": 2.54, "ft": 30.48}
    if measure.endswith("_kg"):
        factors = {"kg": 1, "g": 0.001, "lb": 0.45359237, "st": 14 * 0.45359237}
    base = measure.rsplit("_", 1)[0]
    for unit, factor in factors.items():
        (_, column), told = read_headings(["size", f" {base}_{unit}_{end} "])
        assert not told
        assert (column.position, column.kind, column.end) == (1, "limit", end)
        assert (column.name, column.measure) == (f"{measure}_{end}", measure)
        assert column.unit == unit and column.factor == pytest.approx(factor)
        assert column.heading == f"{base}_{unit}_{end}"


def test_the_plain_columns_and_the_users_own_are_understood():
    headings = ["SIZE", "Load Limit lb", "load_limit_kg", "chart name", "Our Colour"]
    columns, told = read_headings(headings)
    assert [(c.position, c.name, c.kind, c.unit) for c in columns] == [
        (0, "size", "plain", "size"),
        (1, "load_limit_kg", "plain", "lb"),
        (2, "load_limit_kg", "plain", "kg"),
        (3, "chart_name", "about", ""),
        (4, "Our Colour", "own", ""),
    ]
    assert [c.factor for c in columns] == [1, pytest.approx(0.45359237), 1, 1, 1]
    assert [p.what for p in told] == [
        "the column stands twice, also as 'Load Limit lb'"
    ]
    assert told[0].row == 1 and told[0].column == "load_limit_kg"


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("chest_cm_low", "chest_circumference_cm_low"),
        ("thigh_in_high", "thigh_circumference_cm_high"),
        ("waist_ft_low", "waist_circumference_cm_low"),
        ("body_kg_high", "body_mass_kg_high"),
        ("statur_cm_low", "stature_cm_low"),
        ("hip_bredth_siting_cm_high", "hip_breadth_sitting_cm_high"),
        ("sitting_height_low", "sitting_height_cm_low"),
        ("waist_circumference_high", "waist_circumference_cm_high"),
    ],
)
def test_the_measure_that_was_meant_is_named(heading, meant):
    (told,) = wrong_heading(heading)
    assert told.what == "unknown measure" and told.column == heading
    assert told.action.startswith(f"did you mean '{meant}'? write the measure's")


@pytest.mark.parametrize(
    ("heading", "what"),
    [
        ("stature_cm", "a limit whose end is not said"),
        ("stature", "a limit whose end is not said"),
        ("low", "a limit whose measure is not said"),
        ("Upper", "a limit whose measure is not said"),
        ("sizes", "unknown column"),
        ("safe_working_load_kg", "unknown column"),
        ("stature_kg_low", "unknown unit 'kg'"),
        ("load_limit_t", "unknown column"),
    ],
)
def test_a_slip_in_a_heading_is_named(heading, what):
    (told,) = wrong_heading(heading)
    assert (told.what, told.column) == (what, heading)


@pytest.mark.parametrize("heading", ["statures", "lowest", "colour", "sized for", "lo"])
def test_what_only_resembles_a_name_is_the_users_own(heading):
    assert not wrong_heading(heading)


def test_two_units_of_one_measure_are_told_once_and_other_measures_not():
    columns = ["stature_cm_low", "stature_in_high", "sitting_height_in_low"]
    (told,) = read_headings([*columns, "sitting_height_in_high"])[1]
    assert "stature is given in two units, 'cm' and 'in'" in told.what
    assert (told.row, told.column) == (1, "stature_in_high")
    assert "keep one of 'stature_cm_low' and 'stature_in_high'" in told.action
