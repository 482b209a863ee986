"""Units typed are read as the unit gate reads them; the choice of units is kept."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.app.units import UnitSwitch
from sizing.files.state import KEEPS
from sizing.measures import to_standard_units
from sizing.measures.typed import understood

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


def test_one_choice_holds_for_the_pages_opened_after_it(tmp_path):
    switch, told = UnitSwitch(tmp_path), []
    switch.on_change(told.append)
    switch.view.value = "stone"
    assert told == ["stone"]
    assert UnitSwitch(tmp_path).units == "stone"


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
