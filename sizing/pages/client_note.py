"""The note for the handling plan: one page to print, sign and keep."""

import io
from dataclasses import asdict, dataclass
from datetime import date

import numpy as np
import pandas as pd

from sizing.client import ClientAnswer
from sizing.client.outcomes import SLING
from sizing.client.readings import MASS
from sizing.client.visits import Decision
from sizing.errors import SizingError, one_of
from sizing.files.writing import undated, writable
from sizing.measures import Say, told, written
from sizing.pages.client_answer import load_words, measures_table, sizes_table
from sizing.pages.page import Page, Section, Table, table, template
from sizing.resources import source_table, texts
from sizing.words.client import capital, chance_words, named
from sizing.words.client_notes import allowance_words, doubt_lines, growth_words

_T = texts("client")
#: What the name of a note may end in.
NOTE_ENDINGS = (".html", ".md", ".docx")
#: Space to write in by hand; little, and for what needs more of it.
_SPACE, _LINE = "." * 21, "." * 40
_LONG = ("reason", "trial")
#: Sizes that the note has room for.
_SIZES = 3


@dataclass(frozen=True)
class HandlingNote:
    """A note for the handling plan; nothing is kept unless it is written out."""

    page: Page

    def html(self) -> str:
        return template("note.html.j2").render(page=self.page)

    def markdown(self) -> str:
        text = template("note.md.j2").render(page=self.page)
        # A size's name may look like a tag or a link; neither is the page's own.
        return text.replace("<", "\\<").replace("](", "\\](")

    def as_file(self, ending: str) -> bytes:
        one_of("ending of the note's name", ending.lower(), list(NOTE_ENDINGS))
        if ending.lower() == ".docx":
            return _docx(self.page)
        text = self.html() if ending.lower() == ".html" else self.markdown()
        return text.encode("utf-8")


def client_note(
    answer: ClientAnswer,
    decision: Decision | None = None,
    *,
    on: date | None = None,
    pattern: str | None = None,
    say: Say = written,
) -> HandlingNote:
    decision = decision or Decision()
    _check(answer, decision, on, say)
    client, age = answer.client, answer.client.age_years
    who = [
        f"reference {decision.reference}" if decision.reference else "",
        client.sex or "sex not stated",
        "age unknown" if age is None else f"{age:g} years",
        f"assessed on {on.isoformat() if on else _LINE}",
        f"chart: {answer.chart.name}",
    ]
    limited = answer.measures["measure"].isin(answer.margins["measure"])
    weak = answer.measures["evidence"].isin(["extrapolated", "unsupported"])
    names = named(answer.measures.loc[limited & weak, "measure"])
    weakly = _T.note["weak"].format(names=names) if names else ""
    page = Page(
        title=_T.note["title"],
        question="",
        inputs="; ".join(filter(None, who)),
        answer="\n".join(answer.lines(say=say)),
        sections=_sections(answer, decision, say),
        limits=(),
        sources=(),
        footer=_T.note["surveyed"] + weakly,
    )
    limits = answer.chart.measures
    return HandlingNote(page.for_pattern(pattern, limits, set(client.known)))


def _check(answer: ClientAnswer, decision: Decision, on: date | None, say: Say) -> None:
    if decision.size:
        one_of("size chosen", decision.size, answer.chart.sizes)
        row = _row(answer, decision.size)
        if row["over_load"]:
            limit = load_words(float(row["load_limit_kg"]), say=say)
            told = {"size": decision.size, "limit": limit}
            raise SizingError.of(_T.wrong["over_load"], **told)
    if on and decision.review_on and decision.review_on < on:
        review = decision.review_on.isoformat()
        raise SizingError.of(_T.wrong["review"], review, on=on.isoformat())


def _row(answer: ClientAnswer, size: str) -> pd.Series:
    return answer.sizes[answer.sizes["size"] == size].iloc[0]


