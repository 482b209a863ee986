"""Patterns of sling: what a chart must limit, what to measure, what is warned of."""

import pytest

from sizing.charts import demo_chart
from sizing.cli.main import main
from sizing.errors import SizingError
from sizing.measures import measure_patterns
from sizing.measures.patterns import PATTERNS, pattern_words
from sizing.resources import source_table


def test_the_tables_and_the_list_of_patterns_agree():
    rows = measure_patterns()
    assert tuple(rows["pattern"].unique()) == PATTERNS
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
    back_and_leg = ["shoulder_height_sitting_cm", "thigh_circumference_cm"]
    for girth in ("chest_circumference_cm", "waist_circumference_cm"):
        words = pattern_words("toileting or access", [*back_and_leg, girth])
        assert len(words) == 1 and "HSIS3" not in words[0]
    with pytest.raises(SizingError, match="unknown pattern of sling"):
        pattern_words("hammock", [])


def test_the_command_says_first_that_the_chart_says_too_little(capsys, tmp_path):
    client = ["client", "sex=f", "age_years=74", "body_mass_kg=68", "--pattern"]
    assert main([*client, "toileting or access"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("Invented for demonstration")
    assert told[1].startswith("The chart limits too little to judge a sling")
    assert "holds little of the body" in told[3]
    path = tmp_path / "own.csv"
    demo_chart().frame[["size", "body_mass_kg_low"]].dropna().to_csv(path, index=False)
    asked = ["chart", str(path), "--draws", "1", "--people", "bariatric"]
    assert main([*asked, "--pattern", "full-body"]) == 0
    assert capsys.readouterr().out.startswith("The chart limits too little to judge")
