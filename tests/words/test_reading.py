"""What a person reads first is short, and no harder than its reader likes."""

from dataclasses import replace

import pytest

from sizing.charts import demo_chart
from sizing.cli.main import main
from sizing.client import check_client
from sizing.client.own_chart import judge_chart
from sizing.lesson import compare_ways
from sizing.pages.client_note import client_note
from sizing.pages.own_chart import own_chart_page
from sizing.pages.page import render
from sizing.pages.where import guide_html
from sizing.people import load_people
from sizing.words.lesson import ways_answer
from tests.reading import grade, long_sentences, words_of

#: School grades: a choice, no source.
CARE_STAFF, REPORT = 8, 10
WOMAN = {
    "sex": "female",
    "age_years": 74,
    "body_mass_kg": 68,
    "stature_cm": 160,
    "hip_circumference_cm": 101,
}

COMMANDS = {
    "client": ["client", *(f"{name}={value}" for name, value in WOMAN.items())],
    "chart": ["chart", "{chart}", "--people", "bariatric"],
    "stock": ["stock", "--scenarios", "50", "--target", "0.6"],
    "bands": [
        "bands", "--people", "bariatric", "--sizes", "3", "--widths",
        "hip_circumference_cm=25", "shoulder_height_sitting_cm=12",
    ],
    "people": ["people", "care_home_nordic", "--draws", "1", "--report", "{page}"],
}  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_answers_in_short_sentences(command, tmp_path, capsys):
    chart = tmp_path / "chart.csv"
    demo_chart().frame.to_csv(chart, index=False)
    page = tmp_path / "page.html"
    words = [word.format(chart=chart, page=page) for word in COMMANDS[command]]
    assert main(words) == 0
    told = [capsys.readouterr().out]
    told += [words_of(page.read_text("utf-8"))] if page.exists() else []
    for said in told:
        assert long_sentences(said) == []
        assert grade(said) <= CARE_STAFF


def test_the_lessons_first_words_and_a_note_are_for_care_staff():
    ways = compare_ways(load_people("bariatric", draws=1), demo_chart(), replicates=20)
    note = words_of(client_note(check_client(demo_chart(), WOMAN)).html())
    for text in (ways_answer(ways), note, words_of(guide_html())):
        assert long_sentences(text) == []
        assert grade(text) <= CARE_STAFF


def test_the_page_on_an_own_chart_is_read_by_who_keeps_the_stock():
    few = load_people("bariatric", draws=1)
    page = own_chart_page(judge_chart(few, demo_chart()), few)
    # The sources of its people are those of every report.
    page = replace(page, limits=(), sources=())
    said = words_of(render(page))
    assert long_sentences(said) == []
    assert grade(said) <= CARE_STAFF
    # Before, the answer stood twice.
    assert said.count(" fits 8") == 1


def test_a_long_sentence_and_a_hard_one_are_found():
    long = "word " * 29 + "end. A short one that nobody minds here."
    assert len(long_sentences(long)) == 1
    hard = "Notwithstanding considerable methodological heterogeneity, estimations."
    assert grade(hard + " " + hard) > REPORT
