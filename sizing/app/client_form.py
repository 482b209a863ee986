"""The notebook's form for one client, and the note that comes of it."""

from html import escape
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_parts import AnswerParts
from sizing.app.client_fields import EXAMPLE, NOBODY, ClientFields, in_a_row
from sizing.app.client_note_form import NoteForm
from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart, demo_chart
from sizing.client import ClientAnswer, check_client, client_from
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES, plausible_range

_EMPTY = "Enter what is known of your client, then press Check."
_CHART_WRONG = "The chart has problems: put it right before you check a client."


class ClientForm:
    """A form: enter what is known, read the answer, write the note.

    Once it has been asked for, the answer follows every entry; what no longer
    holds is never left standing.

    Attributes
    ----------
    entry, answer_view, picture_view, limits_view, sources_view : Widget
        Parts of the page, in its order.
    answer : ClientAnswer or None
        The last answer, None where it no longer holds.
    """

    def __init__(
        self, chart: SizeChart | None = None, *, switch: UnitSwitch | None = None
    ) -> None:
        self.chart: SizeChart | None = chart or demo_chart()
        self.switch = switch or UnitSwitch()
        self.answer: ClientAnswer | None = None
        self._asked = self._settling = False
        self.fields = ClientFields(self.switch, self._changed)
        self.note = NoteForm(lambda: self.answer, self.switch)
        self.about = w.HTML()
        self.confirmed = w.Checkbox(
            description="I measured again what looks wrong; it is right",
            layout=w.Layout(width="auto", display="none"),
            indent=False,
        )
        automatic = w.Layout(width="auto")
        self.go = w.Button(description="Check", layout=automatic)
        self.example = w.Button(description="Show an invented client", layout=automatic)
        self.empty = w.Button(description="Empty the form", layout=automatic)
        buttons = in_a_row(self.go, self.example, self.empty)
        self.entry = w.VBox([self.about, self.fields.view, self.confirmed, buttons])
        self.answered = AnswerParts()
        self.answered.take_back(_EMPTY)
        self.answer_view, self.picture_view = (
            self.answered.words,
            self.answered.pictures,
        )
        self.limits_view, self.sources_view = (
            self.answered.limits,
            self.answered.sources,
        )
        self.go.on_click(lambda _: self.check())
        self.example.on_click(lambda _: self.show_example())
        self.empty.on_click(lambda _: self.clear())
        self.confirmed.observe(lambda _: self._confirm(), "value")
        self.switch.on_change(lambda _: self._in_other_units())
        self.use_chart(self.chart)

    def use_chart(self, chart: SizeChart | None) -> None:
        """Check clients against this chart from now on; None: it has problems."""
        self.chart = chart
        if self._asked:
            self._take_back("The chart was changed: press Check again.")
            self._asked = False
        if chart is None:
            self.about.value = paragraphs([_CHART_WRONG])
            return
        self.note.use_chart(chart)
        self.about.value = (
            f"<p>Chart in use: <b>{escape(chart.name)}</b>. Leave empty what is not "
            "known. A name is not needed; nothing is kept or sent.</p>"
        )

    def check(self) -> None:
        """Check the client, or say what looks wrong before naming any size."""
        self._asked = True
        self._take_back("")
        try:
            self.answer = self._checked()
        except SizingError as error:
            self._tell(error)
            return
        self._offer(self.confirmed.value)
        self._show()

    def clear(self) -> None:
        """Empty the form for the next client."""
        self.fields.fill(NOBODY)
        self._asked = False
        self._unconfirm()
        self._offer(False)
        self.note.clear()
        self._take_back(_EMPTY)

    def show_example(self) -> None:
        """Fill in the invented client and check her."""
        self.fields.fill(EXAMPLE)
        self._unconfirm()
        self.note.clear()
        self.check()

    def results(self) -> dict[str, Any]:
        """Return what can be saved: tables, pictures, the note."""
        # Drawing takes a second to load; the form is there before.
        from sizing.app.client_page import axes_of, tables_of

        if self.answer is None:
            raise SizingError("Check the client first.")
        note = {"handling_note": self.note.make().html()}
        drawn = axes_of(self.answer, units=self.switch.units)
        return {**tables_of(self.answer), **drawn, **note}

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

    def _in_other_units(self) -> None:
        """Say the same in other units."""
        if self.answer is not None:
            noted = self.note.note is not None
            self._show()
            self.note.forget()
            if noted:
                self.note.show()
        elif self._asked:
            self.check()

    def _take_back(self, words: str) -> None:
        """Let nothing stand that what was entered, or the chart, no longer gives."""
        self.answer = None
        self.note.forget()
        self.answered.take_back(words)

    def _checked(self) -> ClientAnswer:
        if self.chart is None:
            raise SizingError(_CHART_WRONG)
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

    def _show(self) -> None:
        # Drawing takes a second to load; the form is there before.
        from sizing.app.client_page import answer_html, pictures_html

        answer = self.answer
        if answer is None:
            return
        units = self.switch.units
        invented = self.fields.shows(EXAMPLE)
        # The words go to the page before the pictures are drawn, and no picture of
        # what was stands beside words of what is.
        self.picture_view.value = ""
        self.answer_view.value = answer_html(answer, units=units, invented=invented)
        self.limits_view.value = bullets(answer.limits)
        self.sources_view.value = bullets(answer.sources)
        self.picture_view.value = pictures_html(answer, units=units)

    def _tell(self, error: SizingError) -> None:
        if isinstance(error, InputProblems):
            error = InputProblems([self._hinted(one) for one in error.problems])
            self._offer(
                self.confirmed.value
                or any("confirmed" in one.action for one in error.problems)
            )
        lines = wrong_lines(error, units=self.switch.units, typed=self.fields.typed())
        self.answer_view.value = status(
            "<p><b>Before any size is named:</b></p>" + bullets(lines)
        )

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
        return Problem(
            f"this makes sense in {unit}, but it was read in inches, pounds or stone",
            action=f"write {unit} behind the number, or change the units above; if "
            "it is right, measure again and say that it is confirmed",
            column=name,
        )
