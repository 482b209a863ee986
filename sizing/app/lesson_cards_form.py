"""Practice clients on the screen: one by one, choose a size, see the margin."""

from html import escape
from typing import Any

import ipywidgets as w
import numpy as np
import pandas as pd

from sizing.app.lesson_parts import (
    answer_html,
    button,
    words_html,
    wrong_html,
)
from sizing.app.lesson_settings import LessonSettings
from sizing.app.show import save_panel, table_html
from sizing.app.wide_table import wide_table
from sizing.errors import SizingError
from sizing.lesson import Practice, practice_clients
from sizing.lesson.answers import NO_SIZE
from sizing.lesson.choosing import (
    CHOICE_OUTCOMES,
    CHOICE_WORDS,
    WRONG_MEANS,
    outcome_of_choice,
)
from sizing.lesson.prepare import card_steps
from sizing.pages.cards import answers_html, card_rows, cards_html, margins_table
from sizing.pages.lesson import wrong_words

_HARD = {
    "easy": "easy: far from the edge that decides",
    "middling": "middling: some way from the edge that decides",
    "hard": "hard: near the edge that decides",
}


class CardsForm:
    """Cards one by one, from easy to hard.

    Attributes
    ----------
    practice : Practice or None
        The cards dealt.
    place : int
        The card shown, from 0.
    """

    def __init__(self, settings: LessonSettings) -> None:
        self._settings = settings
        self.practice: Practice | None = None
        self.place = 0
        self._right: dict[int, bool] = {}
        self._following = True
        self.number = w.BoundedIntText(
            value=12,
            min=1,
            max=60,
            description="How many clients",
            style={"description_width": "9rem"},
            layout=w.Layout(width="15rem"),
        )
        self.deal_button = button("Deal the cards")
        self.card = w.HTML()
        self.size = w.ToggleButtons(
            options=[NO_SIZE],
            value=None,
            description="Size",
            style={"button_width": "auto"},
        )
        self.show_button = button("Show the answer")
        self.before_button = button("Client before")
        self.next_button = button("Next client")
        self.answer = w.HTML()
        self.score = w.HTML()
        self.deal_button.on_click(lambda _: self.deal())
        self.number.observe(lambda _: self.deal(), "value")
        self.size.observe(lambda _: self._chosen(), "value")
        self.show_button.on_click(lambda _: self.show())
        self.before_button.on_click(lambda _: self._turn(-1))
        self.next_button.on_click(lambda _: self._turn(1))
        wrap = w.Layout(flex_flow="row wrap", align_items="center")
        self.view = w.VBox(
            [
                w.Box([self.number, self.deal_button], layout=wrap),
                self.card,
                self.size,
                w.Box(
                    [self.show_button, self.before_button, self.next_button],
                    layout=wrap,
                ),
                self.answer,
                self.score,
                w.HTML("<p>The cards to print, and the answers on a sheet:</p>"),
                save_panel(self.results),
            ]
        )

    def deal(self) -> None:
        """Deal new cards from the people chosen, and show the first."""
        self.forget()
        try:
            chart = self._settings.chart
            self.practice = practice_clients(
                self._settings.people(),
                chart,
                n=int(self.number.value),
                seed=int(self._settings.seed.value),
                steps=card_steps(self._settings.units.units),
            )
        except SizingError as error:
            self.card.value = wrong_html(error)
            return
        self._following = False
        self.size.options = [*chart.sizes, NO_SIZE]
        self._following = True
        self._show_card()

    def forget(self) -> None:
        """Take the cards away: what they rest on has changed."""
        self.practice, self.place, self._right = None, 0, {}
        self.card.value = self.answer.value = self.score.value = ""

    def show(self) -> None:
        """Show what fits the card, and how far the chosen size is from it."""
        if self.practice is None:
            self.answer.value = words_html(["Deal the cards first."])
            return
        if self.size.value is None:
            self.answer.value = words_html(["Choose a size first, or 'none'."])
            return
        chart, units = self._settings.chart, self._settings.units.units
        row = self.practice.answers.iloc[self.place]
        card = self.practice.cards.iloc[self.place]
        chosen = str(self.size.value)
        outcome = self._outcome(row, chosen)
        right = outcome in ("fitting", "rightly_none")
        self._right.setdefault(self.place, right)
        fits = str(row["right"])
        told = "no size fits" if fits == NO_SIZE else f"what fits is {fits}"
        shown = [
            answer_html(
                f"{'Right' if right else 'Not right'}: {CHOICE_WORDS[outcome]}. For "
                f"this client {told}."
            )
        ]
        if outcome in WRONG_MEANS:
            shown.append(words_html([*wrong_words(outcome), _NO_SOURCE]))
        sizes = [] if chosen == NO_SIZE else [chosen]
        sizes += [s for s in fits.split(" or ") if s not in (*sizes, NO_SIZE)]
        shown += [table_html(margins_table(card, chart, s, units)) for s in sizes]
        self.answer.value = "".join(shown)
        self._tell_score()

    def results(self) -> dict[str, Any]:
        """Return the cards to be saved: pages to print, and a table."""
        if self.practice is None:
            raise SizingError("There are no cards yet. Press 'Deal the cards' first.")
        units = self._settings.units.units
        table = self.practice.cards.merge(self.practice.answers, on="card")
        return {
            "practice_cards": cards_html(self.practice, self._settings.chart, units),
            "practice_answers": answers_html(self.practice, units),
            "practice_clients": table,
        }

    def _outcome(self, row: pd.Series, chosen: str) -> str:
        """Return what comes of choosing that size for a card."""
        sizes = self._settings.chart.sizes
        fits = np.array([[bool(row[f"fits {size}"]) for size in sizes]])
        code = -1 if chosen == NO_SIZE else sizes.index(chosen)
        return CHOICE_OUTCOMES[int(outcome_of_choice(np.array([code]), fits)[0])]

    def _show_card(self) -> None:
        if self.practice is None:
            return
        self._following = False
        self.size.value = None
        self._following = True
        self.answer.value = ""
        card = card_rows(self.practice.cards, self._settings.units.units)[self.place]
        hard = str(self.practice.answers["difficulty"].iloc[self.place])
        shown = wide_table(
            card["rows"],
            label=card["name"],
            numbers=(False, True),
            caption=False,
            style="font-size: 1.2em",
        )
        self.card.value = (
            f"<h3>{escape(card['name'])} of {len(self.practice.cards)}</h3>"
            f"<p>{_HARD[hard].capitalize()}.</p>{shown}"
        )

    def _chosen(self) -> None:
        """Take back the answer to the size chosen before."""
        if self._following:
            self.answer.value = ""

    def _turn(self, by: int) -> None:
        if self.practice is None:
            self.deal()
            return
        self.place = (self.place + by) % len(self.practice.cards)
        self._show_card()

    def _tell_score(self) -> None:
        right, n = sum(self._right.values()), len(self._right)
        self.score.value = words_html([f"Right at the first go: {right} of {n}."])


_NO_SOURCE = "What a wrong size does is common practice, no source."
