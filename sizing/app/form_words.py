"""What a form says, as HTML: sentences, lists, tables, and what looks wrong."""

import html
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from importlib.resources import files

from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import Say, plain, told, written
from sizing.resources import parted, texts
from sizing.words.client import capital
from sizing.words.numbers import unbroken

_T = texts("forms")
#: Headings of a file that holds a size chart.
CHART_HEADINGS: list[tuple[str, str]] = _T.chart_headings
#: How the forms look: labels wrap instead of being cut, and stand above their field on
#: a phone.
FORM_STYLE = "<style>{}</style>".format(
    files("sizing.app").joinpath("template", "form.css").read_text(encoding="utf-8")
)
#: Lines no longer than can be read.
_NARROW = "max-width:60rem;line-height:1.45"
#: The region has a width of its own, ``100cqi``: its content makes nothing else wider.
_REGION = "overflow-x: auto; container-type: inline-size"
#: The caption stays in sight while the rest scrolls.
_CAPTION = "position: sticky; left: 0; max-width: 100cqi"
#: In a form JupyterLab leaves tall rows, no room between columns, and broken words.
_TABLE = "line-height: 1.4; overflow-wrap: normal"
_CELL = "padding: .2em .6em"
#: Characters, at most, that a column keeps room for in one line.
_ROOM = 16


def safe(text: str) -> str:
    return html.escape(unbroken(text))


def paragraphs(lines: Iterable[str]) -> str:
    style = f"margin:.3em 0;{_NARROW}"
    return "".join(f'<p style="{style}">{safe(line)}</p>' for line in lines if line)


def bullets(lines: Iterable[str]) -> str:
    """Return lines as a list of HTML.

    >>> bullets(["a < b"])
    '<ul style="max-width:60rem;line-height:1.45"><li>a &lt; b</li></ul>'
    """
    items = "".join(f"<li>{safe(line)}</li>" for line in lines)
    return f'<ul style="{_NARROW}">{items}</ul>'


def heading(words: str) -> str:
    return f"<h3>{safe(words)}</h3>"


def status(content: str) -> str:
    return f'<div role="status">{content}</div>'


def lead(answer: str) -> str:
    """Return an answer in words as it leads a page: its first line large.

    What is said of invented figures stands before it, and no larger than the rest.

    >>> answer = "Invented for demonstration: a b. Order nothing by it. Buy 3.\\nThree"
    >>> lead(answer).index("Order nothing") < lead(answer).index("<b>Buy 3.</b>")
    True
    """
    invented, found = parted(answer)
    first, *rest = found.split("\n")
    large = f"<p style='font-size:1.15em'><b>{safe(first)}</b></p>"
    return status(paragraphs([invented]) + large + paragraphs(rest))


def scrolling(content: str, *, label: str) -> str:
    """Return HTML in a region that scrolls by itself, by keyboard too."""
    return (
        f'<div tabindex="0" role="region" aria-label="{safe(label)}" '
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
    looks = []
    for i in range(columns):
        side = "right" if i < len(numbers) and numbers[i] else "left"
        longest = max((len(row[i]) for row in rows), default=0)
        room = f"min-width: {min(longest, _ROOM)}ch"
        looks.append(f"text-align: {side}; {room}; {_CELL}")

    def cell(words: str, i: int, scope: str = "") -> str:
        head = f'<th scope="{scope}"' if scope else "<td"
        thin = "; font-weight: normal" if scope == "row" else ""
        end = "th" if scope else "td"
        return f'{head} style="{looks[i]}{thin}">{safe(words)}</{end}>'

    first = "" if headings else "row"
    top = "".join(cell(name, i, "col") for i, name in enumerate(headings))
    body = "".join(
        f"<tr>{''.join(cell(w, i, '' if i else first) for i, w in enumerate(row))}</tr>"
        for row in rows
    )
    said = f'<div style="{_CAPTION}">{safe(label)}</div>'
    parts = [f'<caption style="text-align: left">{said}</caption>'] if caption else []
    parts += [f"<thead><tr>{top}</tr></thead>"] if headings else []
    table = f"{''.join(parts)}<tbody>{body}</tbody></table>"
    return scrolling(f'<table style="{_TABLE}; {style}">{table}', label=label)


def file_headings(rows: Iterable[Sequence[str]]) -> str:
    """Return the headings that a file needs as a small table, folded away.

    >>> ">Hip girth</td>" in file_headings([("Hip girth", "hip_circumference_cm")])
    True
    """
    said, *heads = _T.file_headings
    table = wide_table([*rows], label=said, headings=heads, caption=False)
    return f"<details><summary>{said}</summary>{table}</details>"


def framed(page: str, *, title: str = "The page", shape: str = "height:50rem") -> str:
    """Return a whole page in a frame of its own, so that its style stays inside."""
    text = page.replace("&", "&amp;").replace('"', "&quot;")
    look = f'allowfullscreen style="width:100%;{shape}"'
    return f'<iframe title="{safe(title)}" srcdoc="{text}" {look}></iframe>'


def name_words(name: str) -> str:
    """Return what a column or an entry is called on a form.

    >>> name_words("hip_circumference_cm_low"), name_words("load_limit_kg")
    ('hip girth from', 'load limit')
    """
    for ending, words in {"_low": " from", "_high": " to"}.items():
        if name.endswith(ending):
            return plain(name.removesuffix(ending)) + words
    return plain(name)


def wrong_lines(
    error: SizingError,
    *,
    units: str = "metric",
    typed: Mapping[str, str] | None = None,
    rows: Sequence[str] = (),
) -> list[str]:
    """``typed``: what was typed under each name; ``rows``: what rows are called."""
    if not isinstance(error, InputProblems):
        return str(error).splitlines()
    places = ("form",) if units == "metric" else ("form_other", "form")
    say = partial(written, units=units)
    return [_line(one, say, places, typed or {}, rows) for one in error.problems]


def _line(
    one: Problem,
    say: Say,
    places: Sequence[str],
    typed: Mapping[str, str],
    rows: Sequence[str],
) -> str:
    where = [one.file] if one.file is not None else []
    # Of a file the rows are those of the file, and its headings stay as they stand.
    of_file = one.row == 1 and one.file is not None
    if one.row == 1:
        headed = of_file and one.column is not None
        where.append(f"the heading '{one.column}'" if headed else "the headings")
    elif one.row is not None:
        size = rows[one.row - 2] if one.row - 2 < len(rows) else ""
        row = one.row - (one.file is None)
        where.append(f"size {size}" if size else f"row {row}")
    if one.column is not None and not of_file:
        where.append(name_words(str(one.column)))
    found = typed.get(str(one.column), "")
    if not found and one.value is not None and not isinstance(one.value, float):
        found = str(one.value)
    place = ", ".join(where) + (f" ({found})" if found else "")
    what, allowed, action = (
        told(words, say, *(() if of_file else places))
        for words in (one.what, one.allowed, one.action)
    )
    parts = [f"{place}: {what}" if place else what]
    parts += [f"Allowed: {allowed}"] if allowed else []
    parts += [f"What to do: {action}"] if action else []
    said = ". ".join(part.rstrip(".") for part in parts)
    said += "" if said.endswith("?") else "."
    return said if one.file is not None else capital(said)
