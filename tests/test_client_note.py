"""The note for the handling plan, the commands and the forms."""

import argparse
import json
import re
from datetime import date

import pytest

from sizing.cautions import cautions
from sizing.chart import demo_chart, write_chart
from sizing.cli import chart as chart_command
from sizing.cli import client as client_command
from sizing.client import check_client, with_edge
from sizing.errors import SizingError
from sizing.report.client_form import ClientForm
from sizing.report.client_note import REMINDER, Decision, client_note
from sizing.report.own_chart_form import OwnChartForm

WOMAN = {"sex": "female", "age_years": 74, "body_mass_kg": 61, "knee_height_cm": 48}
DECISION = Decision(
    size="adult 1",
    reason="hips & back | both fit",
    shoulders="second loop",
    legs="crossed, <first> loop",
    positions_reason="sits upright",
    review_on=date(2027, 5, 25),
    reference="file 12",
)


@pytest.fixture(scope="module")
def answer():
    return check_client(
        demo_chart(),
        WOMAN,
        how={"body_mass_kg": "hoist scale"},
        loads={"hoist": 160, "spreader bar": 200},
    )


@pytest.fixture(scope="module")
def note(answer):
    return client_note(answer, DECISION, on=date(2026, 11, 25))


def test_the_note_holds_what_was_decided_and_how_it_was_measured(note):
    for text in (note.html(), note.markdown()):
        for word in (
            "hoist scale",
            "knee height",
            "adult 1",
            "second loop",
            "sits upright",
            "160 kg",
            "2027-05-25",
            "file 12",
            "Signature",
            "Review on",
            REMINDER,
            "The kit proposes",
        ):
            assert word in text, word
    assert all(text in note.markdown() for text in cautions())
    assert "&lt;first&gt;" in note.html() and "<first>" not in note.html()


def test_the_note_asks_for_nothing_outside(note):
    assert not re.search(r"(src|href)\s*=\s*[\"']?https?:", note.html())
    assert "@import" not in note.html() and "<script" not in note.html()


def test_an_empty_decision_leaves_space_to_write(answer):
    text = client_note(answer).markdown()
    assert text.count("....................") >= 6


def test_another_size_than_the_kits_may_be_chosen_and_is_said(answer):
    text = client_note(answer, Decision(size="adult 3")).markdown()
    assert "not the one the kit names first" in text


def test_no_note_for_a_size_that_cannot_bear_the_load():
    heavy = check_client(demo_chart(), WOMAN, loads={"hoist": 60})
    with pytest.raises(SizingError, match="over the lowest load limit"):
        client_note(heavy, Decision(size="adult 1"))
    assert "No size may be used" in client_note(heavy).markdown()


def test_dates_and_names_are_checked(answer):
    with pytest.raises(SizingError, match="before the assessment"):
        client_note(answer, DECISION, on=date(2028, 1, 1))
    with pytest.raises(SizingError, match="size chosen"):
        client_note(answer, Decision(size="adult 9"))


def run(command, *words):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(list(words)))


def test_the_client_command_prints_words_json_and_a_note(tmp_path, capsys):
    words = ["sex=female", "age_years=74", "body_mass_kg=61:hoist_scale"]
    note = tmp_path / "note.md"
    assert run(client_command, *words, "--load", "hoist=160", "--note", str(note)) == 0
    told = capsys.readouterr().out
    assert "Measure next" in told and cautions()[0] in told
    assert "hoist scale" in note.read_text()
    run(client_command, *words, "--json")
    made = json.loads(capsys.readouterr().out)
    assert made["measures"][0]["how"] == "hoist scale"
    assert len(made["sizes"]) == 9


@pytest.mark.parametrize(
    "words",
    [
        ["sex"],
        ["sex=f", "sex=m"],
        ["sex=f", "--load", "hoist=heavy"],
        ["sex=f", "--note", "note.pdf"],
        ["sex=f", "stature_cm=64", "age_years=40"],
        ["sex=f", "--chart", "no_such.csv"],
    ],
)
def test_the_client_command_refuses_in_plain_words(words):
    with pytest.raises(SizingError) as caught:
        run(client_command, *words)
    assert "Traceback" not in str(caught.value)


