"""What a form says, as HTML: sentences, lists, tables, and what looks wrong."""

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from html import escape

from sizing.cautions import INVENTED
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import vocabulary
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, told, unit_of, written
from sizing.words.client import capital

#: A name of the code within words that were meant for a file.
_NAME = re.compile(r"\b[a-z]+(?:_[a-z]+)*_(?:cm|kg|years)(?:_low|_high)?\b")
#: What an answer on invented figures begins with.
_MADE_UP = re.compile(rf"{INVENTED}.*? by (it|them)\.\s*")
_OUTSIDE = "this is outside what people were found to have"
#: What is said of files, and what it means on a form.
_ON_A_FORM = {
    "put the unit that was used into the entry's name": "write the unit behind the "
    "number, such as 64 in",
    "put the unit that was used into the column's name": "write the unit behind the "
    "number, such as 64 in",
    "say that it is confirmed": "tick 'I measured again'",
    "leave it out, or correct its name": "leave it out",
    "correct the cell": "correct the number",
    "leave the cell empty": "leave it empty",
}


#: Lines no longer than can be read.
_NARROW = "max-width:60rem;line-height:1.45"


def paragraphs(lines: Iterable[str]) -> str:
    """Return lines as paragraphs of HTML."""
    style = f"margin:.3em 0;{_NARROW}"
    return "".join(f'<p style="{style}">{escape(line)}</p>' for line in lines)


def bullets(lines: Iterable[str]) -> str:
    """Return lines as a list of HTML.

    >>> bullets(["a < b"])
    '<ul style="max-width:60rem;line-height:1.45"><li>a &lt; b</li></ul>'
    """
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<ul style="{_NARROW}">{items}</ul>'


def heading(words: str) -> str:
    """Return a heading within a form."""
    return f"<h3>{escape(words)}</h3>"


def status(content: str) -> str:
    """Return HTML that a screen reader reads out when it changes."""
    return f'<div role="status">{content}</div>'


def lead(answer: str) -> str:
    """Return an answer in words as it leads a page: its first line large.

    What is said of invented figures stands before it, and no larger than the rest.

    >>> answer = "Invented for demonstration: a b. Order nothing by it. Buy 3.\\nThree"
    >>> lead(answer).index("Order nothing") < lead(answer).index("<b>Buy 3.</b>")
    True
    """
    made_up = _MADE_UP.match(answer)
    before = made_up[0] if made_up else ""
    first, *rest = answer.removeprefix(before).split("\n")
    large = f"<p style='font-size:1.15em'><b>{escape(first)}</b></p>"
    told = paragraphs(filter(None, [before.strip()]))
    return status(told + large + paragraphs(rest))


#: The region has a width of its own, ``100cqi``: its content makes nothing else wider.
_REGION = "overflow-x: auto; container-type: inline-size"
#: The caption stays in sight while the rest scrolls.
_CAPTION = "position: sticky; left: 0; max-width: 100cqi"
#: In a form JupyterLab leaves tall rows, no room between columns, and broken words.
_TABLE = "line-height: 1.4; overflow-wrap: normal"
_CELL = "padding: .2em .6em"
#: Characters, at most, that a column keeps room for in one line.
_ROOM = 16


def scrolling(content: str, *, label: str) -> str:
    """Return HTML in a region that scrolls by itself, by keyboard too."""
    return (
        f'<div tabindex="0" role="region" aria-label="{escape(label)}" '
        f'style="{_REGION}">{content}</div>'
    )


def wide_table(
    rows: Sequence[Sequence[str]],
    *,
    label: str,
    headings: Sequence[str] = (),
    numbers: Sequence[bool] = (),
    caption: bool = True,
    style: str = "",
) -> str:
    """Return a table of finished cells as HTML, in a region that scrolls by itself."""
    columns = len(headings) or max(map(len, rows), default=0)
    flush = [*numbers, *([False] * columns)]
    sides = ["right" if flush[i] else "left" for i in range(columns)]
    longest = [max((len(row[i]) for row in rows), default=0) for i in range(columns)]
    styles = [
        f"text-align: {side}; min-width: {min(length, _ROOM)}ch; {_CELL}"
        for side, length in zip(sides, longest, strict=True)
    ]
    top = "".join(
        f'<th scope="col" style="{look}">{escape(name)}</th>'
        for name, look in zip(headings, styles, strict=bool(headings))
    )
    body = []
    for row in rows:
        cells = [
            f'<td style="{look}">{escape(cell)}</td>'
            for cell, look in zip(row, styles, strict=True)
        ]
        if not headings:
            look = f"{styles[0]}; font-weight: normal"
            cells[0] = f'<th scope="row" style="{look}">{escape(row[0])}</th>'
        body.append(f"<tr>{''.join(cells)}</tr>")
    said = (
        f'<caption style="text-align: left"><div style="{_CAPTION}">{escape(label)}'
        "</div></caption>"
    )
    return scrolling(
        f'<table style="{_TABLE}; {style}">{said if caption else ""}'
        f"{f'<thead><tr>{top}</tr></thead>' if headings else ''}"
        f"<tbody>{''.join(body)}</tbody></table>",
        label=label,
    )


