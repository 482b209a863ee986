"""The drawing of where measures are taken: a group each, nothing from outside."""

import re
import xml.etree.ElementTree as ET
from html import unescape

import numpy as np
import pytest
from scipy.stats import norm

from sizing.errors import SizingError
from sizing.measures import vocabulary
from sizing.pages.where import guide_html, how_rows, where_html, where_svg, where_words

SVG = "{http://www.w3.org/2000/svg}"
LABELS = vocabulary().set_index("name")["label"].to_dict()


def groups(svg: str, kind: str) -> dict[str, ET.Element]:
    found = ET.fromstring(svg).findall(f"{SVG}g[@class='{kind}']")
    assert len({group.get("id") for group in found}) == len(found)
    return {str(group.get("id")): group for group in found}


def test_every_measure_has_its_group_numbered_as_in_the_list_beside():
    drawn = groups(where_svg(), "measure")
    shown = {n: [t.text for t in g.iter(f"{SVG}text")] for n, g in drawn.items()}
    assert shown == {name: [str(i)] for i, name in enumerate(LABELS, start=1)}
    labels = re.findall(r"<li><b>([^<]+)</b>", where_html())
    assert labels == [*LABELS.values()]
    figures = groups(where_svg(), "figure")
    assert {group.get("data-figure") for group in drawn.values()} == set(figures)
    assert all(group.find(f"{SVG}path") is not None for group in drawn.values())
    with pytest.raises(SizingError, match="elbow_cm"):
        where_svg("elbow_cm")


@pytest.mark.parametrize("name", [None, *LABELS])
def test_a_drawing_is_grey_and_asks_for_nothing_and_one_measure_stands_alone(name):
    svg = where_svg(name)
    assert not re.findall(r"href|src|@import|<script|url\([^#]", svg)
    assert re.findall(r"\w+://[^\"]+", svg) == ["http://www.w3.org/2000/svg"]
    for colour in re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", svg):
        parts = re.findall("..", colour) if len(colour) == 6 else list(colour)
        shades = [int(part, 16) for part in parts]
        assert max(shades) - min(shades) <= 16
    if name is None:
        return
    ((taken, measure),) = groups(svg, "measure").items()
    ((shown, figure),) = groups(svg, "figure").items()
    assert (taken, measure.get("data-figure")) == (name, shown)
    root = ET.fromstring(svg)
    assert root.get("viewBox") == figure.get("data-view")
    assert not "".join(text.text or "" for text in root.iter(f"{SVG}text"))
    assert root.findtext(f"{SVG}title", "").startswith(LABELS[name])
    # It has words for whoever cannot see it.
    (picture,) = re.findall("<img [^>]*>", where_html(name, small=True))
    told = dict(re.findall('(alt|src)="([^"]*)"', picture))
    assert unescape(told["alt"]) == where_words(name)
    assert told["src"].startswith("data:image/svg+xml;base64,")


def test_the_guide_says_of_each_measure_how_and_how_far_two_people_differ():
    page = guide_html()
    assert page.count("<svg") == page.count("Common slips") == len(LABELS)
    assert not re.search(r'(src|href)="(?!#|data:)', page)
    # Two readings differ by a normal of SD 1.4 times the root of 2: 1.96 of those.
    said = dict(how_rows("hip_circumference_cm"))["Two people differ"]
    assert "less than 3.9 cm" in said and "Ulijaszek and Kerr" in said
    apart = 1.4 * np.sqrt(2) * norm.ppf(0.975)
    assert round(apart, 1) == 3.9
