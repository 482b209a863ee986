"""The notebook's form for one client, and the note that comes of it."""

from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import ipywidgets as w
import pandas as pd
from traitlets import TraitError

from sizing.app.answer_form import PageForm
from sizing.app.client_fields import EXAMPLE, NOBODY, ClientFields
from sizing.app.client_kept_form import KeptForm
from sizing.app.client_note_form import NoteForm
from sizing.app.entry import UnitSwitch
from sizing.app.fields import PatternField, button, row, tick
from sizing.app.form_words import (
    bullets,
    paragraphs,
    picture_html,
    safe,
    status,
    table_html,
    wrong_lines,
)
from sizing.charts import SizeChart, demo_chart
from sizing.client import ClientAnswer, check_client, client_from
from sizing.client.visits import Visit, visit_of
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES, Said, Worded, plausible_range, written
from sizing.pages.client_answer import (
    drawn_answer,
    figures_of,
    shown_pictures,
    shown_tables,
)
from sizing.pages.where import guide_html
from sizing.resources import texts
from sizing.words.client import (
    answer_lines,
    chart_lines,
    not_entered_lines,
    opening_lines,
)
from sizing.words.client_notes import (
    allowance_words,
    borderline_words,
    further_lines,
    next_words,
    play_words,
    weight_lines,
)

_T = texts("client")
_P = texts("problems")


def answer_html(
    answer: ClientAnswer, *, units: str = "metric", invented: bool = False
) -> str:
    """Return the answer in words, its first sentence standing out."""
    say = partial(written, units=units)
    what, sure, now = answer_lines(answer, say=say)
    leads = f"<p style='font-size:1.15em'><b>{safe(what)}</b></p>"
    lines, figures = [*weight_lines(answer), *not_entered_lines(answer)], []
    if not answer.nothing_bears:
        lines = [*borderline_words(answer, say=say), *lines]
        figures = [next_words(answer), play_words(answer)]
    figures.append(allowance_words(answer, say=say))
    figures += [*chart_lines(answer, say=say), *further_lines(answer, say=say)]
    before = opening_lines(answer, say=say)
    made_up = [before.pop(0)] if answer.chart.invented else []
    small = " ".join(["Invented client."] * invented + made_up)
    folded = f"<details><summary>More on this answer</summary>{bullets(figures)}"
    words = paragraphs(before) + leads + paragraphs([sure, now]) + bullets(lines)
    if small:
        words = f"<div style='font-size:.85em'>{paragraphs([small])}</div>{words}"
    return status(f"{words}{folded}</details>")


def pictures_html(answer: ClientAnswer, *, units: str = "metric") -> str:
    shown = [picture_html(one) for one in shown_pictures(answer, units=units)]
    shown += [table_html(one) for one in shown_tables(answer, units=units)]
    about = [] if answer.nothing_bears else [_T.about_chances]
    return "".join([*shown, paragraphs(about)])


