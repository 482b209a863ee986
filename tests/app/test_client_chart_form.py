"""The form for a chart of one's own: typed, taken in, judged, never stale."""

import asyncio
import threading
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from functools import wraps

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.client_form import AdviserPage
from sizing.app.own_chart_fields import ChartTable
from sizing.app.own_chart_form import OwnChartForm
from sizing.app.people_form import OWN, PeopleForm
from sizing.app.show import save_panel
from sizing.app.table import EditableTable
from sizing.charts import chart_from, demo_chart, read_chart, write_chart
from sizing.errors import SizingError, caught_warnings
from sizing.measures import UNITS
from sizing.people import load_people
from sizing.resources import texts
from tests.app.cases import HIGH, HIP, LOW, fill, read, seen, switched, take

TEXTS = texts("own_chart")
CHART = demo_chart()
OTHERS = "care_home_nordic"


@pytest.fixture
def form():
    """A form on few people, with the invented chart in its table."""
    made = OwnChartForm("bariatric", switch=switched(), draws=1)
    made.start.open.click()
    made.heard = []
    made.listeners.append(made.heard.append)
    return made


@pytest.fixture
def undrawn(monkeypatch):
    """Judgements whose pictures are not drawn."""

    def drawn(form, answer):
        # Before, it stood there for as long as the answer was being drawn.
        assert "no answer" not in form.answered.words.value
        form.answered.words.value = "judged"

    monkeypatch.setattr("sizing.app.own_chart_form.JudgementForm.show", drawn)


def judged(form):
    return form.judgement.answered.words.value == "judged" and form.judgement.answer


def taken_back(form):
    words = form.judgement.answered.words.value
    return "Something was changed" in words and form.judgement.answer is None


def cell(form, row, column):
    return form.table.table.cell(row, column)


def empty(form):
    return form.image.value == form.limits_view.value == form.sources_view.value == ""


def test_a_chart_is_taken_in_or_pasted_and_a_bad_one_leaves_no_answer(form, tmp_path):
    told = form.start.told
    take(form.start.upload, 'size,hip_circumference_cm_low\none,"1,705"\n')
    assert "comma" in told.value and "hip girth from" in told.value
    assert form.heard == [None] and form.edited is None
    assert form.image.value == form.limits_view.value == ""
    write_chart(CHART, tmp_path / "mine.csv")
    take(form.start.upload, tmp_path / "mine.csv")
    assert "Chart in use" in told.value and form.heard[-1] is form.edited
    assert form.image.value.startswith("<svg") and "fits" in form.change.value
    form.start.take.click()
    assert "Paste a table first" in told.value
    rows = ["Size\tWeight\tHeight (cm)", "S\t40,5-60 kg\t140-160", "L\t60+ kg\twide"]
    form.start.text.value = "\n".join(rows)
    form.start.take.click()
    assert "the pasted table, row 3, Height" in told.value
    assert form.edited is None and form.start.text.value
    form.start.text.value = form.start.text.value.replace("wide", "160+")
    form.start.take.click()
    assert "2 sizes read: weight for 2" in told.value
    assert form.edited.measures == ("body_mass_kg", "stature_cm")
    assert form.edited.frame["body_mass_kg_low"].tolist() == [40.5, 60]


def test_her_chart_starts_empty_and_is_set_beside_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    form = OwnChartForm("bariatric", switch=switched(), draws=1)
    assert form.edited is None and "Type your chart" in form.change.value
    assert len(form.table.table.cells) == 9 and not seen(form.edge.view)
    with pytest.raises(ValueError, match="Type your chart"):
        form.results()
    form.table.name.value = "Ward 3"
    fill(form.table.table, **{"size": "S", LOW: "90", HIGH: "140"})
    assert "read each sling" in form.table.problems.value
    assert "Ward 3 fits" in form.change.value and "nvented" not in form.change.value
    assert "dotted" not in form.image.value
    form.keep.button.click()
    assert "my-charts" in form.keep.told.value and not seen(form.keep.over)
    # Kept by its name: set beside it when asked, replaced only when asked.
    cell(form, 0, HIGH).value = "130"
    form.keep.button.click()
    assert "another chart is kept" in form.keep.told.value and seen(form.keep.over)
    form.second.box.value = "Ward 3"
    assert "Ward 3 as it was fits" in form.change.value
    form.keep.over.click()
    assert "fits the same people" in form.change.value
    form.start.kept.box.value = "Ward 3"
    form.table.table.remove_row(0)
    assert form.edited is None
    form.start.open.click()
    assert form.edited.frame[HIGH].tolist() == [130]
    form.start.rows.value = 0
    assert len(form.table.table.cells) == 9 and form.edited is None
    assert form.table.table.cells["group"].tolist() == [*CHART.frame["group"]]
    form.table.undo.click()
    assert form.edited.sizes == ("S",)