def file_headings(rows: Sequence[tuple[str, str]]) -> str:
    """Return the headings that a file needs as a small table, folded away.

    >>> ">Hip girth</td>" in file_headings([("Hip girth", "hip_circumference_cm")])
    True
    """
    said = "Headings of such a file"
    table = wide_table(
        rows,
        label=said,
        headings=("What the column holds", "Its heading"),
        caption=False,
    )
    return f"<details><summary>{said}</summary>{table}</details>"


#: Headings of a file that holds a size chart.
CHART_HEADINGS = (
    ("Name of the size", "size"),
    ("paediatric, adult or bariatric", "group"),
    ("Load limit, kg", "load_limit_kg"),
    ("Hip girth from, cm", "hip_circumference_cm_low"),
    ("Hip girth to, cm", "hip_circumference_cm_high"),
    ("Seat-to-shoulder height from, cm", "shoulder_height_sitting_cm_low"),
    ("Seat-to-shoulder height to, cm", "shoulder_height_sitting_cm_high"),
    ("The same in inches, pounds or stone", "hip_circumference_in_low, load_limit_lb"),
)


def framed(page: str, *, title: str = "The page", shape: str = "height:50rem") -> str:
    """Return a whole page in a frame of its own, so that its style stays inside."""
    text = page.replace("&", "&amp;").replace('"', "&quot;")
    look = f'allowfullscreen style="width:100%;{shape}"'
    return f'<iframe title="{escape(title)}" srcdoc="{text}" {look}></iframe>'


def name_words(name: str) -> str:
    """Return what a column or an entry is called on a form.

    >>> name_words("hip_circumference_cm_low"), name_words("load_limit_kg")
    ('hip girth from', 'load limit')
    """
    ends = {"_low": " from", "_high": " to"}
    for ending, words in ends.items():
        if name.endswith(ending):
            return name_words(name.removesuffix(ending)) + words
    return plain(name)


def wrong_lines(
    error: SizingError,
    *,
    units: str = "metric",
    typed: Mapping[str, str] | None = None,
    rows: Sequence[str] = (),
) -> list[str]:
    """Return what looks wrong, in the words of a form and in the units chosen."""
    say = partial(written, units=units)
    if not isinstance(error, InputProblems):
        return [_plainly(line, units) for line in str(error).splitlines()]
    return [_line(one, units, say, typed or {}, rows) for one in error.problems]


def _line(
    one: Problem, units: str, say: Say, typed: Mapping[str, str], rows: Sequence[str]
) -> str:
    where = [one.file] if one.file is not None else []
    # Of a file the rows are those of the file, and its headings stay as they stand.
    of_headings = one.row == 1
    if of_headings and (one.file is None or one.column is None):
        where.append("the headings")
    elif of_headings:
        where.append(f"the heading '{one.column}'")
    elif one.row is not None and one.row - 2 < len(rows) and rows[one.row - 2]:
        where.append(f"size {rows[one.row - 2]}")
    elif one.row is not None:
        where.append(f"row {one.row - (one.file is None)}")
    if one.column is not None and not (of_headings and one.file is not None):
        where.append(name_words(str(one.column)))
    found = typed.get(str(one.column), "")
    if not found and one.value is not None and not isinstance(one.value, float):
        found = str(one.value)
    place = ", ".join(where) + (f" ({found})" if found else "")
    what, allowed, action = (
        str(words) if of_headings and one.file else _plainly(told(words, say), units)
        for words in (one.what, one.allowed, one.action)
    )
    parts = [f"{place}: {what}" if place else what]
    if allowed:
        parts.append(f"Allowed: {allowed}")
    if action:
        parts.append(f"What to do: {action}")
    said = ". ".join(part.rstrip(".") for part in parts) + "."
    return said if one.file is not None else capital(said)


def _plainly(text: str, units: str) -> str:
    """Take names of the code and the words of files out of a message."""
    if units != "metric":
        # These speak of the number in cm or kg, which is not the one she typed.
        text = re.sub(r"this makes sense in \w+, not in \w+", _OUTSIDE, text)
        text = re.sub(r"it would fit if the number were in \w+; ", "", text)
        text = text.replace("put the unit that was used into the entry's name, or ", "")
    text = re.sub(
        r"a number in (cm|kg)",
        lambda m: f"a number in {unit_of(f'_{m[1]}', units)}",
        text,
    )
    text = re.sub(r"column '([^']+)'", lambda m: name_words(m[1]), text)
    for words, better in _ON_A_FORM.items():
        text = text.replace(words, better)
    text = _NAME.sub(lambda m: name_words(m[0]), text)
    for code, words in _spoken().items():
        text = text.replace(code, words)
    return text


def _spoken() -> dict[str, str]:
    """Return measures as they are spelt in the code, and by their labels."""
    names = [str(name) for name in vocabulary()["name"]]
    spelt = {name: name.rsplit("_", 1)[0].replace("_", " ") for name in names}
    told = {words: plain(name) for name, words in spelt.items()}
    bare = {name.rsplit("_", 1)[0]: plain(name) for name in names}
    return {said: words for said, words in (bare | told).items() if said != words}
