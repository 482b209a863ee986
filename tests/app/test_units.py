"""Units typed and read: against the unit gate, and back again."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.app.units import UNITS, UnitSwitch, written
from sizing.errors import SizingError
from sizing.files.state import KEEPS
from sizing.measures import to_standard_units
from sizing.measures.typed import understood

SIZES = st.floats(20, 250).map(lambda value: round(value, 1))
#: A girth that some body has, be it cm or inches: the gate refuses others.
GIRTHS = st.floats(25, 90).map(lambda value: round(value, 1))


@pytest.mark.filterwarnings("ignore::sizing.errors.SizingWarning")
@given(value=GIRTHS, unit=st.sampled_from(["cm", "in"]))
def test_a_length_is_read_as_the_unit_gate_reads_it(value, unit):
    column = f"hip_circumference_{unit}"
    gate = to_standard_units(pd.DataFrame({column: [value]}), allow_unusual=True)
    by_gate = gate["hip_circumference_cm"].iloc[0]
    assert understood(f"{value} {unit}", "hip_circumference_cm") == pytest.approx(
        by_gate, rel=1e-12
    )


@given(value=SIZES, units=st.sampled_from(list(UNITS)))
def test_what_is_written_is_read_back_within_its_rounding(value, units):
    for measure, slack in (("stature_cm", 0.64), ("body_mass_kg", 0.5)):
        back = understood(written(value, measure, units), measure, units)
        assert abs(back - value) <= slack + 1e-9


@pytest.mark.parametrize(
    ("text", "measure", "units", "expected"),
    [
        # 5 ft 3 in = 63 in = 160.02 cm; 9 st 8 lb = 134 lb = 60.781 kg.
        ("5 ft 3 in", "stature_cm", "metric", 160.02),
        ("63", "stature_cm", "pounds", 160.02),
        ("9 st 8 lb", "body_mass_kg", "metric", 60.78137758),
        ("134", "body_mass_kg", "pounds", 60.78137758),
        ("9.25", "body_mass_kg", "stone", 58.740211915),
        ("104 cm", "hip_circumference_cm", "stone", 104.0),
    ],
)
def test_a_measure_typed_in_any_unit(text, measure, units, expected):
    assert understood(text, measure, units) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "tall",
        "-3",
        "104 kg",
        "5 ft 13 in",
        "3 in 5 ft",
        "5.5 ft 3 in",
        "1 2",
    ],
)
def test_what_is_no_length_is_refused_with_what_to_write(text):
    with pytest.raises(SizingError, match=r"Allowed: (104|a number)"):
        understood(text, "stature_cm")


def test_one_choice_holds_for_the_pages_opened_after_it(tmp_path):
    switch, told = UnitSwitch(tmp_path), []
    switch.on_change(told.append)
    switch.view.value = "stone"
    assert told == ["stone"]
    assert UnitSwitch(tmp_path).written(61.2, "body_mass_kg") == "9 st 9 lb"


def test_where_no_server_of_the_kit_names_a_folder_nothing_is_kept(
    tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(KEEPS, raising=False)
    UnitSwitch().view.value = "pounds"
    assert list(tmp_path.iterdir()) == []
    assert UnitSwitch().units == "metric"
    monkeypatch.setenv(KEEPS, str(tmp_path))
    UnitSwitch().view.value = "pounds"
    assert UnitSwitch().units == "pounds"
