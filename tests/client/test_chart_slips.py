"""A slip in the chart is said before any size of it is named."""

from functools import partial
from html import escape

import pandas as pd
import pytest

from sizing.app.client_form import answer_html, pictures_html
from sizing.app.form_words import wrong_lines
from sizing.charts import demo_chart, read_chart
from sizing.cli.main import main
from sizing.client import check_client, judge_chart
from sizing.errors import InputProblems, Problem
from sizing.measures import Amount, Said, Worded, written
from sizing.pages.client_note import client_note
from sizing.pages.own_chart import own_chart_page
from sizing.pages.page import render
from sizing.people.own import people_from
from sizing.words.chart import finding_words

from .cases import HIP, MASS, WOMAN, made

HIPS = [f"{HIP}_low", f"{HIP}_high"]


def own(tmp_path, change):
    frame = demo_chart().frame.copy()
    frame = change(frame)
    frame.to_csv(tmp_path / "own.csv", index=False)
    return tmp_path / "own.csv"


def slip(frame):
    frame.loc[3, HIPS] = [80, 1040]
    return frame


def millimetres(frame):
    frame[HIPS] *= 10
    return frame


def total(frame):
    frame.loc[len(frame)] = frame.sum(numeric_only=True)
    return frame.assign(size=[*frame["size"][:-1], "Total"])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (slip, "'adult 1' ends at a hip girth of 1040 cm"),
        (millimetres, "it would be plausible in millimetres"),
    ],
)
def test_a_slip_stands_before_the_answer(tmp_path, capsys, change, said):
    """Before, both were passed over in silence and sizes were named."""
    path = own(tmp_path, change)
    words = [f"{name}={value}" for name, value in WOMAN.items()]
    assert main(["client", *words, "--chart", str(path)]) == 0
    told = capsys.readouterr().out
    lines = told.splitlines()
    assert lines[0].startswith("Check the chart first: ") and said in lines[0]
    answer = check_client(read_chart(path, warn=False), WOMAN)
    note = client_note(answer).markdown()
    assert said in note and note.index(said) < note.index("## ")
    page = answer_html(answer)
    assert page.index("Check the chart first") < page.index("<b>")
    found = " ".join(answer.to_dict()["chart_findings"])
    assert said in found.replace("circumference", "girth")


def test_a_row_of_sums_is_no_size(tmp_path, capsys):
    """Before, 'Total' was a size of 584 to 1,190 kg."""
    path = own(tmp_path, total)
    with pytest.raises(InputProblems, match=r"row 11, column .size"):
        read_chart(path, warn=False)
    assert main(["client", "sex=f", "--chart", str(path)]) == 2
    assert "delete the row" in capsys.readouterr().err


def test_what_is_merely_doubtful_stands_with_the_notes(tmp_path):
    def gap(frame):
        return frame.drop(index=4)

    answer = check_client(read_chart(own(tmp_path, gap), warn=False), WOMAN)
    assert not answer.answer().startswith("Check the chart")
    words = [f"Of the chart: {w}" for w in answer.findings["words"]]
    assert words and answer.summary().count("Of the chart: ") == len(words)
    assert answer_html(answer).count("Of the chart: ") == len(words)


@pytest.mark.parametrize(
    ("units", "edge"),
    [
        ("metric", "over 90 to under 95 cm"),
        ("stone", "over 35.4 to under 37.4 in"),
        ("pounds", "over 35.4 to under 37.4 in"),
    ],
)
def test_a_size_named_by_a_weight_keeps_its_name_in_every_unit(units, edge):
    """Before, in stone, a size "to 100 kg" was called "to 15 st 10.5 lb"."""
    say = partial(written, units=units)
    low, high = "to 100 kg", "to 160 kg"
    limits = {HIP: [(70, 90), (95, 130)], MASS: [(None, 110), (None, 160)]}
    chart = made(limits, load=[100, 160], sizes=[low, high])
    child = {"sex": "female", "age_years": 9, MASS: 30}
    answer = check_client(chart, child | {HIP: 140}, confirmed=True)
    text = answer_html(answer, units=units) + pictures_html(answer, units=units)
    gap = f"hip girth from {edge} belongs to neither '{low}' nor '{high}'"
    assert gap in finding_words(answer.findings, say=say)
    assert escape(gap) in text and high in text
    bodies = {HIP: [80.0, 93, 100, 140], MASS: [60.0, 70, 80, 120]}
    people = people_from(pd.DataFrame(bodies))
    found = judge_chart(people, chart, by=(), replicates=50)
    text += render(own_chart_page(found, people, units=units, bands=False))
    range_of = Said("{s}", s=Amount(90, "stature_cm", 230))
    problem = Problem("this cannot be", range_of, column="stature_cm", value=low)
    (line,) = wrong_lines(InputProblems([problem]), units=units)
    text += line
    assert low in line and ("90 to 230 cm" in line) == (units == "metric")
    # 100 and 160 kg are 15 st 10.5 lb (220.5 lb) and 25 st 2.7 lb (352.7 lb).
    for name in (low, high):
        assert name in text
    for word in ("to 15 st", "to 25 st", "to 220", "to 352"):
        assert word not in text


@pytest.mark.parametrize(
    ("where", "place"),
    [
        ({"file": "mine.csv", "row": 1, "column": "Hips"}, "mine.csv, the heading 'H"),
        ({"file": "mine.csv", "row": 1}, "mine.csv, the headings: "),
        ({"file": "mine.csv", "row": 4, "column": HIP}, "mine.csv, row 4, hip girth: "),
        ({"row": 1}, "The headings: "),
        ({"row": 4, "column": HIP}, "Row 3, hip girth: "),
    ],
)
def test_a_page_says_in_which_file_and_under_which_heading_a_fault_is(where, place):
    """Before, a fault of a file's headings was in "Row 0", of no file."""
    allowed = Worded(f"a column {HIP}_low", form="a column hip girth from")
    problem = Problem("no limits at all", allowed, **where)
    (line,) = wrong_lines(InputProblems([problem]))
    assert line.startswith(place)
    # What a heading must be called is said as it must stand in the file.
    assert (f"{HIP}_low" in line) == ("the heading" in line and "file" in where)
