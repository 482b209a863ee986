"""The drawing of where measures are taken: a group each, nothing from outside."""

import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import numpy as np
import pytest
from scipy.stats import norm

from sizing.errors import SizingError
from sizing.measures import vocabulary
from sizing.pages.where import guide_html, how_rows, where_html, where_svg, where_words

SVG = "{http://www.w3.org/2000/svg}"
NAMES = [str(name) for name in vocabulary()["name"]]


def groups(svg: str, kind: str) -> list[ET.Element]:
    return ET.fromstring(svg).findall(f"{SVG}g[@class='{kind}']")


def test_every_measure_has_its_group_and_every_group_its_measure():
    drawn = groups(where_svg(), "measure")
    assert sorted(str(group.get("id")) for group in drawn) == sorted(NAMES)
    figures = {group.get("id") for group in groups(where_svg(), "figure")}
    assert {group.get("data-figure") for group in drawn} == figures
    assert all(group.find(f"{SVG}path") is not None for group in drawn)


def test_numbers_are_those_of_the_list_beside():
    shown = {
        str(group.get("id")): [text.text for text in group.iter(f"{SVG}text")]
        for group in groups(where_svg(), "measure")
    }
    assert shown == {name: [str(i)] for i, name in enumerate(NAMES, start=1)}
    labels = re.findall(r"<li><b>([^<]+)</b>", where_html())
    assert labels == list(vocabulary()["label"])


@pytest.mark.parametrize("name", NAMES)
def test_one_measure_is_drawn_alone_on_its_figure(name):
    svg = where_svg(name)
    (measure,), (figure,) = groups(svg, "measure"), groups(svg, "figure")
    assert (measure.get("id"), measure.get("data-figure")) == (name, figure.get("id"))
    root = ET.fromstring(svg)
    assert root.get("viewBox") == figure.get("data-view")
    assert not "".join(text.text or "" for text in root.iter(f"{SVG}text"))
    label = str(vocabulary().set_index("name").loc[name, "label"])
    assert root.findtext(f"{SVG}title", "").startswith(label)


@pytest.mark.parametrize("name", [None, *NAMES])
def test_it_asks_for_nothing_from_outside_and_is_grey(name):
    svg = where_svg(name)
    assert not re.findall(r"href|src|@import|<script|url\([^#]", svg)
    assert re.findall(r"\w+://[^\"]+", svg) == ["http://www.w3.org/2000/svg"]
    for colour in re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", svg):
        parts = re.findall("..", colour) if len(colour) == 6 else list(colour)
        shades = [int(part, 16) for part in parts]
        assert max(shades) - min(shades) <= 16


def test_the_picture_has_words_for_whoever_cannot_see_it():
    found = []

    class Pictures(HTMLParser):
        def handle_starttag(self, tag, attrs):
            if tag == "img":
                found.append(dict(attrs))

    for name in NAMES:
        Pictures().feed(where_html(name, small=True))
    assert [one["alt"] for one in found] == [where_words(name) for name in NAMES]
    assert all(one["src"].startswith("data:image/svg+xml;base64,") for one in found)


def test_a_measure_that_is_not_in_the_vocabulary_is_refused():
    with pytest.raises(SizingError, match="elbow_cm"):
        where_svg("elbow_cm")


def test_the_guide_says_of_each_measure_how_and_how_far_two_people_differ():
    page = guide_html()
    assert page.count("<svg") == page.count("Common slips") == len(NAMES)
    assert not re.search(r'(src|href)="(?!#|data:)', page)
    # Two readings differ by a normal of SD 1.4 times the root of 2: 1.96 of those.
    said = dict(how_rows("hip_circumference_cm"))["Two people differ"]
    assert "less than 3.9 cm" in said and "Ulijaszek and Kerr" in said
    apart = 1.4 * np.sqrt(2) * norm.ppf(0.975)
    assert round(apart, 1) == 3.9