@pytest.mark.parametrize(
    ("units", "typed", "low", "high"),
    [
        ("metric", "80,5 - 100", 80.5, 100),
        ("metric", "32 in to 40 in", 81.28, 101.6),
        ("pounds", "32-40", 81.28, 101.6),
        ("metric", "up to 100", None, 100),
        # One unit at the end only, or an end that is there already: she is asked.
        ("pounds", "80-100 cm", "80-100 cm", None),
    ],
)
def test_a_range_typed_into_one_cell_is_parted_as_a_pasted_one(units, typed, low, high):
    """Before, "80-100" in one cell was not understood."""
    row = {"size": ["S", "T"], LOW: [None, None], HIGH: [None, 90.0]}
    for column in (LOW, HIGH):
        made = ChartTable(switched(units), lambda chart: None)
        made.show(pd.DataFrame(row), "mine", "")
        made.table.cell(0, column).value = typed
        found = made.table.cells.loc[0, [LOW, HIGH]].tolist()
        if low == typed:
            assert typed in found and made.chart is None
            continue
        assert found == [low and pytest.approx(low), pytest.approx(high)]
    made.table.cell(1, LOW).value = "80-85"
    assert made.table.cells.loc[1, HIGH] == 90 and made.chart is None


def test_units_of_a_column_or_the_page_change_what_is_shown_and_not_the_chart(form):
    before, answer = form.edited, form.change.value
    form.table.table._in_other_units(HIP, "pounds")
    assert cell(form, 0, HIGH).value == "26.77"
    assert cell(form, 0, "body_mass_kg_low").value == "9"
    form.edge.size.value, form.edge.measure.value = "adult 1", HIP
    form.edge.end.value = "high"
    for units, unit in [("stone", "in"), ("pounds", "in"), ("metric", "cm")]:
        form.switch.view.value = units
        assert form.edited is before and form.change.value == answer
        assert f"Hip girth, {unit}" in form.image.value
        assert form.edge.value.description == f"Edge, {unit}"
    assert cell(form, 0, HIGH).value == "68"
    form.switch.view.value = "pounds"
    form.edge.value.value = 42.0
    assert form.edited.frame[HIGH].iloc[3] == pytest.approx(106.7)
    cell(form, 8, HIGH).value = "70"
    assert form.edited.frame[HIGH].iloc[8] == pytest.approx(177.8)
    rest = form.edited.frame[HIGH].drop([3, 8])
    assert rest.equals(before.frame[HIGH].drop([3, 8]))


def test_moving_an_edge_changes_table_picture_and_answer(form, undrawn):
    form.judgement.run()
    assert judged(form) and "difference" not in form.change.value
    form.second.box.value = TEXTS.taken
    form.judgement.run()
    form.edge.size.value, form.edge.measure.value = "bariatric 3", HIP
    form.edge.end.value = "high"
    picture = form.image.value
    form.edge.value.value = 170.0
    assert form.heard[-1].frame[HIGH].iloc[-1] == 170
    assert form.image.value != picture and taken_back(form)
    for way, value in [(None, "170"), ("undo", "190"), ("redo", "170")]:
        if way:
            getattr(form.table, way).click()
        assert cell(form, 8, HIGH).value == value
        assert ("points" in form.change.value) == (value == "170")


