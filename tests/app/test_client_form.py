"""The form for one client: nothing stale, nothing lost, nothing kept unasked."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.client_fields import EXAMPLE
from sizing.app.client_form import ClientForm
from sizing.app.fields import UnitField, UnitSwitch
from sizing.charts import demo_chart
from sizing.client import check_client
from sizing.files.places import KEEPS
from sizing.measures import UNITS
from sizing.pages.client_answer import drawn_answer
from sizing.resources import cautions
from sizing.words.client import answer_lines
from tests.app.cases import HIP, MASS, read, seen, switched

WOMAN = {MASS: "61.2", "stature_cm": "160", HIP: "101"}


@pytest.fixture
def form():
    return ClientForm(switch=switched())


@pytest.fixture
def undrawn(monkeypatch):
    """Pictures are not drawn, which would take most of the time."""
    monkeypatch.setattr(
        "sizing.app.client_form.pictures_html", lambda *a, **k: "pictures"
    )


def enter(form, **entries):
    form.fields.sex.value, form.fields.age.value = "female", "74"
    for name, value in entries.items():
        form.fields.values[name].box.value = value
    return form.fields.values


def test_the_answer_follows_what_is_entered_and_goes_with_what_is_wrong(form, undrawn):
    fields = enter(form, **WOMAN)
    assert form.answer is None and "press Check" in form.answer_view.value
    assert form.foot.value == ""
    form.go.click()
    first, foot = form.answer_view.value, form.foot.value
    assert form.answer.client.known[HIP].value == 101
    # The foot of a narrow screen says no more than the answer.
    what = answer_lines(form.answer)[0]
    assert 'href="#answer"' in foot and foot.endswith(f"On an invented chart. {what}")
    fields[HIP].box.value = "108"
    assert form.answer.client.known[HIP].value == 108
    assert form.answer_view.value != first
    form.fields.ways[HIP].value = "guessed"
    assert form.answer.client.known[HIP].how == "guessed"
    form.fields.loads["hoist"].box.value = "61"
    assert "Read first what stands before it." in form.foot.value
    form.note.show()
    assert "iframe" in form.note.out.value
    fields[HIP].box.value = "1,015"
    assert form.answer is None and form.note.note is None
    told = read(form.answer_view)
    assert "Hip girth (1,015 cm)" in told and "comma" in told
    assert not any(size in told for size in demo_chart().sizes)
    assert form.picture_view.value == form.note.out.value == ""
    assert "No size is named" in form.foot.value and "fit" not in form.foot.value
    with pytest.raises(ValueError, match="Check the client first"):
        form.results()
    form.clear()
    assert form.foot.value == ""


def test_what_was_confirmed_was_not_confirmed_of_the_next_entry(form, undrawn):
    fields = enter(form, **WOMAN | {HIP: "68"})
    form.check()
    assert form.answer is None and seen(form.confirmed)
    assert "tick" in form.answer_view.value
    form.confirmed.value = True
    assert form.answer is not None and len(form.answer.doubts) == 1
    fields[HIP].box.value = "67"
    assert form.answer is None and not form.confirmed.value


def test_other_units_say_the_same_of_the_same_client(form, undrawn):
    fields = enter(form, **WOMAN)
    form.check()
    before = form.answer
    form.note.show()
    for units in ("pounds", "stone", "metric"):
        form.switch.view.value = units
        assert form.answer is before
        words = form.answer_view.value + form.note.out.value
        assert bool(re.search(r"\d in\b(?! 100)", words)) == (units != "metric")
        assert bool(re.search(r"\d cm\b", words)) == (units == "metric")
    assert fields[HIP].box.value == "101"
    form.switch.view.value = "pounds"
    form.check()
    assert form.answer.client.known == before.client.known
    assert form.answer.sizes.equals(before.sizes)
    # A number typed in cm where inches are chosen is named.
    fields["stature_cm"].box.value = "165"
    assert form.answer is None
    assert "Height (165 in): this makes sense in cm" in form.answer_view.value
    fields["stature_cm"].box.value = "165 cm"
    assert form.answer.client.known["stature_cm"].value == 165


@pytest.mark.parametrize(
    ("units", "hoist"),
    [("metric", "61.1"), ("pounds", "134.8"), ("stone", "9 st 8.5 lb")],
)
def test_over_the_lowest_load_limit_nothing_is_shown_as_fitting(form, units, hoist):
    enter(form, **WOMAN)
    form.check()
    assert "% (" in form.answer_view.value
    form.switch.view.value = units
    form.fields.loads["hoist"].box.value = hoist
    shown = form.answer_view.value + form.picture_view.value
    assert "Over the load limit" in shown and "No size may be used" in shown
    # No chance, no room, nothing further to measure.
    for word in ("Measure next", " in 100", "inside", "img", "in play"):
        assert word not in shown, word
    saved = form.results()
    assert not {"client_sizes", "client_margins", "client_chances"} & set(saved)
    assert "Measure next" not in saved["handling_note"]
    form.fields.loads["hoist"].box.value = ""
    assert " in 100" in form.answer_view.value


def test_sizes_under_one_in_a_hundred_are_one_line_of_the_picture():
    """Before, seven bars of nothing were drawn, each with "under 1 %"."""
    found = check_client(demo_chart(), EXAMPLE.entries, how=EXAMPLE.how)
    drawn = drawn_answer(found)["client_chances"]
    shown = [label.get_text() for label in drawn.get_yticklabels()]
    assert shown == list(found.sizes["size"][found.sizes["estimate"] >= 0.01])
    others = len(found.sizes) - len(shown)
    assert f"Other sizes ({others}): under 1 % each" in drawn.get_xlabel()


def test_the_invented_client_is_said_to_be_one_and_her_note_is_saved_when_asked(
    form, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    form.show_example()
    told, how = form.fields.entries()
    assert told == {**EXAMPLE.entries} and how[MASS] == "hoist scale"
    assert form.fields.visit(EXAMPLE.on, confirmed=False).loads == EXAMPLE.loads
    assert "Invented client" in form.answer_view.value
    assert form.picture_view.value.count('alt="') == 2
    assert "_cm" not in form.picture_view.value + form.answer_view.value
    assert list(tmp_path.iterdir()) == []
    saved = form.results()
    assert {"client_sizes", "client_chances", "handling_note"} <= set(saved)
    note = saved["handling_note"].replace("&#39;", "'")
    assert all(text in note for text in cautions())
    form.note.path.value = "mine.md"
    form.note.save_as()
    kept = (tmp_path / "mine.md").read_bytes()
    button = form.fields.unlike.children[0]
    assert button.description.endswith(": none ticked") and not button.value
    form.fields.conditions["swelling"].value = True
    assert button.description.endswith(": 1 ticked") and button.value
    assert "Stated: swelling" in form.answer_view.value
    form.fields.values[HIP].box.value = "103"
    assert "Invented client" not in form.answer_view.value
    form.note.save_as()
    assert "already" in form.note.out.value
    for name in ("a\0b.md", "no/x.md", "x" * 300 + ".md"):
        form.note.path.value = name
        form.note.save_as()
    assert [p.name for p in tmp_path.iterdir()] == ["mine.md"]
    assert (tmp_path / "mine.md").read_bytes() == kept
    form.clear()
    assert form.fields.entries() == ({}, {}) and form.answer is None
    assert form.fields.stated() == ()
    assert "press Check" in form.answer_view.value


@settings(max_examples=25)
@given(
    tenths=st.integers(200, 2500),
    steps=st.lists(st.sampled_from(list(UNITS)), min_size=1, max_size=6),
)
def test_switching_units_to_and_fro_loses_nothing(tenths, steps):
    switch = switched()
    fields = [UnitField("x", name, switch) for name in (HIP, MASS)]
    for field in fields:
        field.box.value = f"{tenths / 10}"
    for units in [*steps, "metric"]:
        switch.view.value = units
        assert [field.value for field in fields] == [tenths / 10] * 2
    assert [field.box.value for field in fields] == [f"{tenths / 10}"] * 2


def test_a_field_says_what_it_reads_and_keeps_what_it_cannot():
    switch = switched("stone")
    field = UnitField("Body mass", MASS, switch)
    heard = []
    field.on_change(lambda: heard.append(field.value))
    field.box.value = "9 st 8 lb"
    switch.view.value = "pounds"
    assert field.box.value == "134" and field.box.description == "Body mass, lb"
    field.box.value = "1,345"
    switch.view.value = "metric"
    # In the unit it was typed in, whatever is chosen now.
    assert field.box.value == "1,345 lb" and field.value == "1,345 lb"
    assert heard == [pytest.approx(60.78137758), "1,345 lb"]
    switch.view.value = "stone"
    field.box.value = "12.10"
    switch.view.value = "metric"
    assert field.box.value == "12.10 st" and field.value == "12.10 st"
    field.box.value = "10 st 4"
    assert field.box.value == "65.3" and field.value == pytest.approx(144 * 0.45359237)


def test_a_choice_of_units_is_kept_where_a_server_of_the_kit_names_a_folder(
    tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(KEEPS, raising=False)
    switched("pounds")
    assert list(tmp_path.iterdir()) == [] and UnitSwitch().units == "metric"
    monkeypatch.setenv(KEEPS, str(tmp_path))
    switch, told = UnitSwitch(), []
    switch.on_change(told.append)
    switch.view.value = "stone"
    assert told == ["stone"] and UnitSwitch().units == "stone"