def _sections(answer: ClientAnswer, decision: Decision, say: Say) -> list[Section]:
    words, heads = _T.note, _T.note_parts
    decided = {
        name: str(value or (_LINE if name in _LONG else _SPACE))
        for name, value in asdict(decision).items()
    }
    names = ["size", "positions", "carers", "reminder"]
    names += ["remarks"] if decision.remarks else []
    chosen = [words[name].format(**decided) for name in names]
    if decision.size and decision.size not in (answer.first["size"], *answer.both):
        chance = chance_words(_row(answer, decision.size))
        chosen.insert(1, words["other"].format(chance=chance))
    doubts = doubt_lines(answer, say=say)
    read = [words["confirmed"].format(doubt=doubt) for doubt in doubts]
    if answer.client.stature is not None:
        read.append(told(answer.client.stature.said(short=True), say))
    if (answer.allowances["used_cm"] != 0).any():
        read.append(allowance_words(answer, say=say))
    growth = [] if answer.nothing_bears else growth_words(answer, say=say)
    measured = measures_table(answer, say=say)
    measured = measured.drop(columns=["Typical error", "How known"])
    sizes = sizes_table(answer, say=say).head(_SIZES)
    checks = list(source_table("lift_checks.csv")["text"])
    sign = words["sign"].format(line=_LINE, space=_SPACE)
    return [
        Section(heads["chosen"], chosen),
        Section(heads["parts"], tables=[_parts(answer, decision, say)]),
        Section(heads["measured"], read, tables=[table(measured, caption="")]),
        Section(
            heads["sizes"], [*map(capital, growth)], tables=[table(sizes, caption="")]
        ),
        Section(heads["checks"], bullets=checks),
        Section(heads["last"], [words["review"].format(**decided), sign]),
    ]


def _parts(answer: ClientAnswer, decision: Decision, say: Say) -> Table:
    """Return every part: which one it is, what it bears, when it was examined."""
    parts = answer.loads.set_index("part")["load_limit_kg"]
    size = decision.size or str(answer.first["size"])
    sling, stated = f"{SLING}{size}", parts.get(f"{SLING}{size}", np.nan)
    bears, examined = load_words(stated, say=say), decision.examined_on or _SPACE
    which = {"hoist": decision.hoist, "spreader bar": decision.spreader_bar}
    rows = [
        (name, which.get(name) or _SPACE, load_words(limit, say=say), examined)
        for name, limit in zip(map(str, parts.index), parts, strict=True)
        if not name.startswith(SLING)
    ]
    if not decision.size and (answer.to_measure or len(answer.both) != 1):
        # Nothing has named one size: none is written down before its assessor does.
        sling = f"{SLING}{_SPACE}"
        bears = "on its label" if np.isfinite(stated) else bears
    if not _row(answer, size)["over_load"]:
        rows.append((sling, decision.sling or _SPACE, bears, examined))
    mass, weight = answer.client.known.get(MASS), "not measured, weigh first"
    if mass is not None:
        weight = f"{say(mass.value, MASS, to='tenth')}, {mass.how}"
    columns = ["Part", "Which one", "Safe working load", "Examined on"]
    caption = _T.note["lowest"].format(weight=weight)
    return table(pd.DataFrame(rows, columns=columns), caption=caption)


def _docx(page: Page) -> bytes:
    """Write a page without its pictures as DOCX: one sheet of A4, in 10 point."""
    try:
        from docx import Document
        from docx.shared import Mm, Pt
    except ImportError:
        raise SizingError.of(_T.wrong["no_docx"]) from None
    book = Document()
    sheet = book.sections[0]
    sheet.page_width, sheet.page_height = Mm(210), Mm(297)
    sheet.left_margin = sheet.right_margin = Mm(12)
    sheet.top_margin = sheet.bottom_margin = Mm(9)
    style = book.styles["Normal"]
    style.font.name, style.font.size = "Arial", Pt(10)
    style.paragraph_format.space_after = Pt(0)

    def add(words: str, *, bold: bool = False, before: float = 0) -> None:
        line = book.add_paragraph()
        line.paragraph_format.space_before = Pt(before)
        line.add_run(str(writable(words))).bold = bold

    add(page.title, bold=True)
    add(page.inputs)
    for words in page.answer.split("\n"):
        add(words, bold=True)
    for section in page.sections:
        add(section.heading, bold=True, before=4)
        for words in section.words:
            add(words)
        for one in section.tables:
            if one.caption:
                add(one.caption)
            grid = book.add_table(rows=0, cols=len(one.columns))
            grid.style = "Table Grid"
            for row in ([c.name for c in one.columns], *one.rows):
                for cell, words in zip(grid.add_row().cells, row, strict=True):
                    cell.text = str(writable(words))
        for words in section.bullets:
            add(f"\N{BALLOT BOX} {words}")
    add("Before any lift", bold=True, before=4)
    add(" ".join(page.cautions))
    add(page.footer, before=4)
    held = io.BytesIO()
    book.core_properties.author = ""
    book.save(held)
    return undated(held.getvalue())
