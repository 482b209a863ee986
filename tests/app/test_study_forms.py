"""The pages on the study and on the bands: fields in, the kit's own figures out."""

import pandas as pd
import pytest

from sizing.app.study_form import OWN, BandsForm, StudyForm
from sizing.bands import coverage_by_sizes, fit_bands
from sizing.charts import demo_chart
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.people import load_people
from sizing.words.numbers import in_100, probably
from sizing.words.numbers import share as percent
from tests.conftest import spaced, taken

HIP, BACK = "hip_circumference_cm", "shoulder_height_sitting_cm"


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
    assert percent(fit.share, places=1) in spaced(form.answered.words.value)
    for heading in ("How wide", "Who pays", "How far", "One measure"):
        assert heading in form.answered.pictures.value
    low = fit.chart.frame[f"{HIP}_low"].iloc[0]
    assert f"{low:g} to " in form.answered.words.value
    form.switch.view.value = "pounds"
    assert f"{low / 2.54:.1f} to " in form.answered.words.value
    form.widths.fields[HIP].box.value = "9"
    assert "press 'Fit the sizes' again" in form.answered.words.value.replace(
        "&#x27;", "'"
    )
    assert form.answered.pictures.value == "" and form.answer is None
    with pytest.raises(SizingError, match="nothing to save"):
        form.results()


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


def test_the_study_of_a_chart_of_ones_own_says_whom_it_fits():
    form = StudyForm()
    form.people.value, form.draws.value = "bariatric", 1
    content = demo_chart().frame.to_csv(index=False).encode()
    form.upload.box.value = taken("mine.csv", content)
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


def test_an_answer_to_what_was_changed_meanwhile_is_not_shown():
    form = BandsForm()
    form._done((form._version - 1, {}))
    assert form.answer is None and "Something was changed" in form.answered.words.value


def test_the_study_takes_the_pattern_of_sling_and_widths_of_ones_own():
    form = StudyForm()
    form.people.value, form.draws.value = "bariatric", 1
    form.pattern.box.value = "toileting or access"
    form.widths.fields[HIP].set(30.0)
    form.work.run()
    assert form.answer.chart.measures == (HIP,)
    assert "limits too little to judge" in form.answered.words.value
    assert "People have slipped through" in form.results()["study_report"]
    form.upload.box.value = taken(
        "mine.csv", demo_chart().frame.to_csv(index=False).encode()
    )
    form.work.run()
    assert "a chart brings its own" in form.work.told.value and form.answer is None
