"""The note for the handling plan: one page to print, sign and keep."""

import io
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from sizing.client import ClientAnswer
from sizing.client.visit import Decision
from sizing.errors import SizingError, one_of
from sizing.files.writing import undated, writable
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, told, written
from sizing.pages.client_answer import (
    load_words,
    loads_table,
    measures_table,
    sizes_table,
)
from sizing.pages.page import Page, Section, Table, table, template
from sizing.resources import source_table
from sizing.words.client import capital, chance_words
from sizing.words.client_notes import allowance_words, doubt_lines, growth_words

REMINDER = (
    "The positions chosen at shoulders and legs set the recline and the distance "
    "between head and spreader bar (common practice, no source)."
)
#: What the name of a note may end in.
NOTE_ENDINGS = (".html", ".md", ".docx")
NOT_FILLED = "........................................"
_SHORT = "....................."


@dataclass(frozen=True)
class HandlingNote:
    """A note for the handling plan; nothing is kept unless it is written out."""

    page: Page
    #: The measures that the chart limits.
    limits: Collection[str] = ()

    def for_pattern(
        self, pattern: str | None, known: Collection[str]
    ) -> "HandlingNote":
        """Return the note with what to know of a pattern of sling, if one is named."""
        return HandlingNote(
            self.page.for_pattern(pattern, self.limits, known), self.limits
        )

    def html(self) -> str:
        """Return the note as HTML that prints on one sheet of A4, in 10 point."""
        return template("note.html.j2").render(page=self.page)

    def markdown(self) -> str:
        """Return the note as Markdown."""
        return page_markdown(self.page)

    def as_file(self, ending: str) -> bytes:
        """Return the note as a file's content, by the ending of its name."""
        one_of("ending of the note's name", ending.lower(), list(NOTE_ENDINGS))
        if ending.lower() == ".docx":
            return page_docx(self.page)
        text = self.html() if ending.lower() == ".html" else self.markdown()
        return text.encode("utf-8")


def client_note(
    answer: ClientAnswer,
    decision: Decision | None = None,
    *,
    on: date | None = None,
    say: Say = written,
) -> HandlingNote:
    """Write the note for the handling plan.

    >>> from sizing.charts import demo_chart
    >>> from sizing.client import check_client
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68, "stature_cm": 160})
    >>> note = client_note(found, Decision(size="adult 2", reason="hips"))
    >>> "adult 2" in note.html() and "Signature" in note.markdown()
    True
    """
    decision = decision or Decision()
    _check(answer, decision, on, say)
    client = answer.client
    who = [
        f"reference {decision.reference}" if decision.reference else "",
        client.sex or "sex not stated",
        f"{client.age_years:g} years"
        if client.age_years is not None
        else "age unknown",
        f"assessed on {on.isoformat()}" if on else f"assessed on {NOT_FILLED}",
        f"chart: {answer.chart.name}",
    ]
    page = Page(
        title="Handling plan: size of sling",
        question="",
        inputs="; ".join(word for word in who if word),
        answer="\n".join(answer.lines(say=say)),
        sections=_sections(answer, decision, say),
        limits=(),
        sources=(),
        footer=_footer(answer),
    )
    return HandlingNote(page, answer.chart.measures)


def _check(answer: ClientAnswer, decision: Decision, on: date | None, say: Say) -> None:
    if decision.size:
        one_of("size chosen", decision.size, answer.chart.sizes)
        row = answer.sizes[answer.sizes["size"] == decision.size].iloc[0]
        if row["over_load"]:
            limit = load_words(float(row["load_limit_kg"]), say=say)
            raise SizingError(
                "the weight is over the lowest load limit with "
                f"'{decision.size}', {limit}",
                allowed="a size and parts that bear the weight",
                action="choose other parts; no note is written for these",
            )
    if on and decision.review_on and decision.review_on < on:
        raise SizingError(
            "the review lies before the assessment",
            allowed=f"a date after {on.isoformat()}",
            action="correct one of them",
            value=decision.review_on.isoformat(),
        )


def _sections(answer: ClientAnswer, decision: Decision, say: Say) -> list[Section]:
    chosen = [
        f"Size: {decision.size or _SHORT}; why: {decision.reason or NOT_FILLED}",
        f"Attachment at the shoulders: {decision.shoulders or _SHORT}; at the legs: "
        f"{decision.legs or _SHORT}; why: {decision.positions_reason or _SHORT}",
        f"Carers needed: {decision.carers or _SHORT}; outcome of the trial: "
        f"{decision.trial or NOT_FILLED}",
        REMINDER,
    ]
    if decision.size and decision.size not in (answer.first["size"], *answer.both):
        mine = answer.sizes["size"] == decision.size
        chosen.insert(
            1,
            "The size chosen is not the one the kit names first: its own chance of "
            f"fitting: {chance_words(answer.sizes[mine].iloc[0])}.",
        )
    if decision.remarks:
        chosen.append(f"Remarks: {decision.remarks}")
    review = decision.review_on.isoformat() if decision.review_on else _SHORT
    last = [
        f"Review on: {review} and whenever weight, posture, tone, skin or the hoist "
        "changes.",
        f"Assessor: {NOT_FILLED} Signature: {NOT_FILLED} Date: {_SHORT}",
    ]
    growth: list[str] = []
    if not answer.nothing_bears:
        growth = [capital(line) for line in growth_words(answer, say=say)]
    checks = list(source_table("lift_checks.csv")["text"])
    measured = table(
        measures_table(answer, say=say).drop(columns=["Off by (SD)", "Standing"]),
        caption="",
    )
    sizes = table(sizes_table(answer, say=say).head(_SIZES), caption="")
    return [
        Section("Chosen by the assessor", chosen),
        Section("Equipment and load limits", tables=[_parts(answer, decision, say)]),
        Section("Measured, and how", _notes(answer, say), tables=[measured]),
        Section("Sizes considered", growth, tables=[sizes]),
        Section("Before the lift (common practice, no source)", bullets=checks),
        Section("Review and signature", last),
    ]


