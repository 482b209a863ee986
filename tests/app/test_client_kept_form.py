"""Clients kept on the adviser's page: by her reference, in one folder, when she says"""

from dataclasses import replace
from datetime import date

import pytest

from sizing.app.client_form import ClientForm
from sizing.app.own_chart_kept import ChartChoice
from sizing.charts import demo_chart
from sizing.charts.files import keep_chart
from sizing.client.kept import read_visits

HIP, MASS = "hip_circumference_cm", "body_mass_kg"


@pytest.fixture
def forms(tmp_path, monkeypatch):
    """Return what makes a page that keeps clients in one folder, undrawn."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sizing.app.client_form.pictures_html", lambda *a, **k: "")

    def make():
        form = ClientForm()
        form.switch.view.value = "metric"
        return form

    return make


def enter(form, age="9", **values):
    form.fields.sex.value, form.fields.age.value = "female", age
    for name, value in values.items():
        form.fields.values[name].box.value = value
    form.check()


def keep(form, reference, day):
    form.kept.reference.value, form.kept.day.value = reference, day
    press(form, "Keep this visit")


def press(form, words):
    form.kept.buttons[words].click()
    return form.kept.words.value


def test_a_client_is_kept_opened_changed_copied_and_deleted(forms, tmp_path):
    form = forms()
    enter(form, **{MASS: "25", HIP: "68"})
    assert list(tmp_path.iterdir()) == []
    form.note.size.value = "paediatric 2"
    form.note.texts["carers"].value = "two"
    form.fields.conditions["swelling"].value = True
    keep(form, "K-3", date(2026, 1, 5))
    assert "Kept: visit of 2026-01-05" in form.kept.words.value
    assert [p.parent.name for p in tmp_path.rglob("*.csv")] == ["clients"]

    # The page opened another day has the last work ready.
    form = forms()
    assert form.kept.which.value == "K-3" and form.fields.entries() == ({}, {})
    assert "Open: K-3" in press(form, "Open")
    assert form.answer.client.known[MASS].value == 25
    assert form.note.size.value == "paediatric 2" and form.fields.stated() == [
        "swelling"
    ]
    form.fields.values[MASS].box.value = "26"
    assert "Changed: visit of 2026-01-05" in press(form, "Keep this visit")
    assert "The age was 9 on 2026-01-05" in press(form, "Copy for the next visit")
    assert form.answer is None and form.fields.entries() == ({"sex": "female"}, {})
    assert form.note.texts["carers"].value == "two" and form.note.size.value == ""
    assert "Check the client first" in press(form, "Keep this visit")
    form.kept.day.value = date(2026, 11, 5)
    enter(form, **{MASS: "31", HIP: "74"})
    form.note.size.value = "paediatric 2"
    assert "Kept: visit of 2026-11-05" in press(form, "Keep this visit")
    assert [v.entries[MASS] for v in read_visits("clients", "K-3")] == [26.0, 31.0]
    grown = form.kept.growth.value
    assert "change a year 6 kg" in grown and grown.count("<img") == 2
    form.switch.view.value = "pounds"
    assert "change a year 13.2 lb" in form.kept.growth.value

    assert "Tick first" in press(form, "Delete")
    form.kept.sure.value = True
    assert "Deleted for good" in press(form, "Delete")
    assert list(tmp_path.rglob("*.csv")) == [] and form.kept.which.value == ""


def test_what_two_pages_do_at_once_is_not_lost(forms):
    one = forms()
    enter(one, **{MASS: "25"})
    keep(one, "K-3", date(2026, 1, 5))
    other = forms()
    press(other, "Open")
    one.fields.values[MASS].box.value = "26"
    press(one, "Keep this visit")
    other.fields.values[MASS].box.value = "27"
    assert "changed or deleted since it was opened" in press(other, "Keep this visit")
    assert read_visits("clients", "K-3")[0].entries[MASS] == 26.0


def test_another_client_is_never_taken_for_the_one_that_was_open(forms):
    form = forms()
    enter(form, **{MASS: "25"})
    keep(form, "K-3", date(2026, 1, 5))
    form.clear()
    enter(form, "74", **{MASS: "61"})
    assert "Write a reference of your own first" in press(form, "Keep this visit")
    keep(form, "k-3", date(2026, 1, 5))
    assert "kept already" in form.kept.words.value
    form.show_example()
    assert form.kept.reference.value == "" and "Invented" in form.answer_view.value
    press(form, "Open")
    assert "Choose one of the clients kept" in form.kept.words.value


def test_another_chart_and_a_broken_file_are_said(forms, tmp_path):
    form = forms()
    enter(form, **{MASS: "25"})
    form.note.size.value = "paediatric 2"
    keep(form, "K-3", date(2026, 1, 5))
    file = next(tmp_path.rglob("*.csv"))
    file.write_text(file.read_text().replace(demo_chart().name, "ward seven"))
    assert "kept with the chart &#x27;ward seven&#x27;, which" in press(form, "Open")
    assert "The size kept was &#x27;paediatric 2&#x27;" in form.kept.words.value
    (file.parent / "client B.csv").write_text("milk,bread\n1,2\n")
    form = forms()
    assert "B: cannot be read" in form.kept.list.value
    form.kept.which.value = "B"
    assert "holds no visits" in form.kept.words.value
    assert (file.parent / "client B.csv").read_text() == "milk,bread\n1,2\n"


def test_a_chart_typed_or_kept_by_another_file_name_is_found_again(forms, tmp_path):
    # Before, a visit kept with the chart in use was said to be of one not there.
    chart = replace(demo_chart(), name="ward a/b")
    choice = ChartChoice(lambda _: None, tmp_path / "charts")
    choice.offer(chart)
    assert choice.choose("ward a/b") and choice.chart() is chart
    keep_chart(chart, tmp_path / "charts")
    choice.offer(chart)
    assert choice.name == "ward a-b" and choice.choose("ward a/b")
    assert not choice.choose("ward seven")


def test_a_copy_is_judged_by_the_chart_of_the_visit_before(forms):
    form, asked = forms(), []
    enter(form, **{MASS: "25"})
    keep(form, "K-3", date(2026, 1, 5))
    form.kept.choose = lambda name: bool(asked.append(name))
    words = press(form, "Copy for the next visit")
    assert asked == [demo_chart().name] and "not among yours" in words


def test_a_file_as_a_person_wrote_it_fills_the_form(forms, tmp_path):
    # Before, 'f' stopped the form half filled, deaf to what was entered after.
    form = forms()
    (tmp_path / "clients").mkdir()
    content = f"visit_on,sex,age_years,{MASS}\n2026-01-05,f,74,68\n"
    (tmp_path / "clients" / "client K.csv").write_text(content)
    form = forms()
    press(form, "Open")
    assert form.fields.sex.value == "female" and form.answer is not None
