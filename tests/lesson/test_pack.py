"""The pack, the command and the forms: complete, the same again, in plain words."""

import argparse
import re

import openpyxl
import pandas as pd
import pytest
from matplotlib.text import Text
from PIL import Image

from sizing.app.fields import written
from sizing.charts import demo_chart
from sizing.cli import lesson as command
from sizing.cli.places import USES
from sizing.errors import SizingError
from sizing.lesson import read_answers
from sizing.lesson.choosing import SPREAD_WORDS
from sizing.lesson.ways import prepare_lesson
from sizing.pages.lesson import answers_html, cards_html
from sizing.pages.lesson_pack import (
    lesson_files,
    lesson_slides,
    pair_slide,
    repeats_slide,
    write_files,
    wrong_slide,
)
from sizing.resources import source_table
from tests.reading import grade, long_sentences, words_of


@pytest.fixture(scope="module")
def lesson():
    return prepare_lesson(
        "bariatric", clients=6, answers=source_table("demo_room_answers.csv"), draws=2
    )


@pytest.fixture(scope="module")
def pack(lesson, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pack")
    written = write_files(lesson_files(lesson), folder)
    return folder, written


def test_the_pack_is_complete(pack):
    folder, written = pack
    names = {str(path.relative_to(folder)) for path in written}
    known = set(USES["lesson"]["fills"]["--out"])
    assert {n if "/" not in n else n.partition("/")[0] + "/" for n in names} <= known
    asked = "index slides wall_chart participant_sheet facilitator_plan attendance room"
    asked += " handout evidence cards card_answers"
    pictures = "wrong_size.png wrong_size.svg pair_1.svg how_often_to_measure.png"
    wanted = {f"{page}.html" for page in asked.split()} | {"answer_form.xlsx"}
    assert wanted | {f"pictures/{p}" for p in pictures.split()} <= names
    assert all(path.stat().st_size > 100 for path in written)


def test_every_page_carries_the_cautions_and_no_name_of_the_code_or_network(pack):
    code = re.compile(r"\b[a-z]+_(?:cm|kg|[a-z]+_(?:cm|kg))\b|\bway_|by_eye|bmi_class")
    for path in pack[1]:
        if path.suffix != ".html":
            continue
        text = path.read_text(encoding="utf-8")
        assert "safe working load" in text, path.name
        # Links lead to the pack's own files, and nothing is loaded.
        assert not re.search(r'src="(?!data:)', text), path.name
        for link in re.findall(r'href="([^"]*)"', text):
            assert (path.parent / link).is_file(), (path.name, link)
        markup = r"<style.*?</style>|base64,[^\"]*|<[^>]*>"
        shown = re.sub(markup, " ", text, flags=re.S)
        assert "nan" not in shown.split() and code.findall(shown) == [], path.name


def test_every_sheet_is_in_short_sentences_for_those_who_read_it(pack):
    """Lists of sources apart; grades as in ``tests/words``: a choice, no source."""
    for path in pack[1]:
        if path.suffix == ".html":
            text = words_of(path.read_text(encoding="utf-8")).split("\nSources\n")[0]
            trainers = path.stem in ("evidence", "facilitator_plan", "room")
            assert long_sentences(text) == [], path.name
            assert grade(text) <= (10 if trainers else 8), path.name


def test_what_the_tape_s_intervals_hold_for_is_said_where_they_stand(pack):
    """Before, no slide and no handout said it."""
    for name in ("slides", "handout", "evidence"):
        text = words_of((pack[0] / f"{name}.html").read_text(encoding="utf-8"))
        assert f"{SPREAD_WORDS}." in " ".join(text.split()), name
    ways = pd.read_csv(pack[0] / "ways.csv")
    counted = ways["method"].str.endswith(SPREAD_WORDS)
    assert (counted == ways["way"].str.startswith("tape")).all()


def test_no_page_of_the_pack_shows_one_participant_s_own_figures(pack):
    text = words_of((pack[0] / "room.html").read_text(encoding="utf-8"))
    assert "Left out of these sums" in text
    assert not re.search(r"[Pp]articipant \d|Each participant", text)


def test_each_card_s_answer_stands_behind_it_and_not_before(lesson):
    """Turned over the long edge, the left card's back lies on the right."""
    page = cards_html(lesson.practice, lesson.chart)
    sides = page.split('<div class="cards">')[1:]
    for front, back in zip(sides[::2], sides[1::2], strict=True):
        names = re.findall(r"<h2>(Card \d+)</h2>", front)
        behind = re.findall(r'<h2>(Card \d+): the answer|class="blank"', back)
        turned = [behind[i ^ 1] for i in range(len(behind))]
        assert turned[: len(names)] == names
        assert not any(s in front for s in lesson.chart.sizes)
    # The chart and the cases fill the first sheet: each front begins a sheet.
    assert page.split('class="cards"')[0].count('<section class="sheet') == 3
    for right in lesson.practice.answers["right"]:
        assert right in page and right in answers_html(lesson.practice, lesson.chart)


def test_the_handout_is_short_enough_for_one_page(pack):
    text = (pack[0] / "handout.html").read_text(encoding="utf-8")
    words = re.sub(r"<style.*?</style>|<[^>]+>|base64,[^\"]*", " ", text, flags=re.S)
    # A4 at 9 points less 11 mm margins and a picture of 68 mm holds about 5,000
    # characters; the smaller print takes less room still.
    assert len(" ".join(words.split())) < 4_300


def test_the_answer_form_is_laid_out_for_the_room_and_can_be_read_back(pack, tmp_path):
    form = pd.read_excel(pack[0] / "answer_form.xlsx").astype(object)
    assert form["participant"].nunique() == 13 and len(form) == 3 + 12 * 3 * 2
    form.loc[3, "chosen_size"] = "adult 1"
    form.to_excel(tmp_path / "room.xlsx", index=False)
    answers = read_answers(tmp_path / "room.xlsx", demo_chart())
    assert answers.sizes["chosen_size"].tolist() == ["adult 1"]
    assert set(answers.left_out["reason"]) == {"nothing is filled in"}
    book = openpyxl.load_workbook(pack[0] / "answer_form.xlsx")
    rule = book["answers"].data_validations.dataValidation[0]
    assert [c[0].value for c in book["choices"]] == [*demo_chart().sizes, "none"]
    assert "D75" in rule.sqref


def test_pictures_show_the_numbers_of_their_frames(lesson):
    told = lesson.ways.overall
    wrong = told[told["outcome"].isin(["wrong_if_some_fits", "missed_if_some_fits"])]
    bars = sorted(bar.get_width() for bar in wrong_slide(lesson.ways).axes.patches)
    assert bars == pytest.approx(sorted(100 * wrong["estimate"]))
    line = repeats_slide(lesson.repeats).axes.lines[0]
    own = lesson.repeats.query("outcome == 'wrong_size' and by == 'one measurer'")
    assert line.get_ydata().tolist() == pytest.approx(own["estimate"].tolist())


def test_slides_fill_a_projector_and_their_words_can_be_read_there(pack, lesson):
    """1920 by 1080 dots; no letter under 28 dots."""
    for path in pack[1]:
        if path.suffix == ".png":
            assert Image.open(path).size == (1920, 1080), path.name
    for slide in lesson_slides(lesson):
        texts = slide.figure.findobj(Text)
        words = [t for t in texts if t.get_text().strip() and t.get_visible()]
        assert min(t.get_fontsize() for t in words) >= 28 * 72 / 200, slide.name
        assert slide.alt and slide.caption


def test_slides_are_numbered_and_ask_before_they_answer(pack):
    text = (pack[0] / "slides.html").read_text(encoding="utf-8")
    assert min(map(float, re.findall(r"font-size: ([\d.]+)px", text))) >= 28
    names = re.findall(r'class="slide [^"]*" aria-label="([^"]*)"', text)
    answers = [i for i, name in enumerate(names) if name.endswith(": answer")]
    for i in answers:
        assert names[i - 1] == names[i].replace("answer", "question")
    assert len(answers) >= 5 and text.count('class="notes"') == len(names) > 20
    assert "attr(data-number)" in text and "requestFullscreen" in text


def test_a_pair_is_told_in_the_units_chosen(lesson):
    alt = pair_slide(lesson.pairs, 1, units="stone").alt
    row = lesson.pairs.table.iloc[0]
    assert re.search(r"\d+ st \d+ lb", alt) and " cm" not in alt
    assert written(row["a"], row["parting_measure"], "stone") in alt


def test_the_work_tells_its_progress_and_can_be_stopped(lesson):
    def stop(words, share):
        raise KeyboardInterrupt(words, share)

    with pytest.raises(KeyboardInterrupt) as told:
        lesson_files(lesson, progress=stop)
    assert told.value.args == ("Drawing the slides", 0.5)


def arguments(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return parser.parse_args(list(words))


def test_the_command_makes_the_same_pack_and_keeps_the_course(pack, tmp_path, capsys):
    out, room, courses = (tmp_path / n for n in ("new/lesson", "room.csv", "mine"))
    source_table("demo_room_answers.csv").to_csv(room, index=False)
    words = f"--people bariatric --draws 2 --clients 6 --answers {room} --out {out} "
    words += f"--courses {courses} --date 2024-05-01"
    assert command.run(arguments(*words.split())) == 0
    for path in pack[1]:
        twin = (out / path.relative_to(pack[0])).read_bytes()
        # The room is kept, and its page is one more in the list.
        assert path.name == "index.html" or path.read_bytes() == twin, path.name
    assert b'href="courses.html"' in (out / "index.html").read_bytes()
    page = (out / "courses.html").read_text(encoding="utf-8")
    assert "2024-05-01" in page and "safe working load" in page
    told = capsys.readouterr().out
    for part in ("By eye", "6 practice clients", "course 2024-05-01.csv"):
        assert part in told
    assert "bmi_class" not in told


def test_a_form_that_the_room_filled_in_is_kept(tmp_path):
    (tmp_path / "answer_form.xlsx").write_bytes(b"filled in")
    written = write_files({"answer_form.xlsx": b"blank"}, tmp_path)
    assert (tmp_path / "answer_form.xlsx").read_bytes() == b"filled in"
    assert [path.name for path in written] == ["answer_form_blank.xlsx"]


@pytest.mark.parametrize("words", ["--people giants", "--answers no_such_file.csv"])
def test_the_command_refuses_in_plain_words(words, tmp_path):
    words = f"--people bariatric --draws 1 --out {tmp_path / 'x'} {words}"
    with pytest.raises(SizingError):
        command.run(arguments(*words.split()))
