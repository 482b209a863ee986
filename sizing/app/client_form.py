"""The adviser's page: one client and the note, and beside it a chart of one's own."""

import threading
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import cached_property, partial
from typing import Any

import ipywidgets as w
import pandas as pd
from traitlets import TraitError

from sizing.app import fields
from sizing.app.answer_form import PageForm, boxed
from sizing.app.client_fields import EXAMPLE, NOBODY, ClientFields
from sizing.app.client_kept_form import KeptForm, NoteForm
from sizing.app.form_words import (
    FORM_STYLE,
    bullets,
    folded_html,
    paragraphs,
    picture_html,
    safe,
    status,
    table_html,
    wrong_lines,
)
from sizing.app.own_chart_fields import ChartChoice
from sizing.app.show import save_panel
from sizing.charts import SizeChart, demo_chart
from sizing.client import ClientAnswer, check_client
from sizing.client.visits import Visit, visit_of
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES, Said, Worded, plausible_range, written
from sizing.pages import client_answer as pages
from sizing.pages.where import guide_html
from sizing.resources import cautions, texts
from sizing.words import client as words
from sizing.words import client_notes as notes

_T = texts("client")
_P = texts("problems")


def answer_html(
    answer: ClientAnswer, *, units: str = "metric", invented: bool = False
) -> str:
    """Return the answer in words, its first sentence standing out."""
    say = partial(written, units=units)
    what, sure, now = words.answer_lines(answer, say=say)
    leads = f"<p style='font-size:1.15em'><b>{safe(what)}</b></p>"
    lines = [*notes.weight_lines(answer), *words.not_entered_lines(answer)]
    figures = []
    if not answer.nothing_bears:
        lines = [*notes.borderline_words(answer, say=say), *lines]
        figures = [notes.next_words(answer), notes.play_words(answer)]
    figures += [notes.allowance_words(answer, say=say)]
    figures += words.chart_lines(answer, say=say)
    figures += notes.further_lines(answer, say=say)
    before = words.opening_lines(answer, say=say)
    made_up = [before.pop(0)] if answer.chart.invented else []
    small = " ".join(["Invented client."] * invented + made_up)
    told = paragraphs(before) + leads + paragraphs([sure, now]) + bullets(lines)
    if small:
        told = f"<div style='font-size:.85em'>{paragraphs([small])}</div>{told}"
    return status(told + folded_html("More on this answer", bullets(figures)))


def pictures_html(answer: ClientAnswer, *, units: str = "metric") -> str:
    shown = [*map(picture_html, pages.shown_pictures(answer, units=units))]
    shown += map(table_html, pages.shown_tables(answer, units=units))
    about = [] if answer.nothing_bears else [_T.about_chances]
    return "".join([*shown, paragraphs(about)])