def test_what_is_typed_is_judged_at_once_and_the_slider_follows(form):
    grid = form.table.table
    cell(form, 3, HIGH).value = "20"
    assert form.edited is None and form.heard == [None]
    told = form.table.problems.value
    assert "Size adult 1, hip girth from" in told and "_cm" not in told
    assert "Put the chart right" in form.change.value and form.image.value == ""
    with pytest.raises(ValueError, match="Put the chart right"):
        form.results()
    form.switch.view.value = "pounds"
    assert "7.87 in" in form.table.problems.value
    cell(form, 3, HIGH).value = "41"
    assert form.heard[-1].frame[HIGH].iloc[3] == pytest.approx(41 * 2.54)
    assert form.table.problems.value == "" and "fits" in form.change.value
    form.switch.view.value = "metric"
    grid.remove_row(0)
    assert form.edited.sizes[0] == "paediatric 2" and len(form.edited.sizes) == 8
    assert list(form.edge.size.options) == list(form.edited.sizes)
    waist = "waist_circumference_cm"
    form.table.limited[waist].value = True
    cell(form, 0, f"{waist}_high").value = "70"
    assert waist in form.edited.measures
    form.table.limited[waist].value = False
    assert waist not in form.edited.measures
    form.table.undo.click()
    assert waist in form.edited.measures


def test_other_people_take_the_judgement_back(form, undrawn):
    form.judgement.run()
    form.people_form.weighted.value = True
    assert taken_back(form) and "Say first who" in form.change.value
    shares = form.people_form.shares
    fill(shares, group="female")
    assert "a share needs" in form.people_form.told.value
    fill(shares, percent="50")
    people = form.people_form.people()
    share = people.weight[people.frame["sex"] == "female"].sum() / people.weight.sum()
    assert share == pytest.approx(0.5, abs=1e-6)
    assert "fits" in form.change.value


def test_a_judgement_that_comes_too_late_is_not_shown(form, undrawn):
    def people_left_and_chosen_again():
        form.people_form.name.value = OTHERS
        form.people_form.name.value = "bariatric"

    def typed():
        cell(form, 8, HIGH).value = "180"

    for change in (typed, people_left_and_chosen_again):
        result = form.judgement._job(lambda words, share: None)
        change()
        form.judgement._done(result)
        assert taken_back(form)