class ClientForm(PageForm):
    """A form: enter what is known, read the answer, write the note.

    Once it has been asked for, the answer follows every entry; what no longer
    holds is never left standing.
    """

    def __init__(
        self, chart: SizeChart | None = None, *, switch: UnitSwitch | None = None
    ) -> None:
        super().__init__(switch=switch, none=_T.form["check_first"])
        self.chart: SizeChart | None = chart or demo_chart()
        self._asked = self._settling = False
        self.fields = ClientFields(self.switch, self._changed)
        self.note = NoteForm(lambda: self.answer, self.switch)
        self.pattern = PatternField()
        self.about, self.foot = w.HTML(), w.HTML()
        self.foot.add_class("sizing-foot")
        self.confirmed = tick(_T.form["confirmed"])
        self.go = button("Check", self.check)
        self.example = button("Show an invented client", self.show_example)
        self.empty = button("Empty the form", self.clear)
        buttons = row(self.go, self.example, self.empty)
        self.kept = KeptForm(
            self.switch,
            self.note.texts["reference"],
            self.note.dates["on"],
            take=self.visit,
            fill=self.fill,
            chart=lambda: self.chart,
        )
        # The page that holds this form has the choice of units.
        self.entry = w.VBox(
            [self.kept.view, self.about, self.fields.view, self.confirmed, buttons]
        )
        told = self.answered
        self.answer_view, self.picture_view = told.words, told.pictures
        self.limits_view, self.sources_view = told.limits, told.sources
        told.words.observe(lambda _: self._stand(), "value")
        told.take_back(_T.form["empty"])
        self._offer(False)
        self.confirmed.observe(lambda _: self._confirm(), "value")
        self.use_chart(self.chart)

    def use_chart(self, chart: SizeChart | None) -> None:
        self.chart = chart
        if self._asked:
            self._take_back(_T.form["chart_changed"])
            self._asked = False
        if chart is None:
            self.about.value = paragraphs([_T.form["chart_wrong"]])
            return
        self.note.use_chart(chart)
        self.kept.follow()
        name, how = safe(chart.name), _T.form["leave_empty"]
        self.about.value = f"<p>Chart in use: <b>{name}</b>. {how}</p>"

    def check(self) -> None:
        self._asked = True
        self._take_back("")
        try:
            self.answer = self._checked()
        except SizingError as error:
            self._tell(error)
            return
        self._offer(self.confirmed.value)
        self.show(self.answer)

    def clear(self) -> None:
        self.fields.fill(NOBODY)
        self._asked = False
        self._unconfirm()
        self._offer(False)
        self.note.clear()
        self.kept.clear()
        self._take_back(_T.form["empty"])

    def show_example(self) -> None:
        self.kept.clear()
        self.fill(EXAMPLE)

    def fill(self, visit: Visit) -> None:
        """Put a visit into the form, and check it if anything was read."""
        self.fields.fill(visit)
        self._settling, self.confirmed.value = True, visit.confirmed
        self._settling = False
        self.note.fill(visit.decision)
        with suppress(TraitError):
            self.pattern.box.value = visit.pattern or self.pattern.box.options[0]
        if visit.client.readings:
            self.check()
        else:
            self._asked = False
            self._take_back(_T.form["empty"])

    def visit(self) -> Visit:
        if self.answer is None:
            raise SizingError(_T.form["check_first"])
        return replace(
            visit_of(self.answer.client, self.note.dates["on"].value or date.today()),
            loads=self.fields.load_limits(),
            allowances=self.fields.allowed(),
            knee_equation=self.fields.knee.value,
            confirmed=self.confirmed.value,
            chart=self.answer.chart.name,
            pattern=self.pattern.pattern or "",
            decision=self.note.decision(),
        )

    def saved(self, answer: ClientAnswer) -> dict[str, Any]:
        drawn = drawn_answer(answer, units=self.switch.units)
        guide = guide_html(say=partial(written, units=self.switch.units))
        pages = {"handling_note": self.note.make().html(), "measuring_guide": guide}
        return {**figures_of(answer), **drawn, **pages}

    def show(self, answer: ClientAnswer) -> None:
        units, told = self.switch.units, self.answered
        invented = self.fields.shows(EXAMPLE)
        # No picture of what was stands beside words of what is.
        told.pictures.value = ""
        told.words.value = answer_html(answer, units=units, invented=invented)
        told.limits.value = bullets(answer.limits)
        told.sources.value = bullets(answer.sources)
        told.pictures.value = pictures_html(answer, units=units)

    def show_again(self) -> None:
        if self.answer is None:
            if self._asked:
                self.check()
            return
        super().show_again()
        noted = self.note.note is not None
        self.note.forget()
        if noted:
            self.note.show()

    def _stand(self) -> None:
        """Say at the foot of a narrow screen what the answer begins with."""
        told, words, answer = [], _T.form, self.answer
        if answer is not None:
            say = partial(written, units=self.switch.units)
            told = [words["made_up"]] if answer.chart.invented else []
            told += [words["read_first"]] if opening_lines(answer)[len(told) :] else []
            told.append(answer_lines(answer, say=say)[0])
        elif self._asked:
            told = [words["no_answer"]]
        link = f'<a href="#answer">{words["to_answer"]}</a>'
        self.foot.value = f"{link} {safe(' '.join(told))}" if told else ""

    def _changed(self) -> None:
        """Follow an entry; what was confirmed was confirmed of the others."""
        self._unconfirm()
        if self._asked:
            self.check()

    def _unconfirm(self) -> None:
        self._settling, self.confirmed.value, self._settling = True, False, False

    def _confirm(self) -> None:
        if self._asked and not self._settling:
            self.check()

    def _offer(self, yes: bool) -> None:
        """Show the box by which an unusual entry is confirmed, or hide it."""
        self.confirmed.layout.display = None if yes else "none"

    def _take_back(self, words: str) -> None:
        self.answer = None
        self.note.forget()
        self.answered.take_back(words)

    def _checked(self) -> ClientAnswer:
        if self.chart is None:
            raise SizingError(_T.form["chart_wrong"])
        told, how = self.fields.entries()
        client = client_from(
            told,
            how=how,
            knee_equation=self.fields.knee.value,
            confirmed=self.confirmed.value,
            conditions=self.fields.stated(),
        )
        return check_client(
            self.chart,
            client,
            loads=self.fields.load_limits(),
            allowances=self.fields.allowed(),
            confirmed=self.confirmed.value,
        )

    def _tell(self, error: SizingError) -> None:
        if isinstance(error, InputProblems):
            error = InputProblems([self._hinted(one) for one in error.problems])
            self._offer(
                self.confirmed.value
                or any("confirmed" in one.action for one in error.problems)
            )
        lines = wrong_lines(error, units=self.switch.units, typed=self.fields.typed())
        lead = f"<p><b>{_T.form['before']}</b></p>"
        self.answer_view.value = status(lead + bullets(lines))

    def _hinted(self, one: Problem) -> Problem:
        """Say so if a number typed in inches or pounds makes sense in cm or kg."""
        name = str(one.column)
        if self.switch.units == "metric" or name not in MEASURES:
            return one
        typed = self.fields.values[name].box.value.strip()
        number = pd.to_numeric(typed, errors="coerce")
        low, high = plausible_range(name)
        if not low <= number <= high:
            return one
        unit = name.rsplit("_", 1)[1]
        how = Said(_T.form["write_unit"], unit=unit, confirm=Worded(**_P.confirm))
        return Problem(_T.form["other_unit"].format(unit=unit), action=how, column=name)