def test_the_chart_command_writes_a_report(tmp_path, capsys):
    mine, other = tmp_path / "mine.csv", tmp_path / "other.xlsx"
    write_chart(demo_chart(), mine)
    moved = with_edge(demo_chart(), "adult 2", "hip_circumference_cm", "high", 120)
    write_chart(moved, other)
    page = tmp_path / "report.html"
    words = ["--people", "bariatric", "--draws", "1", "--out", str(page)]
    assert run(chart_command, str(mine), *words, "--against", str(other)) == 0
    told = capsys.readouterr().out
    assert "mine" in told and "other" in told and cautions()[0] in told
    text = page.read_text(encoding="utf-8")
    for heading in (
        "Two charts side by side",
        "Who falls between, and why",
        "Gaps and overlaps",
        "Sizes nobody needs",
        "Before any lift",
    ):
        assert heading in text


def test_a_bad_chart_is_refused_with_every_problem(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text(
        "size,hip_circumference_cm_low,hip_circumference_cm_high\n"
        'one,"70,5",90\ntwo,95,80\n'
    )
    with pytest.raises(SizingError) as caught:
        run(chart_command, str(bad))
    assert "comma" in str(caught.value) and "above the high limit" in str(caught.value)


class Dropped:
    """Stands for an upload box with one file in it."""

    def __init__(self, path):
        self.value = ({"name": path.name, "content": path.read_bytes()},)


def test_the_chart_form_follows_a_chart_and_its_edges(tmp_path):
    form = OwnChartForm("bariatric", draws=1)
    heard = []
    form.listeners.append(heard.append)
    bad = tmp_path / "bad.csv"
    bad.write_text('size,hip_circumference_cm_low\none,"70,5"\n')
    form._dropped(Dropped(bad), second=False)
    assert "comma" in form.told.value and not heard
    mine = tmp_path / "mine.csv"
    write_chart(demo_chart(), mine)
    form._dropped(Dropped(mine), second=False)
    assert "Read:" in form.told.value and len(heard) == 1
    form.size.value, form.measure.value = "bariatric 3", "hip_circumference_cm"
    form.end.value = "high"
    picture = form.image.value
    form.value.value = 170.0
    assert form.edited.frame["hip_circumference_cm_high"].iloc[-1] == 170.0
    assert "points" in form.change.value and form.image.value != picture
    assert heard[-1].frame["hip_circumference_cm_high"].iloc[-1] == 170.0
    assert "edges moved" in heard[-1].name
    form.path.value = str(tmp_path / "edited.csv")
    form.save_edited()
    saved = (tmp_path / "edited.csv").read_bytes()
    form.value.value = 172.0
    form.save_edited()
    assert "already" in form.told.value
    assert (tmp_path / "edited.csv").read_bytes() == saved
    form.use(form.chart)
    assert "nothing has changed" in form.change.value


def test_an_answer_goes_when_an_entry_or_the_chart_changes():
    form = ClientForm()
    form.sex.value, form.age.value = "female", "74"
    form.values["hip_circumference_cm"].value = "101"
    form.check()
    assert form.answer is not None
    form.values["hip_circumference_cm"].value = "110"
    assert form.answer is None and "check the client again" in form.out.value
    form.show_note()
    assert "Check the client first" in form.note_out.value
    form.check()
    assert form.answer is not None
    form.show_note()
    form.use_chart(demo_chart())
    assert form.answer is None and form.note is None
    assert "iframe" not in form.note_out.value


def test_margins_that_cannot_be_read_are_told_whatever_is_chosen_next(tmp_path):
    form = OwnChartForm("bariatric", draws=1)
    bad = tmp_path / "margins.csv"
    bad.write_text("what,share\nsex,0.5\n")
    form.margins = Dropped(bad)
    form._tell_margins()
    assert "margins.csv" in form.told.value
    form.told.value = ""
    form.people_name.value = "care_home"
    assert "margins.csv" in form.told.value


def test_the_client_form_answers_refuses_and_keeps_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    form = ClientForm()
    form.show_note()
    assert "Check the client first" in form.note_out.value
    form.sex.value, form.age.value = "female", "74"
    form.values["body_mass_kg"].value = "61,5"
    form.check()
    assert "comma" in form.out.value and form.answer is None
    form.values["body_mass_kg"].value = "61"
    form.ways["body_mass_kg"].value = "hoist scale"
    form.loads["hoist"].value = "160"
    form.check()
    assert form.answer is not None and cautions()[0].split("'")[0] in form.out.value
    form.size.value = form.answer.first["size"]
    form.show_note()
    assert "iframe" in form.note_out.value
    assert list(tmp_path.iterdir()) == []
    form.path.value = "note.html"
    form.save_note()
    assert (tmp_path / "note.html").is_file()