def test_the_judgement_speaks_to_people_and_is_saved_with_the_chart(
    form, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    form.second.box.value = TEXTS.file
    take(form.second.upload, CHART.frame, "other.csv")
    cell(form, 8, HIGH).value = "180"
    form.judgement.run()
    parts = form.judgement.answered
    shown = parts.words.value + parts.pictures.value
    assert "adults of high body mass index" in shown and "a difference in" in shown
    assert "_" not in shown.split("base64,")[0]
    assert "bariatric" in shown and shown.count("alt=") == 2
    csv, xlsx, _, svg, html = save_panel(form.results).children[0].children
    for button in (csv, xlsx, svg, html):
        button.click()
    again = read_chart(tmp_path / "my_chart.csv", warn=False)
    assert again.frame[HIGH].iloc[-1] == 180
    names = {path.name for path in tmp_path.iterdir()}
    assert {"chart_report.html", "chart_sizes.xlsx", f"my_chart_{HIP}.svg"} <= names
    page = (tmp_path / "chart_report.html").read_text(encoding="utf-8")
    assert "Two charts side by side" in page and "Before any lift" in page


def test_the_judgement_of_ones_own_clients_names_each(form, monkeypatch):
    form.people_form.name.value = OWN
    clients = f"sex,age_years,body_mass_kg,{HIP}\nf,70,60,95\nm,50,90,240\n"
    take(form.people_form.upload, clients)
    form.judgement.run()
    parts = form.judgement.answered
    assert "Your clients, one by one" in parts.pictures.value
    assert "named for row 3" in parts.pictures.value
    assert form.judgement.answer["clients"]["row"].tolist() == [2, 3]
    assert "of these 2 clients" in parts.words.value
    # Before, a list too long for that was passed over in silence.
    monkeypatch.setattr("sizing.client.own_chart.MOST_CLIENTS", 1)
    form.judgement.run()
    shown = parts.pictures.value
    assert "are not judged one by one here" in shown and "named for" not in shown


def test_clients_typed_in_are_read_as_a_file_would_be():
    form = PeopleForm(switched("pounds"), "bariatric", draws=1)
    form.name.value = OWN
    with pytest.raises(ValueError, match="Type your clients"):
        form.people()
    rows = [("female", "82", "40"), ("male", "47", "")]
    for row, entries in enumerate(rows):
        for column, value in zip(("sex", "age_years", HIP), entries, strict=True):
            form.clients.table.cell(row, column).value = value
    people = form.people()
    assert people.n == 2 and people.frame[HIP].iloc[0] == pytest.approx(101.6)
    assert form.people() is people
    take(form.upload, "sex,name,age_years,body_mass_kg\nf,A. B.,70,60\n")
    assert form.people().n == 1 and "left out" in form.told.value


@pytest.fixture
def gate(monkeypatch):
    """Lets the people through only when it is opened, and counts who asked."""

    def load(name, *, draws):
        load.asked.append(name)
        if not load.open.wait(240):
            raise SizingError("the gate was never opened")
        return load_people(name, draws=draws)

    load.open, load.asked = threading.Event(), []
    monkeypatch.setattr("sizing.app.people_form.load_people", load)
    return load


async def until(true):
    for _ in range(24_000):
        if true():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it never came")


def on_a_page(test):
    """Run a test within the loop of a page."""

    @wraps(test)
    def run(*given, **named):
        asyncio.run(asyncio.wait_for(test(*given, **named), 240))

    return run


@on_a_page
async def test_progress_is_shown_and_stop_says_how_to_go_on(form, gate):
    people = form.people_form
    assert "fits" in form.change.value
    assert not seen(people.work.bar) and not seen(people.again)
    people.name.value = OTHERS
    await until(lambda: gate.asked)
    assert seen(people.work.bar) and "not measured" in people.work.told.value
    # What does not change the people does not begin anew, and shows no answer.
    form.edge.value.value = 170.0
    form.switch.view.value = "stone"
    assert "Getting the people ready" in form.change.value and empty(form)
    with pytest.raises(ValueError, match="Getting the people ready"):
        form.results()
    people.work.stop_button.click()
    gate.open.set()
    await until(lambda: not people.getting)
    # Nothing else on the page begins what was stopped.
    form.switch.view.value = "pounds"
    await asyncio.sleep(0.05)
    assert gate.asked == [OTHERS] and empty(form)
    assert "nothing was worked out" in form.change.value
    assert f"Press '{people.again.description}'" in read(form.change)
    assert seen(people.again) and not seen(people.work.bar)
    for ask in (form.results, lambda: form.judgement._job(lambda *told: None)):
        with pytest.raises(ValueError, match="nothing was worked out"):
            ask()
    people.again.click()
    await until(lambda: not people.getting)
    assert gate.asked == [OTHERS] * 2 and not seen(people.again)
    assert "nursing-home" in form.change.value and not empty(form)


@pytest.mark.parametrize(
    ("stopped", "last", "title"),
    [
        (False, "walking_difficulty", "walk"),
        (True, "walking_difficulty", "walk"),
        (False, OTHERS, "nursing-home"),
    ],
)
@on_a_page
async def test_a_later_choice_of_people_wins_and_is_read_anew(
    form, gate, stopped, last, title
):
    people = form.people_form
    people.name.value = OTHERS
    await until(lambda: gate.asked)
    if stopped:
        people.work.stop_button.click()
    people.name.value = "adults"
    people.name.value = last
    assert "Getting the people ready" in form.change.value
    heard = []
    form.change.observe(lambda change: heard.append(change["new"]), "value")
    gate.open.set()
    await until(lambda: "fits" in form.change.value)
    assert gate.asked == [OTHERS, last]
    assert people.people().settings["name"] == last
    assert all(title in words for words in heard if "fits" in words)


@on_a_page
async def test_the_judgement_waits_for_the_people_or_for_what_is_wrong_to_be_mended(
    form, undrawn, gate
):
    people = form.people_form
    people.name.value = OWN
    await until(lambda: not people.getting)
    assert "Type your clients" in people.told.value
    take(people.upload, 'sex,age_years,hip_circumference_cm\nf,70,"1,705"\n')
    await until(lambda: "comma" in people.told.value)
    assert "Say first who" in form.change.value and empty(form)
    assert people.work.told.value == "" and not seen(people.work.bar)
    people.name.value = OTHERS
    form.judgement.work.start()
    await until(lambda: gate.asked)
    await asyncio.sleep(0.1)
    assert form.judgement.work.running and form.judgement.answer is None
    gate.open.set()
    await until(lambda: judged(form))
    assert people.told.value == "" and "fits" in form.change.value
    assert people.people().settings["name"] == OTHERS


@on_a_page
async def test_a_fault_of_the_kit_does_not_come_again_by_itself(form, monkeypatch):
    asked, people = [], form.people_form

    def broken(name, *, draws):
        asked.append(name)
        raise KeyError("a fault")

    monkeypatch.setattr("sizing.app.people_form.load_people", broken)
    people.name.value = OTHERS
    await until(lambda: asked and not people.getting)
    await asyncio.sleep(0.2)
    assert asked == [OTHERS] and empty(form)
    assert "The kit itself failed" in people.work.told.value and seen(people.again)
    monkeypatch.setattr("sizing.app.people_form.load_people", load_people)
    people.again.click()
    await until(lambda: "nursing-home" in form.change.value)
    assert not seen(people.again)


def test_two_threads_that_catch_warnings_lose_none():
    def caught(words):
        with caught_warnings() as found:
            time.sleep(0.1)
            warnings.warn(words, UserWarning, stacklevel=1)
        return [str(one.message) for one in found]

    with ThreadPoolExecutor(2) as threads:
        assert [*threads.map(caught, "ab")] == [["a"], ["b"]]


STEP = st.sampled_from([*UNITS]) | st.tuples(st.integers(0, 2), st.integers(600, 1900))


@settings(max_examples=12)
@given(steps=st.lists(STEP, max_size=6))
def test_a_table_keeps_what_was_not_typed_exactly(steps):
    switch = switched()
    frame = CHART.frame[["size", LOW, HIGH]].head(3)
    table = EditableTable(frame, caption="x", switch=switch)
    expected = frame[HIGH].tolist()
    for step in steps:
        if isinstance(step, str):
            switch.view.value = step
        else:
            row, tenths = step
            table.cell(row, HIGH).value = f"{tenths / 10} cm"
            expected[row] = tenths / 10
        assert table.frame[HIGH].tolist() == expected
        assert table.frame[LOW].tolist() == frame[LOW].tolist()


def test_a_row_emptied_above_does_not_move_an_edge_into_another_size():
    frame = CHART.frame[["size", "group", "load_limit_kg", LOW, HIGH]].head(3)
    heard = []
    table = ChartTable(switched(), heard.append)
    table.show(frame, "mine", "")
    fill(table.table, **dict.fromkeys(frame, ""))
    chart = heard[-1]
    assert chart.sizes == ("paediatric 2", "paediatric 3")
    edge = chart.frame.assign(**{HIGH: [81.0, np.nan]})
    table.move(chart_from(edge, warn=False), "paediatric 2", HIGH)
    assert table.table.frame[HIGH].tolist() == [81.0, 98.0]
    assert table.table.cell(1, HIGH).value == "81"


def test_the_page_opens_with_the_client_and_makes_the_chart_when_asked():
    page = AdviserPage("bariatric", draws=1)
    assert page.pattern.words.value == ""
    page.pattern.box.value = "toileting or access"
    told = page.pattern.words.value
    assert "limits too little" in told and "holds little of the body" in told
    page.pattern.box.value = "full-body"
    assert "limits too little" not in page.pattern.words.value
    assert "chart" not in page.__dict__
    assert page.client.entry in page.entry.children
    page.client.fields.sex.value = "female"
    page.client.check()
    page.half.value = "chart"
    # Nothing is in the table yet: the client stands as she was checked.
    assert page.client.answer is not None
    page.chart.start.open.click()
    assert page.chart.entry in page.entry.children
    assert page.chart.picture_view in page.picture.children
    page.client.check()
    page.chart.edge.value.value += 2
    assert page.client.answer is None
    assert page.client.chart is page.chart.edited
    cell(page.chart, 0, HIGH).value = "x"
    page.half.value = "client"
    assert page.client.chart is None and "has problems" in page.client.about.value
    page.half.value = "chart"
    page.chart.start.text.value = "Size,Weight (kg)\nS,40-90\nL,90-190\n"
    page.chart.start.take.click()
    page.pattern.box.value = "full-body"
    told = page.chart.change.value
    assert told.index("limits too little") < told.index("fits")
