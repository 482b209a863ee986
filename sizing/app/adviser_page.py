"""The adviser's page: one client, and beside it a chart of her own."""

import threading
from collections.abc import Callable
from functools import cached_property
from typing import Any

import ipywidgets as w

from sizing.app.client_form import ClientForm
from sizing.app.form_style import FORM_STYLE
from sizing.app.form_words import bullets
from sizing.app.pattern_field import PatternField
from sizing.app.units import UnitSwitch
from sizing.cautions import cautions
from sizing.charts import SizeChart, demo_chart
from sizing.client import check_client

CLIENT, CHART = "client", "chart"


class AdviserPage:
    """Both halves of the page, part by part, in the order every page keeps.

    The half on a chart is made when it is first opened, so that the form for a
    client is there at once.

    Attributes
    ----------
    entry, answer, picture, keep, limits, cautions, sources : Widget
        The parts.
    """

    def __init__(self, people: str = "walking_difficulty", *, draws: int = 5) -> None:
        self._people, self._draws = people, draws
        self.switch = UnitSwitch()
        self.client = ClientForm(switch=self.switch)
        self.half = w.ToggleButtons(
            options=[("One client", CLIENT), ("A chart of my own", CHART)],
            description="What for",
        )
        self.pattern = PatternField()
        self.pattern.use_chart(demo_chart().measures)
        self._turns: list[Callable[[], None]] = []
        self.half.observe(lambda _: self._turn(), "value")
        top = (w.HTML(FORM_STYLE), self.switch.view, self.half, self.pattern.view)
        self.entry = self._part("entry", top=top)

    @cached_property
    def chart(self) -> Any:
        """The half on a chart, made when it is first asked for."""
        from sizing.app.own_chart_form import OwnChartForm

        made = OwnChartForm(self._people, switch=self.switch, draws=self._draws)
        made.listeners += [self.client.use_chart, self._use_chart]
        return made

    @cached_property
    def answer(self) -> w.Widget:
        """The answer in words."""
        return self._part("answer_view")

    @cached_property
    def picture(self) -> w.Widget:
        """Pictures and tables."""
        return self._part("picture_view")

    @cached_property
    def keep(self) -> w.Widget:
        """The note for the handling plan, and what can be saved."""
        # What draws takes a second to load; the form is there before.
        from sizing.app.show import save_panel

        panels = {
            CLIENT: save_panel(lambda: self.client.results()),
            CHART: save_panel(lambda: self.chart.results()),
        }
        return self._part("", made=lambda half: self._kept(half, panels))

    @cached_property
    def limits(self) -> w.Widget:
        """Whom the answer does not hold for."""
        return self._part("limits_view")

    @cached_property
    def cautions(self) -> w.Widget:
        """What comes first, whatever this page says."""
        return w.HTML(bullets(cautions()))

    @cached_property
    def sources(self) -> w.Widget:
        """Where the figures come from."""
        return self._part("sources_view")

    def _use_chart(self, chart: SizeChart | None) -> None:
        self.pattern.use_chart(chart.measures if chart is not None else ())

    def get_ready(self) -> None:
        """Load the body model while she reads the form, so that Check is quick."""
        known = {"sex": "female", "age_years": 74}
        threading.Thread(
            target=check_client, args=(demo_chart(), known), daemon=True
        ).start()

    def _kept(self, half: str, panels: dict[str, w.Widget]) -> w.Widget:
        note = [self.client.note.view] if half == CLIENT else []
        return w.VBox([*note, panels[half]])

    def _part(
        self,
        name: str,
        *,
        top: tuple[w.Widget, ...] = (),
        made: Callable[[str], w.Widget] | None = None,
    ) -> w.VBox:
        """Return a box that shows the same part of whichever half is open."""
        box = w.VBox()
        box.add_class("sizing-form")

        def turn() -> None:
            half = str(self.half.value)
            if made is not None:
                box.children = (*top, made(half))
                return
            form = self.client if half == CLIENT else self.chart
            box.children = (*top, getattr(form, name))

        self._turns.append(turn)
        turn()
        return box

    def _turn(self) -> None:
        for turn in self._turns:
            turn()
