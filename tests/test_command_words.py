"""Words of a command given twice: kept all, or refused, and never one for another."""

import pytest

from sizing.cli.main import main

BANDS = ["bands", "--people", "bariatric", "--sizes", "2", "--splits", "2"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ["stock", "--budget", "100", "--budget", "900"],
            "--budget: it is given twice",
        ),
        (["stock", "--target", "0.9", "--targ=0.8"], "--target: it is given twice"),
        (["stock", "--out", "laundry=1/7", "--out", "laundry=1/3"], "--out laundry is"),
        (
            ["chart", "a.csv", "--people", "adults", "--people", "children"],
            "--people: ",
        ),
        (
            ["client", "sex=f", "--load", "hoist=200", "--load", "hoist=300"],
            "--load hoi",
        ),
        (
            ["client", "sex=f", "--load", "spreader_bar=2", "--load", "spreader bar=3"],
            "--load spreader bar is given twice",
        ),
        (["client", "sex=f", "stature_cm=160", "stature_cm=161"], "is entered twice"),
        (
            [*BANDS, "--widths", "hip_circumference_cm=20", "hip_circumference_cm=25"],
            "'hip_circumference_cm' is given twice after --widths",
        ),
        (["study", "--out", "a", "--out", "b"], "--out: it is given twice"),
        (["lesson", "--seed", "1", "--seed", "1"], "--seed: it is given twice"),
        (["lab", "--folder", "a", "--folder", "b"], "--folder: it is given twice"),
    ],
)
def test_a_second_value_is_refused(words, said, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    told = capsys.readouterr().err
    assert said in told and "keep one" in told
    assert list(tmp_path.iterdir()) == []


def test_measures_may_follow_one_option_or_have_one_each(capsys):
    """One answer, whichever way the widths are written; no call remembers another's."""
    widths = ["hip_circumference_cm=25", "shoulder_height_sitting_cm=12"]
    told = []
    for words in (
        ["--widths", *widths],
        ["--widths", widths[0], "--widths", widths[1]],
    ):
        assert main([*BANDS, *words]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert "hip circumference" in told[0] and "shoulder height sitting" in told[0]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["client", "sex=f", "--load", "=200"], "--load is written NAME=VALUE"),
        (["client", "=3"], "an entry is written NAME=VALUE"),
        ([*BANDS, "--widths", "hip_circumference_cm=1001"], "from 0.1 to 1,000"),
        ([*BANDS, "--widths", "hip_circumference_cm=9", "--step", "1001"], "the step"),
        ([*BANDS, "--widths", "hip_circumference_cm=9", "--load-limit", "-3"], "load"),
        ([*BANDS, "--widths", "hip_circumference_cm=9", "--tolerance", "nan"], "toler"),
        ([*BANDS, "--widths", "hip_circumference_cm=9", "--splits", "-1"], "splits"),
    ],
)
def test_what_makes_no_sense_is_told_and_nothing_is_worked_out(words, said, capsys):
    assert main(words) == 2
    told = capsys.readouterr()
    assert said in told.err and "Traceback" not in told.err and told.out == ""
