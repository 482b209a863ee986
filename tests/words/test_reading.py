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

#: A school grade: a choice, no source.
CARE_STAFF = 8
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


def is_for_care_staff(text):
    assert long_sentences(text) == []
    assert grade(text) <= CARE_STAFF


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_answers_in_short_sentences(command, tmp_path, capsys):
    chart, page = tmp_path / "chart.csv", tmp_path / "page.html"
    demo_chart().frame.to_csv(chart, index=False)
    words = [word.format(chart=chart, page=page) for word in COMMANDS[command]]
    assert main(words) == 0
    is_for_care_staff(capsys.readouterr().out)
    if page.exists():
        is_for_care_staff(words_of(page.read_text("utf-8")))


def test_pages_and_first_words_are_for_care_staff():
    few, chart = load_people("bariatric", draws=1), demo_chart()
    is_for_care_staff(ways_answer(compare_ways(few, chart, replicates=20)))
    is_for_care_staff(words_of(client_note(check_client(chart, WOMAN)).html()))
    is_for_care_staff(words_of(guide_html()))
    # The sources of its people are those of every report.
    page = replace(own_chart_page(judge_chart(few, chart), few), limits=(), sources=())
    said = words_of(render(page))
    is_for_care_staff(said)
    # Before, the answer stood twice.
    assert said.count(" fits 8") == 1


def test_a_long_sentence_and_a_hard_one_are_found():
    long = "word " * 29 + "end. A short one that nobody minds here."
    assert len(long_sentences(long)) == 1
    hard = "Notwithstanding considerable methodological heterogeneity, estimations."
    assert grade(hard + " " + hard) > CARE_STAFF + 2
