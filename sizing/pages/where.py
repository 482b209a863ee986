"""The drawing of where each measure is taken, from ``drawings/measures.svg``."""

import base64
import xml.etree.ElementTree as ET
from functools import cache
from html import escape
from importlib.resources import files

from sizing.errors import one_of
from sizing.measures import Say, plain, vocabulary, written
from sizing.pages.page import template
from sizing.resources import texts
from sizing.words.client import capital

_SVG = "{http://www.w3.org/2000/svg}"
_T = texts("client")
#: Typical errors by which two readings differ in 19 of 20 pairs at most.
_APART = 2.77


def where_svg(measure: str | None = None) -> str:
    """One measure alone is shown with the figure it is drawn on and nothing else."""
    names = [str(name) for name in vocabulary()["name"]]
    ET.register_namespace("", _SVG.strip("{}"))
    root = ET.fromstring(_drawing())
    parts = {str(group.get("id")): group for group in root.findall(f"{_SVG}g")}
    if measure is None:
        for number, name in enumerate(names, start=1):
            for place in parts[name].iter(f"{_SVG}text"):
                place.text = str(number)
    else:
        one_of("measure", measure, names)
        figure = str(parts[measure].get("data-figure"))
        root.set("viewBox", str(parts[figure].get("data-view")))
        for name in set(parts) - {measure, figure}:
            root.remove(parts[name])
    title = ET.Element(f"{_SVG}title")
    title.text = where_words(measure)
    root.insert(0, title)
    return ET.tostring(root, encoding="unicode")


def where_words(measure: str | None = None) -> str:
    if measure is None:
        return str(_T.where["all"])
    row = vocabulary().set_index("name").loc[measure]
    root = ET.fromstring(_drawing())
    group = root.find(f"{_SVG}g[@id='{measure}']")
    figure = "" if group is None else _T.figures[str(group.get("data-figure"))]
    return f"{row['label']} on {figure}: {_lower(str(row['landmarks']))}"


def where_html(measure: str | None = None, *, small: bool = False) -> str:
    """Return the drawing for a page, with its words."""
    words = vocabulary().set_index("name")
    beneath = _T.where["choose" if small else "kinds"]
    if small and measure is not None:
        beneath = str(words["landmarks"][measure])
    return template("where.html.j2").render(
        alt=where_words(measure),
        data=base64.b64encode(where_svg(measure).encode()).decode("ascii"),
        small=small,
        beneath=beneath,
        items=zip(words["label"], map(_lower, words["landmarks"]), strict=True),
    )


def how_rows(measure: str, *, say: Say = written) -> list[tuple[str, str]]:
    """Return how one measure is taken, as pairs of a heading and words.

    Two people differ by 1.96 x sqrt 2 errors in 19 of 20 pairs (ISO 5725-6, memory).
    """
    row = vocabulary().set_index("name").loc[measure].to_dict()
    error = float(row["error_cm"])
    apart, one = (say(x, measure, to="tenth") for x in (_APART * error, error))
    source = capital(str(row["error_source"]))
    row["apart"] = _T.where["apart"].format(apart=apart, one=one, source=source)
    return [(heading, str(row[name])) for name, heading in _T.how_to.items()]


def how_html(measure: str, *, say: Say = written) -> str:
    told = "".join(
        f"<li><b>{name}</b>: {escape(words)}</li>"
        for name, words in how_rows(measure, say=say)
    )
    label = escape(f"How to take {plain(measure)}")
    shut = f'<details><summary aria-label="{label}">how to</summary>'
    return f"{shut}<ul>{told}</ul></details>"


def guide_html(*, say: Say = written) -> str:
    measures = [
        (str(row["label"]), where_svg(row["name"]), how_rows(row["name"], say=say))
        for _, row in vocabulary().iterrows()
    ]
    return template("guide.html.j2").render(measures=measures, about=_T.where["kinds"])


@cache
def _drawing() -> str:
    place = files("sizing.pages") / "drawings" / "measures.svg"
    text = place.read_text(encoding="utf-8")
    # Carried once a measure: without what only whoever edits the file needs.
    return " ".join(text.split()).replace("> <", "><")


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]
