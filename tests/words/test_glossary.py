"""Each term has one meaning, is found where it stands and is used somewhere."""

import re
from pathlib import Path

import pandas as pd
import pytest

import sizing
from sizing.charts import chart_from
from sizing.errors import SizingWarning
from sizing.measures import vocabulary
from sizing.pages.page import Page, Section, render
from sizing.resources import source_table
from sizing.words.labels import chart_words, glossary, level_words

ROWS = source_table("glossary.csv")[["term", "found_by"]].to_numpy().tolist()


def test_a_term_stands_once_is_found_in_itself_and_used_by_the_kit():
    assert not glossary()["term"].str.casefold().duplicated().any()
    shown = [*vocabulary()["label"], "(67 to 69, 90 %)"]
    for path in Path(sizing.__file__).parent.rglob("*"):
        if path.suffix in (".py", ".j2", ".csv", ".toml"):
            shown.append(path.read_text(encoding="utf-8"))
    # A figure that is filled in stands for itself: "n = {row['n']}".
    shown += [re.sub(r"\{[^{}]*\}", "1", text) for text in shown]
    everything = "\n".join(shown)
    for term, found in ROWS:
        example = "n = 5" if term == "n" else term
        assert re.search(found, example, re.IGNORECASE) or term.startswith("90 %")
        whole = rf"(?<!\w)(?:{found})(?!\w)"
        assert re.search(whole, everything, re.IGNORECASE), term


@pytest.mark.parametrize(
    ("text", "terms"),
    [
        ("nothing of it", []),
        ("Hoisted by a shoist", []),
        ("20 points fewer, n = 12", ["points", "n"]),
        ("two SLINGS", ["sling"]),
        # Before, these were explained as a median, as points, and not at all.
        ("if no size fits at least half of them", []),
        ("a number, with a point for decimals", []),
        ("a gain of 1 point", ["points"]),
        ("Best estimate (90 %)", ["90 % interval"]),
        ("half of them by up to 3 cm", ["half of them by ..."]),
    ],
)
def test_only_the_terms_that_stand_in_a_text_are_explained(text, terms):
    assert list(glossary(text)["term"]) == terms


def test_a_page_explains_the_words_on_it_and_no_others():
    later = [Section("Later", words=["By eye or by tape."])]
    page = Page("A", "Which sling?", "One of two.", later, [], [], cautions=[])
    shown = re.findall("<dt>(.*?)</dt>", render(page))
    assert shown == ["sling", "by eye"]


@pytest.mark.parametrize(
    ("frame", "sex", "words"),
    [
        ({"age_band": ["60 to 79"]}, "female", "women"),
        ({"by": ["sex", "age_band"], "level": ["male", "2 to 4"]}, "male", "boys"),
        ({"age_band": ["2 to 4", "18 to 39"]}, "male", "men and boys"),
        ({}, "female", "women and girls"),
    ],
)
def test_people_of_a_sex_are_called_by_the_ages_among_them(frame, sex, words):
    assert level_words(pd.DataFrame(frame))[sex] == words


def test_an_open_end_and_an_unstated_load_limit_are_written_as_such():
    hip = "hip_circumference_cm"
    sizes = {"one": (None, 80, None), "two": (80, None, 200)}
    rows = [
        {"size": name, f"{hip}_low": low, f"{hip}_high": high, "load_limit_kg": load}
        for name, (low, high, load) in sizes.items()
    ]
    frame = pd.DataFrame(rows).assign(shoulder_height_sitting_cm_high=60.0)
    with pytest.warns(SizingWarning, match="'one' states no load limit"):
        shown = chart_words(chart_from(frame))
    assert shown["Hip girth"].tolist() == ["to 80 cm", "from 80 cm"]
    assert shown["Load limit"].tolist() == ["not stated", "200 kg"]
