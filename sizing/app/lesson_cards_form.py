"""What goes into a lesson: whom, by which chart; and its practice cards, one by one."""

from html import escape
from typing import Any

import ipywidgets as w
import numpy as np

from sizing.app import fields
from sizing.app.fields import Told, button, number, on_change, row
from sizing.app.form_words import heading, paragraphs, safe, table_html, wide_table
from sizing.app.show import save_panel
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import SizingError
from sizing.lesson.answers import NO_SIZE
from sizing.lesson.choosing import CHOICE_WORDS, WRONG_MEANS, outcome_of_choice
from sizing.lesson.practice import Practice, practice_clients
from sizing.measures.tables import CHART
from sizing.pages import lesson as pages
from sizing.people import People, load_people
from sizing.resources import texts

_T = texts("lesson")
_ANSWER = (
    "font-size: 1.25em; line-height: 1.45; padding: .6rem .8rem; max-width: 60rem; "
    "color: #1f2328; background: #f5f6f7; border-left: .3rem solid #1f2328"
)


def answer_html(words: str) -> str:
    return f'<p role="status" style="{_ANSWER}">{safe(words)}</p>'


class LessonSettings(fields.Heard):
    def __init__(self, population: str = "adults", *, draws: int = 5) -> None:
        super().__init__()
        self.draws = draws
        self._people: dict[tuple[str, int], People] = {}
        self.population = fields.people_choice(population, **fields.wide("26rem"))
        self.seed_box = number("Number of the draw", 1, 9999, width="15rem")
        help_ = _T.page["chart_help"]
        self.upload = fields.UploadBox("Your size chart", help=help_, table=CHART)
        self.units = fields.UnitSwitch()
        self.told, self.pattern = Told(), fields.PatternField()
        self.pattern.box.style.description_width = "initial"
        on_change(self.tell, self.population, self.seed_box)
        self.upload.on_change(self._take)
        same = w.HTML(paragraphs([_T.page["same"]]))
        more = fields.folded(_T.page["more"], self.upload.view, self.seed_box, same)
        first = row(self.population, self.units.view)
        self.view = w.VBox([first, self.pattern.view, self.told, more])
        self._take()

    @property
    def chart(self) -> SizeChart:
        if isinstance(self._read, SizingError):
            raise self._read
        return self._read

    @property
    def seed(self) -> int:
        return int(self.seed_box.value)

    def people(self) -> People:
        key = str(self.population.value), self.seed
        if key not in self._people:
            found = load_people(key[0], draws=self.draws, seed=key[1])
            self._people = {key: found}
        return self._people[key]

    def _take(self) -> None:
        self._read: SizeChart | SizingError
        try:
            given = self.upload.read(lambda path: read_chart(path, warn=False))
            chart = self._read = given or demo_chart()
        except SizingError as error:
            self._read = error
            self.told.wrong(error)
        else:
            self.pattern.use_chart(chart.measures)
            about = {"chart": chart.name, "sizes": len(chart.sizes)}
            self.told.value = paragraphs([_T.page["chart_in_use"].format(**about)])
        self.tell()


class CardsForm:
    """Cards one by one, from easy to hard; ``place`` is the one shown, from 0."""

    def __init__(self, settings: LessonSettings) -> None:
        self._settings = settings
        self.practice: Practice | None = None
        self.number = number("How many clients", 12, 60, width="15rem")
        self.card, self.answer, self.score = Told(), w.HTML(), w.HTML()
        self.size = w.ToggleButtons(options=[NO_SIZE], value=None, description="Size")
        self.size.style.button_width = "auto"
        on_change(self.deal, self.number)
        # Another size, another answer: what was said of the one before goes.
        on_change(lambda: setattr(self.answer, "value", ""), self.size)
        turns = (
            button("Show the answer", self.show),
            button("Client before", lambda: self._turn(-1)),
            button("Next client", lambda: self._turn(1)),
        )
        to_print = w.HTML(paragraphs([_T.page["to_print"]]))
        first = row(self.number, button("Deal the cards", self.deal))
        shown = self.card, self.size, row(*turns), self.answer, self.score
        self.view = w.VBox([first, *shown, to_print, save_panel(self.results)])
        self.forget()

    def deal(self) -> None:
        self.forget()
        own = self._settings
        with self.card.wrong_is_told():
            seed, units, n = own.seed, own.units.units, int(self.number.value)
            given = own.people(), own.chart
            self.practice = practice_clients(*given, n=n, seed=seed, units=units)
            self.size.options = [*own.chart.sizes, NO_SIZE]
            self._turn(0)

    def forget(self) -> None:
        self.practice, self.place, self._right = None, 0, dict[int, bool]()
        self.card.value = self.answer.value = self.score.value = ""

    def show(self) -> None:
        """Show what fits the card, and how far the chosen size is from it."""
        if self.practice is None or self.size.value is None:
            first = "deal_first" if self.practice is None else "choose_first"
            self.answer.value = paragraphs([_T.page[first]])
            return
        chart, units = self._settings.chart, self._settings.units.units
        answer = self.practice.answers.iloc[self.place]
        chosen, fits = str(self.size.value), str(answer["right"])
        code = -1 if chosen == NO_SIZE else chart.sizes.index(chosen)
        good = np.array([[bool(answer[f"fits {size}"]) for size in chart.sizes]])
        outcome = str(outcome_of_choice(np.array([code]), good)[0])
        right = outcome in ("fitting", "rightly_none")
        self._right.setdefault(self.place, right)
        told = "no size fits" if fits == NO_SIZE else f"what fits is {fits}"
        words = _T.page["right" if right else "not_right"]
        shown = answer_html(words.format(came=CHOICE_WORDS[outcome], fits=told))
        if outcome in WRONG_MEANS:
            shown += paragraphs([*pages.wrong_words(outcome), _T.page["no_source"]])
        card = self.practice.cards.iloc[self.place]
        for size in dict.fromkeys([chosen, *fits.split(" or ")]):
            if size != NO_SIZE:
                shown += table_html(pages.margins_table(card, chart, size, units))
        self.answer.value = shown
        count = {"right": sum(self._right.values()), "n": len(self._right)}
        self.score.value = paragraphs([_T.page["score"].format(**count)])

    def results(self) -> dict[str, Any]:
        if self.practice is None:
            raise SizingError(_T.page["no_cards"])
        made, chart, units = self.practice, self._settings.chart, self._settings.units
        given, pattern = (made, chart, units.units), self._settings.pattern.pattern
        return {
            "practice_cards": pages.cards_html(*given, pattern),
            "practice_answers": pages.answers_html(*given),
            "practice_clients": made.cards.merge(made.answers, on="card"),
        }

    def _turn(self, by: int) -> None:
        if self.practice is None:
            self.deal()
            return
        cards = pages.cards_shown(self.practice, self._settings.units.units)
        self.place = (self.place + by) % len(cards)
        self.size.value, self.answer.value = None, ""
        card = cards[self.place]
        look: Any = {"numbers": (False, True), "style": "font-size: 1.2em"}
        shown = wide_table(card["rows"], label=card["name"], caption=False, **look)
        name = f"{card['name']} of {len(cards)}"
        hard = escape(_T.hard[card["difficulty"]])
        self.card.value = f"{heading(name)}<p>{hard}</p>{shown}"
