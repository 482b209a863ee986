"""The trainer's notebook forms: the evidence, the cards, the room's answers."""

from collections.abc import Callable
from pathlib import Path

import ipywidgets as w

from sizing.chart import SizeChart, demo_chart, read_chart
from sizing.errors import SizingError
from sizing.population import POPULATIONS, People, load_people
from sizing.report.cards import card_rows
from sizing.report.client_form import escape, framed, paragraphs, said
from sizing.report.lesson import prepare_lesson, write_lesson
from sizing.report.lesson_pictures import (
    Slide,
    measure_labels,
    pair_slide,
    repeats_slide,
    room_slides,
    ways_slide,
)
from sizing.report.page import Picture, picture
from sizing.report.room_page import room_html
from sizing.resources import source_table
from sizing.teaching import (
    Practice,
    chance_of_wrong_size,
    compare_ways,
    practice_clients,
    read_answers,
    room_result,
    surprising_pairs,
)
from sizing.teaching.answers import NO_SIZE

_LABEL = {"description_width": "13rem"}
_WIDE = w.Layout(width="34rem")
_BUSY = "<p>Working ...</p>"


def image(slide: Slide) -> str:
    """Return a slide as HTML."""
    drawn = drawn_of(slide)
    return (
        f'<figure style="margin:1em 0"><img style="max-width:100%" alt="'
        f'{escape(drawn.alt).replace(chr(34), "&quot;")}" src="data:image/png;base64,'
        f'{drawn.base64}"><figcaption>{escape(drawn.caption)}</figcaption></figure>'
    )


def drawn_of(slide: Slide) -> Picture:
    """Return a slide as a picture of a page."""
    return picture(slide.figure, alt=slide.alt, caption=slide.caption)


