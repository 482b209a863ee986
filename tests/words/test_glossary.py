"""Each term has one meaning, is found where it stands and is used somewhere."""

import re
from pathlib import Path

import pandas as pd
import pytest

import sizing
from sizing.measures import vocabulary
from sizing.pages.page import Page, Section, render
from sizing.resources import source_table
from sizing.words.labels import glossary, level_words

PACKAGE = Path(sizing.__file__).parent


def test_a_term_stands_once_and_is_found_in_itself():
    terms = glossary()["term"]
    assert not terms.str.casefold().duplicated().any()
    rows = source_table("glossary.csv")
    for term, found in zip(rows["term"], rows["found_by"], strict=True):
        example = "n = 5" if term == "n" else term
        assert re.search(found, example, re.IGNORECASE) or term.startswith("90 %")


def test_every_term_is_one_that_the_kit_uses():
    shown = [*vocabulary()["label"], "(67 to 69, 90 %)"]
    for kind in ("*.py", "*.j2", "*.csv", "*.toml"):
        for path in PACKAGE.parent.joinpath("sizing").rglob(kind):
            shown.append(path.read_text(encoding="utf-8"))
    # A figure that is filled in stands for itself: "n = {row['n']}".
    shown += [re.sub(r"\{[^{}]*\}", "1", text) for text in shown]
    everything = "\n".join(shown)
    rows = source_table("glossary.csv")
    unused = [
        term
        for term, found in zip(rows["term"], rows["found_by"], strict=True)
        if not re.search(rf"(?<!\w)(?:{found})(?!\w)", everything, re.IGNORECASE)
    ]
    assert not unused


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
    page = Page(
        title="A",
        question="Which sling?",
        answer="One of two.",
        sections=[Section("Later", words=["By eye or by tape."])],
        limits=[],
        sources=[],
        cautions=[],
    )
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
