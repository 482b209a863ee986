"""The trainer's page without a browser: nothing old stays, nothing is guessed."""

import re
from datetime import date

import numpy as np
import pandas as pd
import pytest

from sizing.app.lesson_form import LessonForm, free_folder
from sizing.charts import demo_chart, write_chart
from sizing.lesson import read_answers
from sizing.lesson.practice import size_margins
from sizing.resources import source_table
from tests.conftest import taken

HIP = "hip_circumference_cm"
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


def shown(html: str) -> str:
    """Return what a page shows, without its markup and pictures."""
    return re.sub(r"base64,[^\"]*|<[^>]*>", " ", html)


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


def press(view, words: str) -> None:
    """Press the button of these words somewhere in a view."""
    waiting = [view]
    while waiting:
        widget = waiting.pop()
        if getattr(widget, "description", None) == words:
            widget.click()
            return
        waiting += getattr(widget, "children", ())
    raise AssertionError(f"there is no button '{words}'")


def test_the_answer_is_there_on_opening_in_one_sentence_with_its_interval(form):
    ways = form.answer.answer[1]
    row = ways.overall.query("way == 'by_eye' and outcome == 'wrong_if_some_fits'")
    low, eye, high = (
        round(100 * row[name].iloc[0]) for name in ("low", "estimate", "high")
    )
    sentence = shown(form.answer.answered.words.value)
    assert f"choosing by eye puts {eye} ({low} to {high})" in sentence
    assert "Of a hundred adults of high body mass index" in sentence
    picture = form.answer.answered.pictures
    for part in (picture, form.limits, form.sources, form.cautions.children[0]):
        assert part.value and not CODE.search(shown(part.value))
    assert 'alt="Bars, one for each way' in picture.value


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
    assert "press 'Find pairs' again" in shown(form.pairs.answered.words.value).replace(
        "&#x27;", "'"
    )
    assert form.cards.answer.value == "" or form.cards.place == 0
    form.answer.work.wait()
    assert form.answer.answer[1].settings["seed"] == 2
    assert words.value and words.value != before
    form.settings.seed_box.value = 1
    form.answer.work.wait()
    assert words.value == before


def test_a_file_that_is_no_chart_gives_a_reason_and_no_answer(form):
    bad = b"size,hip_circumference_cm_low,hip_circumference_cm_high\none,95,80\n"
    form.settings.upload.box.value = taken("bad.csv", bad)
    form.answer.work.wait()
    assert "bad.csv" in form.settings.told.value
    words = form.answer.answered.words
    assert "There is no answer" in words.value and form.cards.practice is None
    assert "Please check" in form.answer.work.told.value
    form.settings.upload.clear()
    form.answer.work.wait()
    assert "Of a hundred" in words.value and form.cards.practice is not None


def test_a_chart_of_ones_own_is_used_throughout(form, tmp_path):
    path = tmp_path / "ward.csv"
    write_chart(demo_chart(), path)
    text = path.read_text(encoding="utf-8").replace("adult 1", "first")
    form.settings.upload.box.value = taken("ward.csv", text.encode())
    form.answer.work.wait()
    assert "first" in form.cards.size.options
    form.room.whose.value = 1
    assert "first" in form.room.table.cell(0, "chosen_size").options
    form.room.whose.value = 0
    form.settings.upload.clear()
    form.answer.work.wait()
    assert "first" not in form.cards.size.options


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
    told = shown(cards.answer.value)
    assert "Not right" in told and f"'{wrong}'" in told.replace("&#x27;", "'")
    assert "outside" in told and "common practice" in told
    assert (size_margins(card, demo_chart(), wrong)["margin"] < 0).any()
    assert (size_margins(card, demo_chart(), fits)["margin"] >= 0).all()
    cards.size.value = fits
    assert cards.answer.value == ""
    cards.show()
    assert "Right: in a size that fits" in shown(cards.answer.value)
    assert "Right at the first go: 0 of 1." in cards.score.value
    assert not CODE.search(shown(cards.answer.value + cards.card.value))


def test_cards_in_inches_say_what_they_are_judged_by(form):
    form.settings.units.view.value = "pounds"
    cards = form.cards.practice.cards
    inches = cards[HIP].to_numpy() / 2.54
    assert 2 * inches == pytest.approx(np.round(2 * inches), abs=1e-3)
    pounds = cards["body_mass_kg"].to_numpy() / 0.45359237
    assert pounds == pytest.approx(np.round(pounds), abs=1e-3)
    text = shown(form.cards.card.value)
    assert " in" in text and " lb" in text and " cm" not in text


def test_the_invented_room_is_told_at_once_with_every_slip(form):
    room = form.room
    room.invented.value = True
    assert "19 of 34" in room.answered.words.value
    wrong = shown(room.wrong.value)
    for slip in ("inches", "pounds", "look exchanged", "not on the chart"):
        assert slip in wrong
    told = shown(room.answered.pictures.value)
    for part in ("guess minus truth", "%TEM", "reliability", "Readings averaged"):
        assert part in told
    assert not CODE.search(told + wrong)
    assert "habit" not in told and "The slips left out, and left in" in told
    assert "look exchanged" not in told and "<details>" in room.wrong.value
    room.each.value = True
    assert "habit" in shown(room.answered.pictures.value)
    room.each.value = False
    assert room.answered.pictures.value.count("<img") == 7
    room.invented.value = False
    assert (
        room.answered.pictures.value == ""
        and "Nothing is entered yet" in room.answered.words.value
    )


