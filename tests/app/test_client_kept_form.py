"""Clients kept on the adviser's page: by her reference, in one folder, when she says"""

from dataclasses import replace
from datetime import date

import pytest

from sizing.app.client_form import ClientForm
from sizing.app.own_chart_fields import ChartChoice
from sizing.charts import demo_chart
from sizing.charts.files import keep_chart
from sizing.client.visits import read_visits
from tests.app.cases import HIP, MASS, read, switched

DAY = date(2026, 1, 5)


class Kept:
    """A page that keeps clients, its visits and what it says of them."""

    def __init__(self, reference=""):
        self.form = ClientForm(switch=switched())
        self.fields, self.kept = self.form.fields, self.form.kept
        if reference:
            self.enter(**{MASS: "25"})
            self.form.note.size.value = "paediatric 2"
            self.kept.reference.value, self.kept.day.value = reference, DAY
            assert "Kept: visit of 2026-01-05" in self.press("Keep this visit")

    def enter(self, age="9", **values):
        self.fields.sex.value, self.fields.age.value = "female", age
        self.weigh(**values)
        self.form.check()

    def weigh(self, **values):
        for name, value in values.items():
            self.fields.values[name].box.value = value

    def press(self, words):
        self.kept.buttons[words].click()
        return read(self.kept.words)


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Pages keep clients in one folder, and draw nothing."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sizing.app.client_form.pictures_html", lambda *a, **k: "")
    return tmp_path


def test_a_client_is_kept_opened_changed_copied_and_deleted(folder):
    page = Kept()
    page.enter(**{MASS: "25", HIP: "68"})
    page.form.note.texts["carers"].value = "two"
    page.fields.conditions["swelling"].value = True
    assert list(folder.iterdir()) == []
    page.form.note.size.value = "paediatric 2"
    page.kept.reference.value, page.kept.day.value = "K-3", DAY
    assert "Kept: visit of 2026-01-05" in page.press("Keep this visit")
    assert [p.parent.name for p in folder.rglob("*.csv")] == ["clients"]

    # The page opened another day has the last work ready.
    page = Kept()
    note = page.form.note
    assert page.kept.which.value == "K-3" and page.fields.entries() == ({}, {})
    assert "Open: K-3" in page.press("Open")
    assert page.form.answer.client.known[MASS].value == 25
    assert note.size.value == "paediatric 2" and page.fields.stated() == ("swelling",)
    page.weigh(**{MASS: "26"})
    assert "Changed: visit of 2026-01-05" in page.press("Keep this visit")
    assert "The age was 9 on 2026-01-05" in page.press("Copy for the next visit")
    assert page.form.answer is None and page.fields.entries() == ({"sex": "female"}, {})
    assert note.texts["carers"].value == "two" and note.size.value == ""
    assert "Check the client first" in page.press("Keep this visit")
    page.kept.day.value = date(2026, 11, 5)
    page.enter(**{MASS: "31", HIP: "74"})
    note.size.value = "paediatric 2"
    assert "Kept: visit of 2026-11-05" in page.press("Keep this visit")
    assert [v.entries[MASS] for v in read_visits("clients", "K-3")] == [26.0, 31.0]
    grown = page.kept.growth.value
    assert "change a year 6 kg" in grown and grown.count("<img") == 2
    page.form.switch.view.value = "pounds"
    assert "change a year 13.2 lb" in page.kept.growth.value

    assert "Tick first" in page.press("Delete")
    page.kept.sure.value = True
    assert "Deleted for good" in page.press("Delete")
    assert list(folder.rglob("*.csv")) == [] and page.kept.which.value == ""


def test_what_two_pages_do_at_once_is_not_lost_nor_one_client_taken_for_another():
    one, other = Kept("K-3"), Kept()
    other.press("Open")
    one.weigh(**{MASS: "26"})
    one.press("Keep this visit")
    other.weigh(**{MASS: "27"})
    told = other.press("Keep this visit")
    assert "changed or deleted since it was opened" in told
    assert read_visits("clients", "K-3")[0].entries[MASS] == 26.0
    one.form.clear()
    one.enter("74", **{MASS: "61"})
    assert "Write a reference of your own first" in one.press("Keep this visit")
    one.kept.reference.value, one.kept.day.value = "k-3", DAY
    assert "kept already" in one.press("Keep this visit")
    one.form.show_example()
    assert one.kept.reference.value == "" and "Invented" in one.form.answer_view.value
    assert "Choose one of the clients kept" in one.press("Open")


def test_another_chart_and_a_broken_file_are_said(folder):
    page, asked = Kept("K-3"), []
    page.kept.choose = lambda name: bool(asked.append(name))
    words = page.press("Copy for the next visit")
    assert asked == [demo_chart().name] and "not among yours" in words
    file = next(folder.rglob("*.csv"))
    file.write_text(file.read_text().replace(demo_chart().name, "ward seven"))
    said = page.press("Open")
    assert "kept with the chart 'ward seven', which" in said
    assert "The size kept was 'paediatric 2'" in said
    broken = file.parent / "client B.csv"
    broken.write_text("milk,bread\n1,2\n")
    page = Kept()
    assert "B: cannot be read" in page.kept.list.value
    page.kept.which.value = "B"
    assert "holds no visits" in page.kept.words.value
    assert broken.read_text() == "milk,bread\n1,2\n"


def test_a_chart_typed_or_kept_by_another_file_name_is_found_again(tmp_path):
    # Before, a visit kept with the chart in use was said to be of one not there.
    chart = replace(demo_chart(), name="ward a/b")
    choice = ChartChoice(lambda _: None, tmp_path / "charts")
    choice.offer(chart)
    assert choice.choose("ward a/b") and choice.chart() is chart
    keep_chart(chart, tmp_path / "charts")
    choice.offer(chart)
    assert choice.name == "ward a-b" and choice.choose("ward a/b")
    assert not choice.choose("ward seven")


def test_a_file_as_a_person_wrote_it_fills_the_form(folder):
    # Before, 'f' stopped the form half filled, deaf to what was entered after.
    (folder / "clients").mkdir()
    content = f"visit_on,sex,age_years,{MASS}\n2026-01-05,f,74,68\n"
    (folder / "clients" / "client K.csv").write_text(content)
    page = Kept()
    page.press("Open")
    assert page.fields.sex.value == "female" and page.form.answer is not None
