"""A self-contained page: readable on a phone, printable, no outside request."""

import base64
import io
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files

import jinja2
import pandas as pd
from matplotlib import rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sizing.measures import led_by, pattern_lacks, pattern_words
from sizing.plots.style import quiet_style
from sizing.resources import cautions
from sizing.words.labels import glossary
from sizing.words.numbers import unbroken


@dataclass(frozen=True)
class Picture:
    """A picture on a page, with the words that stand for it."""

    png: bytes
    #: What the picture shows, for whoever cannot see it.
    alt: str
    #: What to make of it.
    caption: str

    @property
    def base64(self) -> str:
        return base64.b64encode(self.png).decode("ascii")


@dataclass(frozen=True)
class Column:
    name: str
    number: bool


@dataclass(frozen=True)
class Table:
    """A table on a page; every cell is already written out for people."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """One part of a page, in this order: words, pictures, tables, bullets."""

    heading: str
    words: Sequence[str] = ()
    figures: Sequence[Picture] = ()
    tables: Sequence[Table] = ()
    bullets: Sequence[str] = ()


@dataclass(frozen=True)
class Page:
    """Shown as question, inputs, answer, sections, limits, cautions, sources."""

    title: str
    question: str
    answer: str
    sections: Sequence[Section]
    limits: Sequence[str]
    sources: Sequence[str]
    inputs: str = ""
    footer: str = ""
    cautions: Sequence[str] = field(default_factory=cautions)

    def for_pattern(
        self,
        pattern: str | None,
        limits: Collection[str],
        known: Collection[str] | None = None,
    ) -> "Page":
        """Return the page with what to know of a pattern of sling, if one is named."""
        if not pattern:
            return self
        lacks = pattern_lacks(pattern, limits)
        told = [w for w in pattern_words(pattern, limits, known) if w != lacks]
        section = Section(f"Pattern of sling: {pattern}", told)
        answer = led_by([lacks], self.answer)
        return replace(self, answer=answer, sections=[section, *self.sections])


def picture(figure: Figure, *, alt: str, caption: str) -> Picture:
    """Draw a figure to PNG bytes that are the same for the same figure."""
    buffer = io.BytesIO()
    with quiet_style():
        # Straight onto the canvas: ``savefig`` draws everything once in vain.
        figure.set_dpi(rcParams["savefig.dpi"])
        FigureCanvasAgg(figure).print_png(buffer, metadata={"Software": None})
    return Picture(buffer.getvalue(), alt, caption)


def table(frame: pd.DataFrame, *, caption: str, words: Sequence[str] = ()) -> Table:
    columns = tuple(Column(str(c), str(c) not in words) for c in frame.columns)
    rows = tuple(
        tuple("" if pd.isna(cell) else str(cell) for cell in row)
        for row in frame.itertuples(index=False, name=None)
    )
    return Table(caption, columns, rows)


def shown(value: object) -> object:
    """Return what a template writes for a value; what is markup stays as it is."""
    return unbroken(value) if type(value) is str else value


@cache
def template(name: str, shown: Callable[[object], object] = shown) -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(files("sizing.pages"))),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        # A name the page lacks is an error, never an empty space.
        undefined=jinja2.StrictUndefined,
        finalize=shown,
    )
    return environment.get_template(name)


def render(page: Page) -> str:
    """Write a page as one HTML text, with the meaning of the words on it."""
    content = {name: getattr(page, name) for name in Page.__dataclass_fields__}
    return template("page.html.j2").render(
        **content, words=glossary(_words(page)).itertuples(index=False, name=None)
    )


def _words(page: Page) -> str:
    parts = [page.question, page.answer, page.inputs, *page.limits, *page.cautions]
    for section in page.sections:
        parts += [section.heading, *section.words, *section.bullets]
        parts += [figure.caption for figure in section.figures]
        for shown in section.tables:
            parts += [shown.caption, *(column.name for column in shown.columns)]
    return "\n".join(parts)