def test_a_bad_file_of_answers_is_named_and_a_good_one_follows_at_once(form):
    room = form.room
    room.upload.box.value = taken("room.csv", b"who,what\n1,2\n")
    assert re.search("room.csv.*participant", room.wrong.value)
    assert room.answer is None and room.answered.pictures.value == ""
    good = source_table("demo_room_answers.csv").to_csv(index=False).encode()
    room.upload.box.value = taken("room.csv", good)
    assert room.answer is not None and "19 of 34" in room.answered.words.value
    room.upload.clear()
    assert room.answer is None and room.answered.pictures.value == ""


def test_each_sheet_is_typed_alone_and_judged_with_the_others_at_once(form, tmp_path):
    """Before, the whole room was one table, of which a large class had too much."""
    room = form.room
    for name, value in A_BODY.items():
        room.table.cell(0, name).value = str(value)
    for sheet, size in ((1, "adult 2"), (150, "bariatric 3")):
        room.whose.value = sheet
        room.table.cell(0, "chosen_size").value = size
    room.turn(-149)
    assert room.table.cell(0, "chosen_size").value == "adult 2"
    room.table.cell(0, HIP).value = "1,025"
    room.table.cell(1, HIP).value = "101,5"
    room.update()
    assert "1 of 2" in room.answered.words.value
    assert "reference, 1, 150" in room.typed_of.value
    wrong = shown(room.wrong.value)
    assert "participant 1, A" in wrong and "Hip girth, cm" in wrong
    assert "1,025" in wrong and "row" not in wrong
    assert room.source()[HIP].tolist()[2] == 101.5
    room.turn(149)
    room.table.cell(0, "chosen_size").value = "adult 2"
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
    room._sheets.clear()
    room.lay_out()
    room.update()
    assert "Nothing is entered yet" in room.answered.words.value


def test_nothing_typed_is_lost_on_another_chart_or_passed_over_for_a_file(form):
    """Before, measures that another chart does not limit were dropped unsaid."""
    room, shoulder = form.room, "shoulder_height_sitting_cm"
    room.whose.value = 1
    room.table.cell(0, shoulder).value = "58"
    hips = [f"{HIP}_low", f"{HIP}_high"]
    own = demo_chart().frame[["size", *hips]].to_csv(index=False).encode()
    form.settings.upload.box.value = taken("hips.csv", own)
    room.use_settings()
    room.table.cell(0, HIP).value = "101"
    assert room.typed()[[shoulder, HIP]].values.tolist() == [[58, 101]]
    good = source_table("demo_room_answers.csv").to_csv(index=False).encode()
    room.upload.box.value = taken("room.csv", good)
    assert "does not count while a file" in shown(room.wrong.value)
    room.upload.clear()
    form.settings.upload.clear()
    room.use_settings()
    assert room.table.cell(0, shoulder).value == "58"
    room._sheets.clear()
    room.whose.value = 0
    room.update()


def test_the_form_saved_before_anything_is_typed_can_be_filled_in(form, tmp_path):
    """Before, it was one sheet, and who it was of stood nowhere."""
    press(form.room.view, "Save tables (CSV)")
    blank = pd.read_csv(tmp_path / "answer_form.csv", dtype=object)
    blank.loc[blank["participant"] == "2", "chosen_size"] = "adult 2"
    assert read_answers(blank, demo_chart()).participants == ("2",)


def test_the_pack_lies_in_a_new_folder_each_time(form, tmp_path):
    form.pack._write({"slides.html": b"one", "pictures/a.svg": b"two"})
    form.pack._write({"slides.html": b'<p lang="en">', "pictures/a.svg": b"four"})
    assert (tmp_path / "lesson" / "slides.html").read_bytes() == b"one"
    assert (tmp_path / "lesson (2)" / "slides.html").read_bytes() == b'<p lang="en">'
    assert 'srcdoc="<p lang=&quot;en&quot;>"' in form.pack.slides.value
    assert free_folder("lesson").name == "lesson (3)"
    assert "lesson (2)" in form.pack.told.value


def test_the_pack_is_made_of_what_the_page_shows(form, monkeypatch):
    asked_for = {}

    def prepare(population, chart, **named):
        asked_for.update(named, population=population)
        raise StopIteration

    monkeypatch.setattr("sizing.app.lesson_form.prepare_lesson", prepare)
    room = source_table("demo_room_answers.csv")
    monkeypatch.setattr(form.room, "source", lambda: room)
    with pytest.raises(StopIteration):
        form.pack._make(lambda words, share: None)
    assert asked_for["population"] == "bariatric" and asked_for["seed"] == 1
    assert asked_for["answers"] is room and asked_for["units"] == "metric"


def test_the_studies_and_groups_are_told_in_plain_words(form):
    form.answer.by_group.run()
    form.answer.show_studies()
    told = shown(form.answer.groups.value + form.answer.studies.value)
    assert "Can Fam Physician 1999" in told and "put in a wrong one by eye" in told
    assert not CODE.search(told)


def test_a_course_is_kept_by_its_date_and_an_invented_room_is_not(form, tmp_path):
    room, courses = form.room, form.courses
    room.invented.value = True
    press(courses.view, "Keep this course")
    assert "a room of yours" in shown(courses.told.value)
    room.invented.value = False
    press(courses.view, "Show every course")
    assert "No course is kept" in courses.answered.words.value
    good = source_table("demo_room_answers.csv").to_csv(index=False).encode()
    room.upload.box.value = taken("room.csv", good)
    # The same room pressed twice is kept once; of another day, once more.
    for day in (courses.day.value, courses.day.value, date(2024, 5, 1)):
        courses.day.value = day
        press(courses.view, "Keep this course")
    assert "2 courses" in shown(courses.answered.words.value)
    assert len(list((tmp_path / "courses").glob("course *.csv"))) == 2
    assert not CODE.search(shown(courses.answered.pictures.value))
