"""The page of slings tried on: what is typed counts, and nothing old stays."""

from sizing.app.adviser_page import AdviserPage
from sizing.app.trials_form import TrialsForm


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