#: Sizes that the note has room for.
_SIZES = 3


def _notes(answer: ClientAnswer, say: Say) -> list[str]:
    lines = [
        f"Confirmed although unusual: {doubt}" for doubt in doubt_lines(answer, say=say)
    ]
    if answer.client.stature is not None:
        lines.append(told(answer.client.stature.said(short=True), say))
    if (answer.allowances["used_cm"] != 0).any():
        lines.append(allowance_words(answer, say=say))
    return lines


def _parts(answer: ClientAnswer, decision: Decision, say: Say) -> Table:
    """Return every part: which one it is, what it bears, when it was examined."""
    limits = loads_table(answer, say=say).set_index("Part")["Safe working load"]
    which = {"hoist": decision.hoist, "spreader bar": decision.spreader_bar}
    names = [name for name in limits.index if not name.startswith("sling, size ")]
    size = decision.size or str(answer.first["size"])
    sling = f"sling, size {size}"
    row = answer.sizes[answer.sizes["size"] == size].iloc[0]
    stated = answer.loads.set_index("part")["load_limit_kg"].get(sling, np.nan)
    bears = load_words(stated, say=say)
    examined = decision.examined_on.isoformat() if decision.examined_on else _SHORT
    rows = [(name, which.get(name) or _SHORT, limits[name], examined) for name in names]
    if not decision.size and (answer.to_measure or len(answer.both) != 1):
        # Nothing has named one size: none is written down before its assessor does.
        sling = f"sling, size {_SHORT}"
        bears = "on its label" if np.isfinite(stated) else bears
    if not row["over_load"]:
        rows.append((sling, decision.sling or _SHORT, bears, examined))
    mass = answer.client.known.get("body_mass_kg")
    weighed = "not measured, weigh first"
    if mass is not None:
        weighed = f"{say(mass.value, 'body_mass_kg', to='tenth')}, {mass.how}"
    columns = ["Part", "Which one", "Safe working load", "Examined on"]
    return table(
        pd.DataFrame(rows, columns=columns),
        caption=f"The lowest of all parts counts. Weight: {weighed}.",
    )


def _footer(answer: ClientAnswer) -> str:
    weak = answer.measures[
        answer.measures["measure"].isin(answer.margins["measure"])
        & answer.measures["evidence"].isin(["extrapolated", "unsupported"])
    ]
    words = [
        "Nobody surveyed is known to have had a contracture, amputation, scoliosis or "
        "oedema. Sources: ANSUR II 2012, NHANES 2015-2020, Snyder 1977."
    ]
    if len(weak):
        names = ", ".join(plain(m) for m in weak["measure"])
        words.append(f"Beyond what the surveys hold, so measure if you can: {names}.")
    return " ".join(words)


def page_markdown(page: Page) -> str:
    """Write a page without its pictures as Markdown."""
    lines = [f"# {page.title}", "", page.inputs, ""]
    for words in page.answer.split("\n"):
        lines += [f"**{words}**", ""]
    for section in page.sections:
        lines += [f"## {section.heading}", ""]
        for words in section.words:
            lines += [words, ""]
        for one in section.tables:
            lines += [f"*{one.caption}*", ""] if one.caption else []
            lines.append("| " + " | ".join(c.name for c in one.columns) + " |")
            lines.append("| " + " | ".join("---" for _ in one.columns) + " |")
            lines += [
                "| " + " | ".join(_cell(c) for c in row) + " |" for row in one.rows
            ]
            lines.append("")
        if section.bullets:
            lines += [*(f"- [ ] {text}" for text in section.bullets), ""]
    lines += ["## Before any lift", "", *(f"- {text}" for text in page.cautions), ""]
    text = "\n".join([*lines, page.footer, ""])
    # A size's name may look like a tag or a link; neither is the page's own.
    return text.replace("<", "\\<").replace("](", "\\](")


def page_docx(page: Page) -> bytes:
    """Write a page without its pictures as DOCX: one sheet of A4, in 10 point."""
    try:
        from docx import Document
        from docx.shared import Mm, Pt
    except ImportError:
        raise SizingError(
            "a note ending in .docx needs the package python-docx",
            allowed=".html or .md without it",
            action="install it with: pip install python-docx",
        ) from None
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


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