class LessonForm:
    """Forms of one lesson: whom, which chart, and what to show of it.

    Parameters
    ----------
    population : str
        A name that ``load_people`` knows.
    chart : SizeChart, optional
        The invented demo chart if not given.
    draws : int
        Draws of the measures nobody took; few are quick, more are steadier.

    Attributes
    ----------
    setup, evidence, pairs, cards, room, pack : ipywidgets widget
        The parts of the lesson, in the order in which it is given.
    """

    def __init__(
        self,
        population: str = "adults",
        chart: SizeChart | None = None,
        *,
        draws: int = 3,
    ) -> None:
        self.chart = chart or demo_chart()
        self.draws = draws
        self._people: dict[tuple[str, int], People] = {}
        self.practice: Practice | None = None
        self.place = 0
        self.population = w.Dropdown(
            options=list(POPULATIONS),
            value=population,
            description="People",
            style=_LABEL,
        )
        self.chart_file = w.Text(
            description="Your chart (CSV or XLSX)",
            placeholder="empty: the invented demo chart",
            style=_LABEL,
            layout=_WIDE,
        )
        self.seed = w.IntText(value=1, description="Seed", style=_LABEL)
        self.use = w.Button(description="Use these")
        self.said = w.HTML()
        self.use.on_click(lambda _: self._try(self.said, self._use))
        self.setup = w.VBox(
            [self.population, self.chart_file, self.seed, self.use, self.said]
        )
        self.evidence, self.evidence_out = self._part("Compare the ways", self._ways)
        self.pairs, self.pairs_out = self._part("Find pairs", self._pairs)
        self._cards_part()
        self._room_part()
        self._pack_part()
        self._use()

    def _part(self, words: str, show: Callable[[], str]) -> tuple[w.VBox, w.HTML]:
        """Return a button with what it shows beneath it."""
        button, out = w.Button(description=words), w.HTML()

        def pressed() -> None:
            out.value = _BUSY
            out.value = show()

        button.on_click(lambda _: self._try(out, pressed))
        return w.VBox([button, out]), out

    @staticmethod
    def _try(out: w.HTML, what: Callable[[], None]) -> None:
        """Do something, or say in plain words why it cannot be done."""
        try:
            what()
        except SizingError as error:
            out.value = said(error)

    def _use(self) -> None:
        given = self.chart_file.value.strip()
        self.chart = read_chart(given) if given else demo_chart()
        self.size.options = [*self.chart.sizes, NO_SIZE]
        self.practice = None
        self.said.value = paragraphs(
            [f"{self.population.value}, sized by '{self.chart.name}'."]
        )

    def people(self) -> People:
        """Return the people chosen."""
        key = (str(self.population.value), int(self.seed.value))
        if key not in self._people:
            self._people = {key: load_people(key[0], draws=self.draws, seed=key[1])}
        return self._people[key]

    def _ways(self) -> str:
        found = compare_ways(
            self.people(), self.chart, seed=self.seed.value, replicates=100
        )
        return image(ways_slide(found)) + paragraphs(found.summary().split("\n"))

    def _pairs(self) -> str:
        found = surprising_pairs(self.people(), self.chart, n=3, seed=self.seed.value)
        if found.table.empty:
            return paragraphs([found.summary()])
        shown = [image(pair_slide(found, int(n))) for n in found.table["pair"]]
        return "".join(shown) + paragraphs(found.summary().split("\n"))

    def _cards_part(self) -> None:
        self.number = w.IntText(value=12, description="How many cards", style=_LABEL)
        self.deal = w.Button(description="Deal")
        self.card = w.HTML()
        self.size = w.Dropdown(options=[NO_SIZE], description="Size", style=_LABEL)
        self.show = w.Button(description="Show the answer")
        self.after = w.Button(description="Next card")
        self.answer = w.HTML()
        self.deal.on_click(lambda _: self._try(self.answer, self._deal))
        self.show.on_click(lambda _: self._try(self.answer, self._show))
        self.after.on_click(lambda _: self._try(self.answer, self._next))
        self.cards = w.VBox(
            [
                w.HBox([self.number, self.deal]),
                self.card,
                w.HBox([self.size, self.show, self.after]),
                self.answer,
            ]
        )

    def _deal(self) -> None:
        self.practice = practice_clients(
            self.people(), self.chart, n=self.number.value, seed=self.seed.value
        )
        self.place = 0
        self._card()

    def _card(self) -> None:
        """Show the card in hand."""
        if self.practice is None:
            self._deal()
            return
        card = card_rows(self.practice.cards)[self.place]
        hard = self.practice.answers["difficulty"].iloc[self.place]
        rows = "".join(
            f"<tr><td style='padding-right:2em'>{escape(a)}</td>"
            f"<td style='text-align:right'>{escape(b)}</td></tr>"
            for a, b in card["rows"]
        )
        self.card.value = f"<h3>{card['name']} ({hard})</h3><table>{rows}</table>"
        self.answer.value = ""

    def _show(self) -> None:
        if self.practice is None:
            self.answer.value = paragraphs(["Deal the cards first."])
            return
        row = self.practice.answers.iloc[self.place]
        fits = str(row["right"]).split(" or ")
        word = "fits" if self.size.value in fits else "does not fit"
        if self.size.value == NO_SIZE:
            word = "is right" if row["right"] == NO_SIZE else "is wrong"
        label = measure_labels()[str(row["measure"])]
        unit = str(row["measure"]).rsplit("_", 1)[1]
        self.answer.value = paragraphs(
            [
                f"'{self.size.value}' {word}. What fits: {row['right']}. The edge that "
                f"decides: {label}, {row['miss']:+.1f} {unit} from it."
            ]
        )

    def _next(self) -> None:
        if self.practice is not None:
            self.place = (self.place + 1) % len(self.practice.cards)
        self._card()

    def _room_part(self) -> None:
        self.answers = w.Text(
            description="The room's answers",
            placeholder="empty: an invented room",
            style=_LABEL,
            layout=_WIDE,
        )
        part, self.room_out = self._part("Show the room", self._room)
        self.room = w.VBox([self.answers, part])

    def _room(self) -> str:
        given = self.answers.value.strip()
        table = given or source_table("demo_room_answers.csv")
        read = read_answers(table, self.chart)
        found = room_result(read, self.chart, practice=self.practice)
        repeats = chance_of_wrong_size(
            self.people(), self.chart, found.error, seed=self.seed.value
        )
        slides = [repeats_slide(repeats), *room_slides(found, self.chart.sizes)]
        page = room_html(found, repeats, {s.name: drawn_of(s) for s in slides})
        invented = "" if given else "This room is invented, slips and all."
        return paragraphs([invented] if invented else []) + framed(page)

    def _pack_part(self) -> None:
        self.folder = w.Text(
            value="lesson", description="Folder", style=_LABEL, layout=_WIDE
        )
        part, self.pack_out = self._part("Make the pack", self._pack)
        self.pack = w.VBox([self.folder, part])

    def _pack(self) -> str:
        lesson = prepare_lesson(
            str(self.population.value),
            self.chart,
            clients=self.number.value,
            answers=self.answers.value.strip() or None,
            draws=self.draws,
            seed=self.seed.value,
        )
        home = self.folder.value.strip() or "lesson"
        written = write_lesson(lesson, Path(home))
        return paragraphs([f"{len(written)} files are in {home}."])