class ClientForm(PageForm):
    """Enter what is known, read the answer, write the note."""

    def __init__(
        self, chart: SizeChart | None = None, *, switch: fields.UnitSwitch | None = None
    ) -> None:
        super().__init__(switch=switch, none=_T.form["check_first"])
        self.chart: SizeChart | None = chart or demo_chart()
        self._asked = self._settling = False
        self.fields = ClientFields(self.switch, self._changed)
        self.note = NoteForm(lambda: self.answer, self.switch)
        self.pattern = fields.PatternField()
        self.about, self.foot = w.HTML(), w.HTML()
        self.foot.add_class("sizing-foot")
        self.confirmed = fields.tick(_T.form["confirmed"])
        self.go = fields.button("Check", self.check)
        example = fields.button("Show an invented client", self.show_example)
        buttons = fields.row(
            self.go, example, fields.button("Empty the form", self.clear)
        )
        self.kept = KeptForm(
            self.note, take=self.visit, fill=self.fill, chart=lambda: self.chart
        )
        # The page that holds this form has the choice of units.
        self.entry = w.VBox(
            [self.kept.view, self.about, self.fields.view, self.confirmed, buttons]
        )
        told = self.answered
        self.answer_view, self.picture_view = told.words, told.pictures
        self.limits_view, self.sources_view = told.limits, told.sources
        fields.on_change(self._stand, told.words)
        told.take_back(_T.form["empty"])
        fields.show_if(False, self.confirmed)
        fields.on_change(self._confirm, self.confirmed)
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
            if self.chart is None:
                raise SizingError(_T.form["chart_wrong"])
            entered = self.fields.visit(date.today(), confirmed=self.confirmed.value)
            self.answer = check_client(self.chart, entered.client, **entered.besides)
        except SizingError as error:
            self._tell(error)
            return
        fields.show_if(self.confirmed.value, self.confirmed)
        self.show(self.answer)

    def clear(self) -> None:
        self.fields.fill(NOBODY)
        self._asked = False
        self._settle(False)
        fields.show_if(False, self.confirmed)
        self.note.clear()
        self.kept.clear()
        self._take_back(_T.form["empty"])

    def show_example(self) -> None:
        self.kept.clear()
        self.fill(EXAMPLE)

    def fill(self, visit: Visit) -> None:
        """Put a visit into the form, and check it if anything was read."""
        self.fields.fill(visit)
        self._settle(visit.confirmed)
        self.note.fill(visit.decision)
        with suppress(TraitError):
            self.pattern.choose(visit.pattern)
        if visit.client.readings:
            self.check()
        else:
            self._asked = False
            self._take_back(_T.form["empty"])

    def visit(self) -> Visit:
        if self.answer is None:
            raise SizingError(_T.form["check_first"])
        on = self.note.day.value or date.today()
        entered = self.fields.visit(on, confirmed=self.confirmed.value)
        return replace(
            visit_of(self.answer.client, on),
            **entered.besides,
            knee_equation=entered.knee_equation,
            chart=self.answer.chart.name,
            pattern=self.pattern.pattern or "",
            decision=self.note.decision(),
        )

    def saved(self, answer: ClientAnswer) -> dict[str, Any]:
        drawn = pages.drawn_answer(answer, units=self.switch.units)
        guide = guide_html(say=partial(written, units=self.switch.units))
        made = {"handling_note": self.note.make().html(), "measuring_guide": guide}
        return {**pages.figures_of(answer), **drawn, **made}

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
        told, form, answer = [], _T.form, self.answer
        if answer is not None:
            say = partial(written, units=self.switch.units)
            opening = words.opening_lines(answer)
            told = [form["made_up"]] if answer.chart.invented else []
            told += [form["read_first"]] if opening[len(told) :] else []
            told.append(words.answer_lines(answer, say=say)[0])
        elif self._asked:
            told = [form["no_answer"]]
        link = f'<a href="#answer">{form["to_answer"]}</a>'
        self.foot.value = f"{link} {safe(' '.join(told))}" if told else ""

    def _changed(self) -> None:
        """Follow an entry; what was confirmed was confirmed of the others."""
        self._settle(False)
        if self._asked:
            self.check()

    def _settle(self, confirmed: bool) -> None:
        self._settling, self.confirmed.value = True, confirmed
        self._settling = False

    def _confirm(self) -> None:
        if self._asked and not self._settling:
            self.check()

    def _take_back(self, told: str) -> None:
        self.answer = None
        self.note.forget()
        self.answered.take_back(told)

    def _tell(self, error: SizingError) -> None:
        if isinstance(error, InputProblems):
            error = InputProblems([self._hinted(one) for one in error.problems])
            unusual = any("confirmed" in one.action for one in error.problems)
            fields.show_if(self.confirmed.value or unusual, self.confirmed)
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


CLIENT, CHART = "client", "chart"
#: The parts of the page that either half has its own of.
_PARTS = ("answer", "picture", "limits", "sources")


class AdviserPage:
    """Both halves of the page; the half on a chart is made when it is opened."""

    def __init__(self, people: str = "walking_difficulty", *, draws: int = 5) -> None:
        self._people, self._draws = people, draws
        self.switch = fields.UnitSwitch()
        self.client = ClientForm(switch=self.switch)
        self.half = w.ToggleButtons(
            options=[("One client", CLIENT), ("A chart of my own", CHART)],
            description="What for",
        )
        self.pattern = self.client.pattern
        self.choice = ChartChoice(self._use_chart)
        self.client.kept.choose = self.choice.choose
        self.client.note.pattern = lambda: self.pattern.pattern
        self.pattern.on_change(self.client.note.forget)
        self.entry, self.answer, self.picture = boxed(), boxed(), boxed()
        self.keep, self.limits, self.sources = boxed(), boxed(), boxed()
        self.cautions = w.HTML(bullets(cautions()))
        self._top = (w.HTML(FORM_STYLE), self.switch.view, self.half, self.pattern.view)
        self._panels = {
            CLIENT: [self.client.note.view, save_panel(lambda: self.client.results())],
            CHART: [save_panel(lambda: self.chart.results())],
        }
        self.half.observe(lambda _: self._turn(), "value")
        self._turn()

    @cached_property
    def chart(self) -> Any:
        from sizing.app.own_chart_form import OwnChartForm

        made = OwnChartForm(
            self._people,
            switch=self.switch,
            draws=self._draws,
            pattern=self.client.note.pattern,
        )
        self.pattern.on_change(made.compared)
        made.listeners.append(self.choice.offer)
        return made

    def _use_chart(self, chart: SizeChart | None) -> None:
        self.client.use_chart(chart)
        self.pattern.use_chart(chart.measures if chart is not None else ())

    def get_ready(self) -> None:
        """Load the body model while she reads the form, so that Check is quick."""
        known = {"sex": "female", "age_years": 74}
        threading.Thread(
            target=check_client, args=(demo_chart(), known), daemon=True
        ).start()

    def _turn(self) -> None:
        half = str(self.half.value)
        form = self.client if half == CLIENT else self.chart
        for part in _PARTS:
            getattr(self, part).children = [getattr(form, f"{part}_view")]
        one = half == CLIENT
        chosen, foot = ([self.choice.view], [form.foot]) if one else ([], [])
        self.choice.refresh()
        self.entry.children = (*self._top, *chosen, form.entry, *foot)
        self.keep.children = self._panels[half]
