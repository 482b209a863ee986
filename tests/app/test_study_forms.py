"""Pages on study, bands and trials: fields in, the kit's own figures out, not stale."""

import pandas as pd
import pytest

from sizing.app.study_form import OWN, BandsForm, StudyForm
from sizing.app.trials_form import TrialsForm
from sizing.bands import coverage_by_sizes, fit_bands
from sizing.charts import demo_chart
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.people import load_people
from sizing.trials import demo_trials
from sizing.words.numbers import in_100, probably
from sizing.words.numbers import share as percent
from tests.app.cases import HIGH, HIP, LOW, fill, read, take
from tests.conftest import spaced

BACK, THIGH = "shoulder_height_sitting_cm", "buttock_popliteal_length_cm"


def own_widths(**widths: float | None) -> BandsForm:
    form = BandsForm()
    form.people.value, form.kind.value = "bariatric", OWN
    for name, field in form.widths.fields.items():
        field.set(widths.get(name))
    return form


def test_own_widths_give_the_edges_that_the_kit_fits_to_them():
    form = own_widths(**{BACK: 12, HIP: 25})
    form.sizes.value = 2
    form.work.run()
    people = load_people("bariatric", draws=3, seed=1)
    fit = fit_bands(people, widths={BACK: 12, HIP: 25}, sizes=2, splits=6, seed=1)
    pd.testing.assert_frame_equal(form.results()["chart"], fit.chart.frame)
    words, pictures = form.answered.words, form.answered.pictures
    assert percent(fit.share, places=1) in spaced(words.value)
    for heading in ("How wide", "Who pays", "How far", "One measure"):
        assert heading in pictures.value
    low = fit.chart.frame[LOW].iloc[0]
    assert f"{low:g} to " in words.value
    form.switch.view.value = "pounds"
    assert f"{low / 2.54:.1f} to " in words.value
    form.widths.fields[HIP].box.value = "9"
    assert "press 'Fit the sizes' again" in read(words)
    assert pictures.value == "" and form.answer is None
    with pytest.raises(SizingError, match="nothing to save"):
        form.results()
    # Nor is an answer shown to what was changed meanwhile.
    form._done((form._version - 1, {}))
    assert form.answer is None and "Something was changed" in words.value


def test_the_page_says_what_fewer_and_more_sizes_of_each_group_cover():
    form = BandsForm()
    form.people.value, form.sizes.value = "bariatric", 1
    form.work.run()
    rows = coverage_by_sizes(form.answer["people"], numbers=[1, 2, 3, 4])
    assert form.answer["by_sizes"].equals(rows)
    for share in rows["estimate"]:
        assert percent(share, places=1) in spaced(form.answered.words.value)


@pytest.mark.parametrize(
    ("text", "told"), [("", "no width is entered"), ("wide", "wide")]
)
def test_widths_that_cannot_be_used_are_told_under_the_button(text, told):
    form = own_widths()
    form.widths.fields[HIP].box.value = text
    form.work.run()
    assert told in form.work.told.value and form.answer is None
    # Before, the place of the answer stayed empty, while it worked and afterwards.
    assert "There is no answer" in form.answered.words.value
    form.work._show_running(True)
    assert "This is being worked out" in form.answered.words.value


def test_the_study_of_a_chart_of_ones_own_says_whom_it_fits_or_takes_own_widths():
    form = StudyForm()
    form.people.value, form.draws.value = "bariatric", 1
    take(form.upload, demo_chart().frame)
    form.work.run()
    people = load_people("bariatric", draws=1)
    row = estimate_coverage(people, demo_chart()).table.iloc[0]
    told = f"{in_100(row['estimate'])} of these people have at least one size, "
    saved = form.results()
    for text in (form.answered.words.value, saved["study_report"]):
        assert f"{told}{probably(row)} (95 % interval)" in spaced(text)
    assert "Who it fits" in form.answered.pictures.value
    assert {"chart", "coverage_picture", "misses", "assumptions"} < set(saved)
    form.upload.clear()
    assert form.answer is None and form.answered.limits.value == ""
    form.pattern.box.value = "toileting or access"
    form.widths.fields[HIP].set(30.0)
    form.work.run()
    assert form.answer.chart.measures == (HIP,)
    assert "limits too little to judge" in form.answered.words.value
    assert "People have slipped through" in form.results()["study_report"]
    take(form.upload, demo_chart().frame)
    form.work.run()
    assert "a chart brings its own" in form.work.told.value and form.answer is None


def test_a_trial_typed_takes_the_place_of_the_invented_ones():
    form = TrialsForm()
    words = form.answered.words
    assert "Invented for demonstration" in words.value
    assert "cm" in form.answered.pictures.value
    form.switch.view.value = "pounds"
    assert " in<" in form.answered.pictures.value
    fill(form.table, size="adult 1")
    assert form.answer is None and form.answered.pictures.value == ""
    assert "outcome" in words.value
    fill(form.table, **{BACK: "20", THIGH: "20", HIP: "40", "outcome": "fits"})
    assert "holds 1 trials that can be used" in words.value
    assert list(form.results()) == ["trials_form", "trials_typed"]
    form.table.remove_row(0)
    assert form.answer is not None


def test_what_is_typed_stays_when_the_printed_chart_is_taken_in():
    """Before, the table was laid out anew, and what stood in it was gone."""
    form = TrialsForm()
    fill(form.table, **{"size": "adult 1", HIP: "95", BACK: "55"})
    own = demo_chart().frame[["size", LOW, HIGH]]
    take(form.chart, own)
    for chart in (own, None):
        typed = form.results()["trials_typed"][["size", HIP, BACK]]
        assert typed.values.tolist() == [["adult 1", 95, 55]], chart
        form.chart.clear()
    fill(form.table, outcome="fits")
    take(form.trials, demo_trials())
    assert "does not count while a file" in form.answered.words.value
