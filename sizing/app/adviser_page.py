"""The adviser's page: one client, and beside it a chart of the adviser's own."""

import threading
from functools import cached_property
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import boxed
from sizing.app.client_form import ClientForm
from sizing.app.entry import UnitSwitch
from sizing.app.form_words import FORM_STYLE, bullets
from sizing.app.own_chart_fields import ChartChoice
from sizing.app.show import save_panel
from sizing.charts import SizeChart, demo_chart
from sizing.client import check_client
from sizing.resources import cautions

CLIENT, CHART = "client", "chart"
#: The parts of the page that either half has its own of.
_PARTS = ("answer", "picture", "limits", "sources")


class AdviserPage:
    """Both halves of the page, part by part, in the order every page keeps.

    The half on a chart is made when it is opened: the form for a client is there first.
    """

    def __init__(self, people: str = "walking_difficulty", *, draws: int = 5) -> None:
        self._people, self._draws = people, draws
        self.switch = UnitSwitch()
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
