"""The page of slings tried on: what is typed counts, and nothing old stays."""

from sizing.app.adviser_page import AdviserPage
from sizing.app.trials_form import TrialsForm
from sizing.charts import demo_chart
from sizing.trials import demo_trials
from tests.conftest import taken


def test_a_row_typed_takes_the_place_of_the_invented_trials():
    form = TrialsForm()
    assert "Invented for demonstration" in form.answered.words.value
    assert "cm" in form.answered.pictures.value
    form.switch.view.value = "pounds"
    assert " in<" in form.answered.pictures.value
    form.table.cell(0, "size").value = "adult 1"
    assert form.answer is None and form.answered.pictures.value == ""
    assert "outcome" in form.answered.words.value
    for column in ("shoulder_height_sitting", "buttock_popliteal_length"):
        form.table.cell(0, f"{column}_cm").value = "20"
    form.table.cell(0, "hip_circumference_cm").value = "40"
    form.table.cell(0, "outcome").value = "fits"
    assert "holds 1 trials that can be used" in form.answered.words.value
    assert list(form.results()) == ["trials_form", "trials_typed"]
    form.table.remove_row(0)
    assert form.answer is not None


def test_what_is_typed_stays_when_the_printed_chart_is_taken_in():
    """Before, the table was laid out anew, and what stood in it was gone."""
    form = TrialsForm()
    form.table.cell(0, "size").value = "adult 1"
    form.table.cell(0, "hip_circumference_cm").value = "95"
    form.table.cell(0, "shoulder_height_sitting_cm").value = "55"
    hips = ["hip_circumference_cm_low", "hip_circumference_cm_high"]
    own = demo_chart().frame[["size", *hips]]
    form.chart.box.value = taken("own.csv", own.to_csv(index=False).encode())
    for chart in (own, None):
        typed = form.results()["trials_typed"]
        found = typed[["size", hips[0][:-4], "shoulder_height_sitting_cm"]]
        assert found.values.tolist() == [["adult 1", 95, 55]], chart
        form.chart.clear()
    form.table.cell(0, "outcome").value = "fits"
    form.trials.box.value = taken("t.csv", demo_trials().to_csv(index=False).encode())
    assert "does not count while a file" in form.answered.words.value


def test_the_adviser_reads_first_what_a_pattern_asks_of_the_chart_in_use():
    page = AdviserPage()
    assert page.pattern.words.value == ""
    page.pattern.box.value = "toileting or access"
    told = page.pattern.words.value
    assert "limits too little" in told and "holds little of the body" in told
    page.pattern.box.value = "full-body"
    assert "limits too little" not in page.pattern.words.value
    page._use_chart(None)
    assert "limits too little" in page.pattern.words.value
