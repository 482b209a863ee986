"""The note for the handling plan, the commands and the forms."""

import argparse
import io
import re
import shutil
import sys
from dataclasses import asdict, replace
from datetime import date
from functools import partial
from html import escape, unescape

import pytest

from sizing.cli import client as client_command
from sizing.errors import SizingError
from sizing.measures import written
from sizing.pages.client_note import Decision, client_note
from sizing.resources import cautions
from sizing.words.client_notes import doubt_lines

from .cases import HIP, KNEE, MASS, STATURE, THIGH, check

WOMAN = {"sex": "female", "age_years": 74, MASS: 61, KNEE: 48}
DECISION = Decision(
    size="adult 1",
    reason="hips & back | both fit",
    shoulders="second loop",
    legs="crossed, <first> loop",
    positions_reason="sits upright",
    review_on=date(2027, 5, 25),
    reference="file 12",
    hoist="Mover 7, number 12",
    carers="two, one at the head",
    trial="comfortable, seat clear",
    examined_on=date(2026, 11, 1),
)


@pytest.fixture(scope="module")
def answer():
    return check(
        WOMAN, how={MASS: "hoist scale"}, loads={"hoist": 160, "spreader bar": 200}
    )


@pytest.fixture(scope="module")
def note(answer):
    return client_note(answer, DECISION, on=date(2026, 11, 25))


def test_no_size_is_written_down_before_somebody_names_one(answer, note):
    """Before, the likeliest stood among the parts, however unsettled the answer."""
    assert answer.to_measure
    for text in (client_note(answer).html(), client_note(answer).markdown()):
        assert not re.search(r"sling, size (adult|bariatric|paediatric)", text)
    assert "sling, size adult 1" in note.html()


def words_of(content):
    docx = pytest.importorskip("docx")
    book = docx.Document(io.BytesIO(content))
    cells = [c.text for t in book.tables for row in t.rows for c in row.cells]
    return "\n".join([*(p.text for p in book.paragraphs), *cells])


@pytest.mark.parametrize("ending", [".html", ".md", ".docx"])
def test_the_note_holds_what_was_decided_and_how_it_was_measured(note, ending):
    content = note.as_file(ending)
    assert content == note.as_file(ending)
    text = words_of(content) if ending == ".docx" else content.decode()
    decided = [str(v) for v in asdict(DECISION).values() if v and "|" not in str(v)]
    words = ["hoist scale", "knee height", "160 kg", "Signature", "Review on"]
    words += ["set the recline and the distance", *cautions()]
    told = unescape(text).replace("\\<", "<")
    for word in (*decided, *words):
        assert word in told, word
    assert ending != ".html" or "<first>" not in text


def test_the_note_says_what_the_screen_says_and_no_more(answer, note):
    """Before, the note asked for a thigh where the screen asked for nothing more."""
    for line in answer.lines():
        assert line in note.markdown() and escape(line, quote=False) in note.html()
        assert line in words_of(note.as_file(".docx"))
    for word in ("Measure next", "proposes"):
        assert word not in note.markdown()
    assert note.html().count('class="box"') == 6


def test_without_the_package_a_document_is_refused_with_what_to_do(note, monkeypatch):
    monkeypatch.setitem(sys.modules, "docx", None)
    with pytest.raises(SizingError, match="pip install python-docx"):
        note.as_file(".docx")


def test_the_note_prints_on_one_sheet_in_ten_point(answer):
    chromium = pytest.importorskip("playwright.sync_api")
    pypdf = re.compile(rb"/Type\s*/Page\b(?!s)")
    doubted = check(
        WOMAN | {HIP: 101, THIGH: 58},
        loads={"hoist": 160, "spreader bar": 200},
        conditions="swelling",
        confirmed=True,
    )
    child = {"sex": "f", "age_years": 9, MASS: 30, STATURE: 132, HIP: 72}
    child = check(child)
    assert re.search(
        r"@media print \{ body \{[^}]*font-size: 10pt", client_note(answer).html()
    )
    with chromium.sync_playwright() as started:
        try:
            browser = started.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox"]
            )
        except chromium.Error:
            pytest.skip("no browser to print with")
        page = browser.new_page()
        for one in (answer, doubted, child):
            page.set_content(client_note(one, replace(DECISION, size="")).html())
            printed = page.pdf(prefer_css_page_size=True)
            assert len(pypdf.findall(printed)) == 1
        browser.close()


def test_what_is_empty_leaves_space_and_another_size_than_the_kits_is_said(answer):
    assert client_note(answer).markdown().count("....................") >= 6
    text = client_note(answer, Decision(size="adult 3")).markdown()
    assert "not the one the kit names first" in text


def test_no_note_for_a_size_that_cannot_bear_the_load():
    heavy = check(WOMAN, loads={"hoist": 60})
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


def test_what_was_confirmed_is_told_in_plain_words_and_the_readers_units():
    tall = {"sex": "female", "age_years": 74, MASS: 60, STATURE: 228}
    answer = check(tall, confirmed=True)
    (metric,) = doubt_lines(answer)
    (inches,) = doubt_lines(answer, say=partial(written, units="pounds"))
    assert metric.startswith("height: ") and "(read: 228 cm)" in metric
    assert "(read: 89.8 in)" in inches and " cm" not in inches
    assert not re.search(r"_|column|What to do", metric + inches)
    # The same amounts as the doubt itself, each once and each in its own unit.
    amounts = re.findall(r"[\d.]+(?= to| cm)", answer.doubts[0].what)
    told = re.findall(r"[\d.]+(?= to| in)", inches)
    assert [round(float(a) / 2.54, 1) for a in amounts] == [
        float(t) for t in told if t != "89.8"
    ]
