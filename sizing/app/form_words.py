"""What a form says, as HTML: sentences, lists, tables, pictures, what looks wrong."""

import html
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from importlib.resources import files

from markupsafe import Markup

from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import Say, plain, told, written
from sizing.pages.page import Picture, Section, Table, template
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
#: Characters, at most, that a column keeps room for in one line.
_ROOM = 16


def safe(text: str) -> str:
    return html.escape(unbroken(text))


def _shown(value: object) -> object:
    return Markup(safe(value)) if type(value) is str else value


def _made(name: str) -> Callable[..., str]:
    """Return a macro of the forms' template as a function of the same arguments."""
    macro = getattr(template("form.html.j2", _shown).module, name)
    return lambda *given: str(macro(*given))


paragraphs, bullets, heading, status, folded_html = map(
    _made, ("paragraphs", "bullets", "heading", "status", "folded")
)
slide_html, _leading, _table, _picture, _section = map(
    _made, ("slide", "leading", "table", "picture", "section")
)


def lead(answer: str) -> str:
    """Return an answer in words as it leads a page: its first line large."""
    invented, found = parted(answer)
    first, *rest = found.split("\n")
    return _leading(invented, first, rest)


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
    looks = []
    for place in range(len(headings) or max(map(len, rows), default=0)):
        side = "right" if place < len(numbers) and numbers[place] else "left"
        room = min(max((len(row[place]) for row in rows), default=0), _ROOM)
        looks.append(f"text-align: {side}; min-width: {room}ch; padding: .2em .6em")
    return _table(rows, looks, label, headings, caption, style)


def table_html(shown: Table) -> str:
    names, numbers = [c.name for c in shown.columns], [c.number for c in shown.columns]
    return wide_table(shown.rows, label=shown.caption, headings=names, numbers=numbers)


def picture_html(drawn: Picture) -> str:
    return _picture(drawn, drawn.caption)


def sections_html(sections: Sequence[Section]) -> str:
    return "".join(_section(one, [*map(table_html, one.tables)]) for one in sections)


def file_headings(rows: Iterable[Sequence[str]]) -> str:
    """Return the headings that a file needs as a small table, folded away."""
    said, *heads = _T.file_headings
    table = wide_table([*rows], label=said, headings=heads, caption=False)
    return folded_html(said, table)


def framed(page: str, *, title: str = "The page", shape: str = "height:50rem") -> str:
    """Return a whole page in a frame of its own, so that its style stays inside."""
    text = page.replace("&", "&amp;").replace('"', "&quot;")
    look = f'allowfullscreen style="width:100%;{shape}"'
    return f'<iframe title="{safe(title)}" srcdoc="{text}" {look}></iframe>'


def name_words(name: str) -> str:
    """Return what a column or an entry is called on a form."""
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
