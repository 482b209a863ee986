"""The note for the handling plan: one page to print, sign and keep."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sizing.client import ClientAnswer
from sizing.errors import Problem, SizingError, one_of
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, written
from sizing.pages.client_tables import (
    load_words,
    loads_table,
    measures_table,
    sizes_table,
)
from sizing.pages.page import Page, Section, Table, render, table
from sizing.resources import source_table
from sizing.words.client import (
    ABOUT_CHANCES,
    answer_lines,
    capital,
    chance_words,
    opening_lines,
)
from sizing.words.client_notes import allowance_words, doubt_lines, growth_words

REMINDER = (
    "The positions chosen at shoulders and legs set the recline and the distance "
    "between head and spreader bar (common practice, no source)."
)
NOT_FILLED = "........................................"
#: Printed small, so that the note stays on one page.
_COMPACT = """
body { font-size: .9rem; line-height: 1.35; }
h1 { font-size: 1.25rem; } h2 { font-size: .98rem; margin: .8rem 0 .2rem;
  padding-top: .3rem; } p { margin: .25rem 0; } p.answer { font-size: 1rem;
  padding: .4rem .7rem; margin: .5rem 0; } ul { margin: .2rem 0; columns: 2;
  column-gap: 1.6rem; } td.number + td, th.number + th { padding-left: 1rem; }
li { margin: .1rem 0; break-inside: avoid; } td, th { padding: .1rem .5rem .1rem 0; }
.cautions { padding: .1rem .7rem .3rem; margin: .6rem 0; }
@media print { body { font-size: 7.6pt; line-height: 1.25; } h1 { font-size: 12pt; }
  h2 { font-size: 8.6pt; margin: 3pt 0 1pt; padding-top: 2pt; }
  p.answer { font-size: 8.6pt; margin: 3pt 0; } table { font-size: 7.4pt; }
  td, th { padding: 0 4pt 0 0; } .note, footer { font-size: 7pt; }
  footer { margin-top: 3pt; padding-top: 2pt; } p { margin: 1pt 0; }
  li { margin: 0; } ul { margin: 1pt 0; } .cautions { margin: 3pt 0; }
  @page { size: A4; margin: 9mm; } }
"""


@dataclass(frozen=True)
class Decision:
    """What the assessor decided; everything may be left empty and filled by hand.

    Attributes
    ----------
    size : str
        The size chosen, one of the chart's; empty: none yet.
    reason : str
        Why this size.
    shoulders, legs : str
        Attachment positions at shoulders and legs.
    positions_reason : str
        Why these positions.
    review_on : date or None
    reference : str
        A file number of the assessor's own; a name is not needed.
    remarks : str
    """

    size: str = ""
    reason: str = ""
    shoulders: str = ""
    legs: str = ""
    positions_reason: str = ""
    review_on: date | None = None
    reference: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class HandlingNote:
    """A note for the handling plan; nothing is kept unless it is written out.

    Attributes
    ----------
    page : Page
    """

    page: Page

    def html(self) -> str:
        """Return the note as HTML that prints on one sheet of A4."""
        return render(self.page).replace("</style>", f"{_COMPACT}</style>", 1)

    def markdown(self) -> str:
        """Return the note as Markdown."""
        return page_markdown(self.page)

    def as_file(self, ending: str) -> bytes:
        """Return the note as a file's content, by the ending of its name."""
        one_of("ending of the note's name", ending.lower(), [".html", ".md"])
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

    Parameters
    ----------
    answer : ClientAnswer
    decision : Decision, optional
        What the assessor chose. The kit proposes; she decides.
    on : date, optional
        Day of the assessment; left open without it.
    say : callable
        Writes a measure; cm and kg if not given.

    Returns
    -------
    HandlingNote

    Raises
    ------
    SizingError
        If the size chosen is not on the chart, the body mass is over its
        lowest load limit, or the review lies before the assessment.

    Examples
    --------
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
        question="What was measured, which sizes were considered, and what was chosen.",
        inputs="; ".join(word for word in who if word),
        answer=" ".join([*opening_lines(answer, say=say), _proposed(answer, say)]),
        sections=_sections(answer, decision, say),
        limits=_limits(answer),
        sources=_sources(answer),
        footer=(
            f"{ABOUT_CHANCES} {len(answer.bodies.weight):,} draws. Nothing was sent "
            "anywhere."
        ),
    )
    return HandlingNote(page)


def _proposed(answer: ClientAnswer, say: Say) -> str:
    words = " ".join(answer_lines(answer, say=say))
    return words if answer.unjudged else f"The kit proposes: {words}"


def _check(answer: ClientAnswer, decision: Decision, on: date | None, say: Say) -> None:
    if decision.size:
        one_of("size chosen", decision.size, answer.chart.sizes)
        row = answer.sizes[answer.sizes["size"] == decision.size].iloc[0]
        limit = load_words(float(row["load_limit_kg"]), say=say)
        if row["over_load"]:
            raise SizingError(
                str(
                    Problem(
                        f"the body mass is over the lowest load limit with "
                        f"'{decision.size}', {limit}",
                        "a size and parts that bear the body mass",
                        "choose other parts; no note is written for these",
                    )
                )
            )
    if on and decision.review_on and decision.review_on < on:
        raise SizingError(
            str(
                Problem(
                    "the review lies before the assessment",
                    f"a date after {on.isoformat()}",
                    "correct one of them",
                    value=decision.review_on.isoformat(),
                )
            )
        )


