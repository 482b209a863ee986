"""The trainer's page without a browser: nothing old stays, nothing is guessed."""

import re
from datetime import date

import numpy as np
import pandas as pd
import pytest

from sizing.app.lesson_form import LessonForm, free_folder
from sizing.charts import demo_chart
from sizing.lesson import read_answers
from sizing.lesson.practice import size_margins
from sizing.resources import source_table
from tests.app.cases import HIGH, HIP, LOW, fill, press, read, take

#: A volunteer whom 'adult 2' fits.
A_BODY = {
    "body_mass_kg": 70.0,
    "stature_cm": 170.0,
    "shoulder_height_sitting_cm": 58.0,
    "buttock_popliteal_length_cm": 47.0,
    HIP: 101.0,
}
#: Names of the code, which no page may show.
CODE = re.compile(r"\b[a-z]+_(?:cm|kg|[a-z]+_(?:cm|kg))\b|by_eye|bmi_class|tape_once")


@pytest.fixture(scope="module")
def opened():
    """The page as it is opened; tests leave its entries as they were."""
    form = LessonForm("bariatric", draws=1)
    form.start()
    return form


@pytest.fixture
def form(opened, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    yield opened
    opened.room.invented.value = False
    opened.room.upload.clear()
    opened.settings.units.view.value = "metric"


@pytest.fixture
def room(form):
    """The room's part of the page, where nothing was typed yet."""
    yield form.room
    form.room._sheets.clear()
    form.room.whose.value = 0
    form.room.lay_out()
    form.room.update()
    assert "Nothing is entered yet" in form.room.answered.words.value


def test_the_answer_is_there_on_opening_in_one_sentence_with_its_interval(form):
    ways = form.answer.answer[1]
    row = ways.overall.query("way == 'by_eye' and outcome == 'wrong_if_some_fits'")
    low, eye, high = (
        round(100 * row[name].iloc[0]) for name in ("low", "estimate", "high")
    )
    sentence = read(form.answer.answered.words)
    assert f"choosing by eye puts {eye} ({low} to {high})" in sentence
    assert "Of a hundred adults of high body mass index" in sentence
    picture = form.answer.answered.pictures
    for part in (picture, form.limits, form.sources, form.cautions.children[0]):
        assert part.value and not CODE.search(read(part))
    assert 'alt="Bars, one for each way' in picture.value
    form.answer.by_group.run()
    form.answer.show_studies()
    told = read(form.answer.groups, form.answer.studies)
    assert "Can Fam Physician 1999" in told and "put in a wrong one by eye" in told
    assert not CODE.search(told)


def test_nothing_old_stays_when_an_entry_changes(form):
    form.pairs.work.run()
    form.answer.by_group.run()
    form.cards.size.value = "adult 1"
    form.cards.show()
    words, pair = form.answer.answered.words, form.pairs.answered.pictures
    before = words.value
    assert pair.value and form.answer.groups.value
    form.settings.seed_box.value = 2
    assert pair.value == form.answer.groups.value == ""
    assert "press 'Find pairs' again" in read(form.pairs.answered.words)
    assert form.cards.answer.value == "" or form.cards.place == 0
    form.answer.work.wait()
    assert form.answer.answer[1].settings["seed"] == 2
    assert words.value and words.value != before
    form.settings.seed_box.value = 1
    form.answer.work.wait()
    assert words.value == before


def test_a_chart_of_ones_own_is_used_throughout_and_a_bad_one_gives_a_reason(form):
    words = form.answer.answered.words
    take(form.settings.upload, f"size,{LOW},{HIGH}\none,95,80\n", "bad.csv")
    form.answer.work.wait()
    assert "bad.csv" in form.settings.told.value
    assert "There is no answer" in words.value and form.cards.practice is None
    assert "Please check" in form.answer.work.told.value
    take(form.settings.upload, demo_chart().frame.replace("adult 1", "first"))
    form.answer.work.wait()
    assert "first" in form.cards.size.options
    form.room.whose.value = 1
    assert "first" in form.room.table.cell(0, "chosen_size").options
    form.room.whose.value = 0
    form.settings.upload.clear()
    form.answer.work.wait()
    assert "first" not in form.cards.size.options
    assert "Of a hundred" in words.value and form.cards.practice is not None


def test_a_card_s_answer_has_the_margin_and_goes_when_another_size_is_chosen(form):
    cards = form.cards
    cards.deal()
    right = [r.split(" or ") for r in cards.practice.answers["right"]]
    cards._turn(next(i for i, r in enumerate(right) if r[0] != "none"))
    fits = right[cards.place][0]
    card = cards.practice.cards.iloc[cards.place]
    wrong = next(s for s in demo_chart().sizes if s not in right[cards.place])
    cards.show()
    assert "Choose a size first" in cards.answer.value
    cards.size.value = wrong
    assert cards.answer.value == ""
    cards.show()
    told = read(cards.answer)
    for words in ("Not right", f"'{wrong}'", "outside", "common practice"):
        assert words in told
    assert (size_margins(card, demo_chart(), wrong)["margin"] < 0).any()
    assert (size_margins(card, demo_chart(), fits)["margin"] >= 0).all()
    cards.size.value = fits
    assert cards.answer.value == ""
    cards.show()
    assert "Right: in a size that fits" in read(cards.answer)
    assert "Right at the first go: 0 of 1." in cards.score.value
    assert not CODE.search(read(cards.answer, cards.card))
    # Cards in inches say what they are judged by.
    form.settings.units.view.value = "pounds"
    inches = cards.practice.cards[HIP].to_numpy() / 2.54
    assert 2 * inches == pytest.approx(np.round(2 * inches), abs=1e-3)
    pounds = cards.practice.cards["body_mass_kg"].to_numpy() / 0.45359237
    assert pounds == pytest.approx(np.round(pounds), abs=1e-3)
    text = read(cards.card)
    assert " in" in text and " lb" in text and " cm" not in text


def test_the_invented_room_is_told_at_once_with_every_slip(room):
    room.invented.value = True
    assert "19 of 34" in room.answered.words.value
    wrong, told = read(room.wrong), read(room.answered.pictures)
    for slip in ("inches", "pounds", "look exchanged", "not on the chart"):
        assert slip in wrong
    for part in ("guess minus truth", "%TEM", "reliability", "Readings averaged"):
        assert part in told
    assert not CODE.search(told + wrong)
    assert "habit" not in told and "The slips left out, and left in" in told
    assert "look exchanged" not in told and "<details>" in room.wrong.value
    room.each.value = True
    assert "habit" in read(room.answered.pictures)
    room.each.value = False
    assert room.answered.pictures.value.count("<img") == 7
    room.invented.value = False
    assert room.answered.pictures.value == ""


def test_each_sheet_is_typed_alone_and_judged_with_the_others_at_once(
    form, room, tmp_path
):
    """Before, the whole room was one table, of which a large class had too much."""
    # The form saved before anything is typed can be filled in: it says who it is of.
    press(room.view, "Save tables (CSV)")
    blank = pd.read_csv(tmp_path / "answer_form.csv", dtype=object)
    blank.loc[blank["participant"] == "2", "chosen_size"] = "adult 2"
    assert read_answers(blank, demo_chart()).participants == ("2",)
    fill(room.table, **{name: str(value) for name, value in A_BODY.items()})
    for sheet, size in ((1, "adult 2"), (150, "bariatric 3")):
        room.whose.value = sheet
        fill(room.table, chosen_size=size)
    room.turn(-149)
    assert room.table.cell(0, "chosen_size").value == "adult 2"
    room.table.cell(0, HIP).value = "1,025"
    room.table.cell(1, HIP).value = "101,5"
    room.update()
    assert "1 of 2" in room.answered.words.value
    assert "reference, 1, 150" in room.typed_of.value
    wrong = read(room.wrong)
    assert "participant 1, A" in wrong and "Hip girth, cm" in wrong
    assert "1,025" in wrong and "row" not in wrong
    assert room.source()[HIP].tolist()[2] == 101.5
    room.turn(149)
    fill(room.table, chosen_size="adult 2")
    room.update()
    assert "0 of 2" in room.answered.words.value
    press(room.view, "Save tables (CSV)")
    saved = pd.read_csv(tmp_path / "room_answers_typed.csv")
    assert saved["chosen_size"].dropna().tolist() == ["adult 2", "adult 2"]
    form.settings.units.view.value = "stone"
    assert "0 of 2" in room.answered.words.value
    press(room.view, "The reference")
    assert room.table.cell(0, HIP).value == "39.76"
    room.volunteers.value = 4
    assert room.table.cell(0, HIP).value == "39.76"
    assert room.table.cell(3, "subject").value == "D"


def test_nothing_typed_is_lost_on_another_chart_or_passed_over_for_a_file(form, room):
    """Before, measures that another chart does not limit were dropped unsaid."""
    shoulder = "shoulder_height_sitting_cm"
    room.whose.value = 1
    fill(room.table, **{shoulder: "58"})
    take(form.settings.upload, demo_chart().frame[["size", LOW, HIGH]])
    room.use_settings()
    fill(room.table, **{HIP: "101"})
    assert room.typed()[[shoulder, HIP]].values.tolist() == [[58, 101]]
    take(room.upload, source_table("demo_room_answers.csv"))
    assert "does not count while a file" in read(room.wrong)
    room.upload.clear()
    form.settings.upload.clear()
    room.use_settings()
    assert room.table.cell(0, shoulder).value == "58"


def test_the_pack_is_of_what_the_page_shows_in_a_new_folder_each_time(
    form, tmp_path, monkeypatch
):
    form.pack._write({"slides.html": b"one", "pictures/a.svg": b"two"})
    form.pack._write({"slides.html": b'<p lang="en">', "pictures/a.svg": b"four"})
    assert (tmp_path / "lesson" / "slides.html").read_bytes() == b"one"
    assert (tmp_path / "lesson (2)" / "slides.html").read_bytes() == b'<p lang="en">'
    assert 'srcdoc="<p lang=&quot;en&quot;>"' in form.pack.slides.value
    assert free_folder("lesson").name == "lesson (3)"
    assert "lesson (2)" in form.pack.told.value
    asked_for, room = {}, source_table("demo_room_answers.csv")

    def prepare(population, chart, **named):
        asked_for.update(named, population=population)
        raise StopIteration

    monkeypatch.setattr("sizing.app.lesson_form.prepare_lesson", prepare)
    monkeypatch.setattr(form.room, "source", lambda: room)
    with pytest.raises(StopIteration):
        form.pack._make(lambda words, share: None)
    assert asked_for["population"] == "bariatric" and asked_for["seed"] == 1
    assert asked_for["answers"] is room and asked_for["units"] == "metric"


def test_a_course_is_kept_by_its_date_and_an_invented_room_is_not(form, room, tmp_path):
    courses = form.courses
    room.invented.value = True
    press(courses.view, "Keep this course")
    assert "a room of yours" in read(courses.told)
    room.invented.value = False
    press(courses.view, "Show every course")
    assert "No course is kept" in courses.answered.words.value
    take(room.upload, source_table("demo_room_answers.csv"))
    # The same room pressed twice is kept once; of another day, once more.
    for day in (courses.day.value, courses.day.value, date(2024, 5, 1)):
        courses.day.value = day
        press(courses.view, "Keep this course")
    assert "2 courses" in read(courses.answered.words)
    assert len(list((tmp_path / "courses").glob("course *.csv"))) == 2
    assert not CODE.search(read(courses.answered.pictures))
    room.upload.clear()
