"""Headings: what each is understood as, in which unit, and which slips are named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.measures import MEASURES
from sizing.measures.tables import ANY, CHART

NO_UNIT, NO_MEASURE = "this measure has no unit in its name", "this is no measure of"
UNSAID, MEANT = "a limit whose measure is not said", "did you mean '{}'?"
TWICE = "the same measure, {}, stands in two units: '{}' and '{}'"


@pytest.mark.parametrize(
    ("table", "heading", "meant"),
    [
        (CHART, "chest_cm_low", "chest_circumference_cm_low"),
        (CHART, "thigh_in_high", "thigh_circumference_cm_high"),
        (CHART, "Waist (ft) min", "waist_circumference_cm_low"),
        (CHART, "Hip girth from, cm", "hip_circumference_cm_low"),
        (CHART, "Shoulder height sitting to, cm", "shoulder_height_sitting_cm_high"),
        (ANY, "weight_lb", "body_mass_kg"),
        (ANY, "safe_working_load_st", "load_limit_kg"),
        (ANY, "Lowest shoulder height, sitting, in mm", f"{MEASURES[3]}_low"),
        (ANY, "HIP-GIRTH FROM (INCHES)", "hip_circumference_cm_low"),
        (ANY, "Seat depth in cm, min", "buttock_popliteal_length_cm_low"),
        (ANY, "Age", "age_years"),
        (ANY, "age in months", "age_years"),
        (ANY, "ＳＥＸ", "sex"),
        # What only resembles a name is the user's own.
        *[(CHART, word, None) for word in ("statures", "lows", "sized for", "lo")],
        *[(ANY, word, None) for word in ("age_group", "age_top_coded", "checked_in")],
        *[(ANY, word, None) for word in ("ward", "ages", "note_m")],
    ],
)
def test_headings_as_people_write_them(table, heading, meant):
    (found,), told = table.read([heading])
    assert not told and found.given == heading
    assert (found.column and found.standard) == meant


HIPS = MEANT.format(f"{MEASURES[5]}' or '{MEASURES[6]}")


@pytest.mark.parametrize(
    ("table", "headings", "what"),
    [
        (CHART, "statur_cm_low", MEANT.format("stature_cm_low")),
        (CHART, "hip_bredth_siting_cm_high", MEANT.format(f"{MEASURES[6]}_high")),
        (CHART, "hip_cm_low", "'hip_circumference_cm_low' or 'hip_breadth_sitting_cm"),
        (CHART, "knee_cm_low|zzz_low", NO_MEASURE),
        (CHART, "stature|sitting_height_low|safe_working_load", NO_UNIT),
        (CHART, "low|Upper", UNSAID),
        (CHART, "sizes|gruop", "unknown column"),
        (CHART, "stature_kg_low", "'kg' is no unit for this measure"),
        (CHART, "body_mass_cm_high", "'cm' is no unit for this measure"),
        (CHART, "load_limit_t", "'t' is no unit for this measure"),
        (ANY, "stature_furlongs|age_days|age_cm", "is no unit"),
        (ANY, "hip_in_low", "hip_circumference_in_low' or 'hip_breadth_sitting_in_low"),
        (ANY, "Hip|hip_lb", HIPS),
        (ANY, "body_mas_in", MEANT.format("body_mass_kg")),
        (ANY, "knee_hight_ft", MEANT.format("knee_height_ft")),
        (ANY, "max weight (kg)", MEANT.format("load_limit_kg' or 'body_mass_kg")),
        (ANY, "nose_length_cm", MEANT.format("ulna_length_cm")),
    ],
)
def test_a_slip_in_a_heading_is_named(table, headings, what):
    for heading in headings.split("|"):
        _, (told,) = table.read(["note", heading], file="mine.csv")
        assert what in told.what
        assert ("mean" in told.what) == ("mean" in what or "' or '" in what)
        assert (told.row, told.file, told.column) == (1, "mine.csv", heading)
        assert told.allowed and told.action


CASES = (str.lower, str.upper, str.title, str.capitalize)
MARKS = st.sampled_from(["_", " ", "-", " - ", ", ", "  "])
UNITS = st.sampled_from(["{} ", " ({})"])


@given(st.permutations(CHART.columns), st.sampled_from(CASES), st.data(), UNITS)
def test_any_order_case_and_spacing_of_headings_reads_the_same(
    columns, case, data, unit
):
    """Every word that a column goes by, joined and written in any way."""
    headings, meant = [], []
    for column in columns:
        word = data.draw(st.sampled_from(sorted(column.words)))
        text = word.replace("_", data.draw(MARKS))
        if column.kind in ("length", "mass"):
            given_unit = column.standard.rsplit("_", 1)[1]
            text += " high" if column.name != "load_limit" else ""
            text += unit.format(given_unit) if "(" in unit else f", {given_unit}"
        headings.append(case(text))
        end = "_high" if column.standard in MEASURES else ""
        meant.append(column.standard + end)
    found, told = CHART.read(headings)
    assert not told and [one.standard for one in found] == meant
    assert [one.given for one in found] == [text.strip() for text in headings]


@pytest.mark.parametrize(
    ("headings", "words"),
    [
        (["stature_cm", "stature_in", "body_mass_kg"], ["stature", "cm", "in"]),
        (["stature_cm_low", "stature_in_high"], ["stature", "cm", "in"]),
        (["load_limit_lb", "load_limit_kg"], ["load_limit", "lb", "kg"]),
        (["waist_cm", "hips_cm", "waist_mm"], ["waist_circumference", "cm", "mm"]),
        (["span_in_low", "hips_mm", "span_in_high"], []),
    ],
)
def test_two_units_of_one_measure_are_told_once_and_other_measures_not(headings, words):
    _, told = ANY.read(headings)
    assert [one.what for one in told] == ([TWICE.format(*words)] if words else [])
    for one in told:
        assert f"keep one of '{headings[0]}' and '{one.column}'" in one.action
