"""A share is written in one way, and never as more certain than it is."""

import re
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import given

import sizing
from sizing.app.form_words import bullets, lead, paragraphs
from sizing.pages.page import Page, Section, render
from sizing.resources import cautions, closing, source_table
from sizing.words import numbers
from sizing.words.numbers import in_100, interval, points, share

shares = st.floats(0, 1)


@given(shares, st.integers(0, 2))
def test_an_estimate_is_never_said_to_be_all_or_none(value, places):
    told = share(value, places=places)
    assert float(told.split()[-2]) not in (0.0, 100.0)
    assert in_100(value, places=places).removesuffix(" in 100") == told[:-2]


@given(shares, st.integers(0, 2))
def test_a_share_is_written_to_half_a_step_or_as_beyond_the_last(value, places):
    words = share(value, places=places).split()
    number, step = float(words[-2]), 10.0**-places
    if words[0] == "under":
        assert value * 100 <= number
    elif words[0] == "over":
        assert value * 100 >= number
    else:
        assert abs(value * 100 - number) <= step / 2 + 1e-9


ROW = {"estimate": 0.031, "low": -0.002, "high": 0.06}
SURE = {"low": 0.997, "high": 1}
HIPS = {"estimate": 91.2, "low": 88, "high": 94}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (numbers.given(1), "100 %"),
        (numbers.given(0.985), "98.5 %"),
        (numbers.sizes_fit(1, 0.3), "1 size fits 30 in 100 of these people"),
        (numbers.probably({"low": 0.92, "high": 0.941}), "probably between 92 and 94"),
        (numbers.probably(SURE), "probably over 99"),
        (
            interval({"estimate": 0.97, "low": 0.82, "high": 0.998}),
            "97 % (82 to over 99)",
        ),
        (
            interval({"x": 0.3, "x_low": 0.25, "x_high": 0.36}, "x", "x_"),
            "30 % (25 to 36)",
        ),
        (interval({"estimate": 0.5, "low": 0.498, "high": 0.502}), "50 %"),
        (points(-0.0312, places=1), "-3.1"),
        (points(0.031, sign=False), "3"),
        (points(-4e-4), "0"),
        (points(-0.0, places=1, sign=False), "0"),
        (numbers.points_interval(ROW), "+3 (0 to +6)"),
        (numbers.count_in(12, 12), "12 of 12"),
        (numbers.quantity_interval(HIPS, "stature_cm"), "91 cm (88 to 94)"),
        (numbers.span(1.0, 2.0, "stature_cm"), "1 to 2 cm"),
    ],
)
def test_what_is_known_of_a_number_is_all_that_is_written(said, words):
    assert said == words


PACKAGE = Path(sizing.__file__).parent
#: A way of its own to write a share (a hundred times something, or Python's per cent),
#: an estimated length or weight, or an interval to whole numbers or tenths. What stands
#: in capitals, such as the level of an interval, is set and no estimate.
OWN_WAY = re.compile(
    r"(?<!p)\{100 \* (?![A-Z_]+:)[^}]*:[+.0-9]*[fg]\}|:[+.0-9]*%\}"
    r"|\{[^{}]*:[+.0-9]*f\} (cm|kg|lb|in|st)\b|\(\{[^{}]*:[+.01]*f\} to \{"
)


@pytest.mark.parametrize(
    "room", sorted(p.name for p in PACKAGE.iterdir() if p.is_dir())
)
def test_no_share_length_or_interval_is_written_in_another_way(room):
    found = [
        f"{path.relative_to(PACKAGE)}:{number}: {line.strip()}"
        for path in sorted((PACKAGE / room).rglob("*.py"))
        if path.name not in ("numbers.py", "written.py")
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        if OWN_WAY.search(line)
    ]
    assert not found, "\n".join(found)


def test_a_way_of_its_own_is_found():
    for line in ("{100 * row['low']:.0f} %", "{:.1%}", "{x:.1f} cm", "({a:+.1f} to {b"):
        assert OWN_WAY.search(line)
    for line in ("{100 * LEVEL:.0f} %", "steps of {step:g} cm"):
        assert not OWN_WAY.search(line)


def test_an_answer_closes_with_one_limit_and_each_caution_in_short():
    lines = closing(["Nobody sat.", "Nobody stood.", "Nobody lay."]).splitlines()
    assert lines[0].startswith(
        "Where the evidence stops: Nobody sat. For 2 more limits"
    )
    assert len(lines) == 2 and closing() == lines[1]
    short = source_table("cautions.csv").set_index("key")["short"]
    assert all(words in lines[1] for words in short) and len(short) == len(cautions())
    for key, word in {"load": "lowest", "wrong_size": "slip out"}.items():
        assert word in short[key] and word in cautions(key)[0]


def test_no_line_ends_between_a_number_and_its_sign_on_a_page_or_a_form():
    """Before, "5 %" could be parted at the end of a line."""
    sections = [Section("h", ["5 % of all"], bullets=["6 %"])]
    page = render(Page("t", "q", "95 % of 3", sections, [], [])).split("<body>")[1]
    for html in (page, paragraphs(["5 % of all"]), bullets(["6 %"]), lead("95 %")):
        assert "\u00a0%" in html and not re.search(r"\d %", html)