def _sections(answer: ClientAnswer, decision: Decision, say: Say) -> list[Section]:
    chosen = decision.size or NOT_FILLED
    words = [
        f"Chosen by the assessor: {chosen}. Why: {decision.reason or NOT_FILLED}",
        f"Attachment at the shoulders: {decision.shoulders or NOT_FILLED} At the legs: "
        f"{decision.legs or NOT_FILLED} Why: {decision.positions_reason or NOT_FILLED}",
        REMINDER,
    ]
    if decision.size and decision.size != answer.first["size"]:
        mine = answer.sizes["size"] == decision.size
        words.insert(
            1,
            f"The size chosen is not the one the kit names first: its own chance of "
            f"fitting: {chance_words(answer.sizes[mine].iloc[0])}.",
        )
    if decision.remarks:
        words.append(f"Remarks: {decision.remarks}")
    review = decision.review_on.isoformat() if decision.review_on else NOT_FILLED
    last = [
        f"Review on: {review} and whenever body mass, posture, tone, skin or the hoist "
        "changes.",
        f"Assessor: {NOT_FILLED} Signature: {NOT_FILLED} Date: {NOT_FILLED}",
    ]
    growth: list[str] = []
    if not answer.nothing_bears:
        growth = [capital(line) for line in growth_words(answer, say=say)]
    checks = list(source_table("lift_checks.csv")["text"])
    return [
        Section(
            "Measured, and how", _notes(answer, say), tables=[_measures(answer, say)]
        ),
        Section("Sizes considered, and why", growth, tables=[_sizes(answer, say)]),
        Section("Chosen", words),
        Section("Load limits", tables=[_loads(answer, say)]),
        Section("Before the lift (common practice, no source)", bullets=checks),
        Section("Review and signature", last),
    ]


def _notes(answer: ClientAnswer, say: Say) -> list[str]:
    doubts = [
        f"Confirmed although unusual: {doubt}" for doubt in doubt_lines(answer, say=say)
    ]
    stature = answer.client.stature
    return doubts + ([stature.summary(say=say)] if stature is not None else [])


def _measures(answer: ClientAnswer, say: Say) -> Table:
    caption = "What was not taken is predicted from what was."
    if answer.client.conditions:
        caption = f"{caption[:-1]}, but for what the condition changes."
    if (answer.allowances["used_cm"] != 0).any():
        caption += f" {allowance_words(answer, say=say)}"
    shown = measures_table(answer, say=say)
    return table(shown, caption=caption, words=["Measure", "How", "Standing"])


def _sizes(answer: ClientAnswer, say: Say) -> Table:
    return table(
        sizes_table(answer, say=say),
        caption="Sizes under 1 % are left out.",
        words=["Size", "Decided by", "Room"],
    )


def _loads(answer: ClientAnswer, say: Say) -> Table:
    mass = answer.client.known.get("body_mass_kg")
    weighed = "not measured, weigh first"
    if mass is not None:
        weighed = f"{say(mass.value, 'body_mass_kg', to='tenth')}, {mass.how}"
    return table(
        loads_table(answer, say=say),
        caption=f"The lowest of all parts counts. Body mass: {weighed}.",
        words=["Part"],
    )


def _limits(answer: ClientAnswer) -> Sequence[str]:
    weak = answer.measures[
        answer.measures["measure"].isin(answer.margins["measure"])
        & answer.measures["evidence"].isin(["extrapolated", "unsupported"])
    ]
    words = [
        "People measured lived at home or were soldiers; nobody is known to have had a "
        "contracture, amputation, scoliosis or oedema, and posture is not in the sum."
    ]
    if len(weak):
        names = ", ".join(plain(m) for m in weak["measure"])
        words.append(f"Beyond what the surveys hold, so measure if you can: {names}.")
    return words


def _sources(answer: ClientAnswer) -> Sequence[str]:
    return [
        "Bodies: ANSUR II 2012, NHANES 2015-2020, Snyder 1977 through the kit's model; "
        "measuring errors: the kit's tables of measures and of ways to measure."
    ]


def page_markdown(page: Page) -> str:
    """Write a page without its pictures as Markdown.

    Examples
    --------
    >>> text = page_markdown(Page("T", "Q?", "A", (), ("limit",), ("source",)))
    >>> text.splitlines()[0]
    '# T'
    """
    lines = [f"# {page.title}", "", page.question, ""]
    if page.inputs:
        lines += [page.inputs, ""]
    lines += [f"**{page.answer}**", ""]
    for section in page.sections:
        lines += [f"## {section.heading}", ""]
        for words in section.words:
            lines += [words, ""]
        for one in section.tables:
            lines += [f"*{one.caption}*", ""]
            lines.append("| " + " | ".join(c.name for c in one.columns) + " |")
            lines.append(
                "| "
                + " | ".join("--:" if c.number else "---" for c in one.columns)
                + " |"
            )
            lines += [
                "| " + " | ".join(_cell(c) for c in row) + " |" for row in one.rows
            ]
            lines.append("")
        if section.bullets:
            lines += [*(f"- [ ] {text}" for text in section.bullets), ""]
    for heading, texts in (
        ("Whom this does not hold for", page.limits),
        ("Before any lift", page.cautions),
        ("Sources", page.sources),
    ):
        lines += [f"## {heading}", "", *(f"- {text}" for text in texts), ""]
    text = "\n".join([*lines, page.footer, ""])
    # A size's name may look like a tag or a link; neither is the page's own.
    return text.replace("<", "\\<").replace("](", "\\](")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
