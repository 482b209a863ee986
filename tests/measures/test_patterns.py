"""The vocabulary; patterns of sling: what a chart must limit, what is warned of."""

import numpy as np
import pytest

from sizing.bands.groups import by_group, default_widths, fitted_chart, group_of
from sizing.charts import SizeChart, assign, demo_chart
from sizing.cli.main import main
from sizing.errors import SizingError
from sizing.measures import (
    MEASURES,
    PATTERNS,
    measure_patterns,
    pattern_words,
    vocabulary,
)
from sizing.people import load_people
from sizing.resources import source_table


def test_vocabulary_tells_everything_about_every_measure():
    table = vocabulary()
    assert table["name"].tolist() == list(MEASURES)
    text = table.drop(columns=["error_cm", "patterns"])
    assert (text.map(lambda cell: len(str(cell).strip())) > 0).all(axis=None)
    assert text.notna().all(axis=None)
    assert (table["name"].str.rsplit("_", n=1).str[1] == table["unit"]).all()
    assert table["error_cm"].between(0.05, 5).all()
    assert table["converted_for"].isin(["nobody", "children", "everyone"]).all()
    assert table["unsupported_when_heavy"].isin(["yes", "no"]).all()
    marked = "no source|from memory"
    assert table["error_source"].str.contains(marked).all()


def test_the_tables_and_the_list_of_patterns_agree():
    rows = measure_patterns()
    assert tuple(rows["pattern"].unique()) == PATTERNS
    assert set(rows["name"]) <= set(MEASURES)
    assert not rows.duplicated(["pattern", "name"]).any()
    for names in rows.groupby("pattern")["name"].agg(set):
        assert "body_mass_kg" in names and len(names) >= 4
    assert set(rows["must"]) == {"yes", "no"} and rows["source"].str.len().gt(0).all()
    assert tuple(source_table("pattern_warnings.csv")["pattern"]) == PATTERNS
    assert source_table("pattern_warnings.csv")["source"].str.contains("source").all()


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_chart_that_limits_every_part_lacks_nothing_and_one_measure_a_lot(pattern):
    rows = measure_patterns().query("pattern == @pattern")
    whole = pattern_words(pattern, set(rows["name"]), set(rows["name"]))
    assert len(whole) == 1 and not whole[0].startswith("The chart limits too little")
    one = pattern_words(pattern, ["body_mass_kg"], ["body_mass_kg"])
    assert one[0].startswith("The chart limits too little") and "the back" in one[0]
    assert one[1].startswith("For this pattern of sling also measure: ")
    assert one[2:] == whole


def test_any_measure_of_a_part_will_do_and_an_unknown_pattern_is_refused():
    for back in ("shoulder_height_sitting_cm", "back_along_body_cm"):
        for girth in ("chest_circumference_cm", "waist_circumference_cm"):
            known = ["body_mass_kg", back, "thigh_circumference_cm", girth]
            words = pattern_words("toileting or access", known, known)
            assert len(words) == 1 and "HSIS3" not in words[0]
    with pytest.raises(SizingError, match="unknown pattern of sling"):
        pattern_words("hammock", [])


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_widths_of_a_pattern_fit_what_it_must_and_as_many_as_they_say(pattern):
    """About eight in ten children, and nine in ten adults, by three sizes."""
    widths, people = default_widths(pattern), load_people("everyone", draws=1)
    chart = fitted_chart(by_group(people, group_of(people)), widths=widths)
    assert not pattern_words(pattern, chart.measures)[0].startswith("The chart limits")
    for group, part in by_group(people, group_of(people)).items():
        assert set(widths[group]) == set(chart.measures)
        sizes = chart.frame[chart.frame["group"] == group].reset_index(drop=True)
        fits = assign(part, SizeChart(sizes)).fits.any(axis=1)
        share = np.average(fits, weights=part.weight)
        assert share == pytest.approx(0.8 if group == "paediatric" else 0.91, abs=0.05)


def test_an_answer_and_its_page_lead_with_what_a_pattern_lacks(tmp_path, capsys):
    report, note = tmp_path / "chart.html", tmp_path / "note.html"
    chart = tmp_path / "own.csv"
    demo_chart().frame[["size", "body_mass_kg_low"]].dropna().to_csv(chart, index=False)
    asked = ["--people", "bariatric", "--draws", "1", "--out", str(report)]
    assert main(["chart", str(chart), *asked, "--pattern", "bathing"]) == 0
    assert capsys.readouterr().out.startswith("The chart limits too little to judge")
    client = ["client", "sex=f", "age_years=74", "body_mass_kg=68", "--note", str(note)]
    assert main([*client, "--pattern", "toileting or access"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("Invented for demonstration")
    assert told[1].startswith("The chart limits too little to judge a sling")
    assert "holds little of the body" in told[3]
    for page, warning in ((report, "A wet sling"), (note, "holds little of the body")):
        text = page.read_text(encoding="utf-8")
        assert text.index("limits too little to judge") < text.index("Pattern of sling")
        assert warning in text


def test_a_stock_and_a_lesson_are_warned_of_the_pattern_too(tmp_path, capsys):
    report, pack = tmp_path / "stock.html", tmp_path / "lesson"
    pattern = ["--pattern", "limb missing"]
    stock = ["--people", "bariatric=9", "--scenarios", "50", "--report", str(report)]
    assert main(["stock", *stock, *pattern]) == 0
    lesson = ["--people", "bariatric", "--draws", "1", "--out", str(pack)]
    assert main(["lesson", *lesson, "--clients", "2", *pattern]) == 0
    assert capsys.readouterr().out.count("limits too little to judge") == 2
    for page in (report, *pack.rglob("evidence.html")):
        assert "leg parts made for two legs" in page.read_text(encoding="utf-8")
    assert list(pack.rglob("evidence.html"))
