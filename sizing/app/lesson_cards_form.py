"""Practice clients on the screen: one by one, choose a size, see the margin."""

from html import escape
from typing import Any

import ipywidgets as w
import numpy as np

from sizing.app.fields import button, number, row
from sizing.app.form_words import heading, paragraphs, table_html, wide_table
from sizing.app.lesson_settings import LessonSettings, answer_html, wrong_html
from sizing.app.show import save_panel
from sizing.errors import SizingError
from sizing.lesson.answers import NO_SIZE
from sizing.lesson.choosing import CHOICE_WORDS, WRONG_MEANS, outcome_of_choice
from sizing.lesson.practice import Practice, practice_clients
from sizing.pages.lesson import (
    answers_html,
    cards_html,
    cards_shown,
    margins_table,
    wrong_words,
)
from sizing.resources import texts

_T = texts("lesson")


class CardsForm:
    """Cards one by one, from easy to hard; ``place`` is the one shown, from 0."""

    def __init__(self, settings: LessonSettings) -> None:
        self._settings = settings
        self.practice: Practice | None = None
        self.place = 0
        self._right: dict[int, bool] = {}
        self.number = number("How many clients", 12, 60, width="15rem")
        self.card, self.answer, self.score = w.HTML(), w.HTML(), w.HTML()
        self.size = w.ToggleButtons(options=[NO_SIZE], value=None, description="Size")
        self.size.style.button_width = "auto"
        self.number.observe(lambda _: self.deal(), "value")
        # Another size, another answer: what was said of the one before goes.
        self.size.observe(lambda _: setattr(self.answer, "value", ""), "value")
        self.view = w.VBox(
            [
                row(self.number, button("Deal the cards", self.deal)),
                self.card,
                self.size,
                row(
                    button("Show the answer", self.show),
                    button("Client before", lambda: self._turn(-1)),
                    button("Next client", lambda: self._turn(1)),
                ),
                self.answer,
                self.score,
                w.HTML(paragraphs([_T.page["to_print"]])),
                save_panel(self.results),
            ]
        )

    def deal(self) -> None:
        self.forget()
        try:
            chart = self._settings.chart
            self.practice = practice_clients(
                self._settings.people(),
                chart,
                n=int(self.number.value),
                seed=self._settings.seed,
                units=self._settings.units.units,
            )
        except SizingError as error:
            self.card.value = wrong_html(error)
            return
        self.size.options = [*chart.sizes, NO_SIZE]
        self._turn(0)

    def forget(self) -> None:
        self.practice, self.place, self._right = None, 0, {}
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
            shown += paragraphs([*wrong_words(outcome), _T.page["no_source"]])
        card = self.practice.cards.iloc[self.place]
        for size in dict.fromkeys([chosen, *fits.split(" or ")]):
            if size != NO_SIZE:
                shown += table_html(margins_table(card, chart, size, units))
        self.answer.value = shown
        count = {"right": sum(self._right.values()), "n": len(self._right)}
        self.score.value = paragraphs([_T.page["score"].format(**count)])

    def results(self) -> dict[str, Any]:
        if self.practice is None:
            raise SizingError(_T.page["no_cards"])
        own, made = self._settings, self.practice
        units = own.units.units
        return {
            "practice_cards": cards_html(made, own.chart, units, own.sling),
            "practice_answers": answers_html(made, own.chart, units),
            "practice_clients": made.cards.merge(made.answers, on="card"),
        }

    def _turn(self, by: int) -> None:
        if self.practice is None:
            self.deal()
            return
        self.place = (self.place + by) % len(self.practice.cards)
        self.size.value = None
        self.answer.value = ""
        card = cards_shown(self.practice, self._settings.units.units)[self.place]
        hard = str(self.practice.answers["difficulty"].iloc[self.place])
        shown = wide_table(
            card["rows"],
            label=card["name"],
            numbers=(False, True),
            caption=False,
            style="font-size: 1.2em",
        )
        name = f"{card['name']} of {len(self.practice.cards)}"
        self.card.value = f"{heading(name)}<p>{escape(_T.hard[hard])}</p>{shown}"
