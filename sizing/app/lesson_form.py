"""The trainer's page: the answer, the evidence, the cards, the room, the pack."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as w

from sizing.app.lesson_cards_form import CardsForm
from sizing.app.lesson_parts import (
    answer_html,
    bullets_html,
    button,
    slide_html,
    words_html,
    wrong_html,
)
from sizing.app.lesson_room_form import RoomForm
from sizing.app.lesson_settings import LessonSettings
from sizing.app.long_work import LongWork, Progress
from sizing.app.show import save_panel, table_html
from sizing.cautions import cautions
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.lesson import (
    Pairs,
    WaysResult,
    check_guesses,
    compare_ways,
    surprising_pairs,
)
from sizing.lesson.prepare import Lesson, prepare_lesson
from sizing.pages.lesson import (
    PAIRS_WORDS,
    check_table,
    groups_table,
    guessing_words,
    handout_html,
    lesson_limits,
    lesson_sources,
    way_words,
    ways_table,
    wrong_words,
)
from sizing.pages.lesson_pack import lesson_files, write_files
from sizing.pages.lesson_pictures import (
    Slide,
    drawn,
    guess_slide,
    pair_slide,
    ways_slide,
    wrong_slide,
)
from sizing.people import People
from sizing.words.lesson import (
    other_ways,
    table_against_tape,
    ways_answer,
    worst_group,
)

Key = tuple[str, int, str]


class AnswerForm:
    """How many of a hundred each way of choosing puts in a wrong size.

    Attributes
    ----------
    view, more : ipywidgets.Widget
        The answer and its picture; who is failed most, and the studies.
    """

    def __init__(
        self, settings: LessonSettings, ready: Callable[[], object] = lambda: None
    ) -> None:
        self._settings, self._ready = settings, ready
        self._slides: list[Slide] = []
        self.ways: WaysResult | None = None
        self.people: People | None = None
        self.words = w.HTML()
        self.picture = w.HTML()
        self.groups = w.HTML()
        self.studies = w.HTML()
        self.work = LongWork("Work it out again", self._count, self._show)
        self.by_group = LongWork(
            "Compare group by group", self._count_groups, self._show_groups
        )
        studies_button = button("Show the studies")
        studies_button.on_click(lambda _: self.show_studies())
        self.view = w.VBox(
            [self.words, self.work.view, self.picture, save_panel(self.results)]
        )
        self.more = w.VBox(
            [self.by_group.view, self.groups, studies_button, self.studies]
        )

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.ways = self.people = None
        self._slides = []
        for part in (self.words, self.picture, self.groups):
            part.value = ""

    def results(self) -> dict[str, Any]:
        """Return the answer to be saved: tables, pictures, the handout."""
        if self.ways is None or self.people is None:
            raise SizingError("There is no answer yet. Press 'Work it out again'.")
        chart = self._settings.chart
        found: dict[str, Any] = {slide.name: slide.axes for slide in self._slides}
        found["ways_of_choosing"] = self.ways.table
        found["ways_differences"] = self.ways.differences
        picture = drawn(self._slides[0])
        found["handout"] = handout_html(self.ways, self.people, chart, picture)
        return found

    def show_studies(self) -> None:
        """Show how well guesses are known, and how far the curves miss."""
        check = check_guesses()
        words = guessing_words(self.ways) if self.ways is not None else []
        self.studies.value = (
            words_html(words)
            + slide_html(drawn(guess_slide(check)))
            + table_html(check_table(check))
        )

    def _count(self, progress: Progress) -> tuple[Key, People, WaysResult]:
        while True:
            key = self._settings.key
            try:
                people, found = self._counted(progress)
            except SizingError:
                if key == self._settings.key:
                    raise
            else:
                if key == self._settings.key:
                    return key, people, found
            # An entry has changed meanwhile: begin anew.

    def _counted(self, progress: Progress) -> tuple[People, WaysResult]:
        progress("Loading the people.", 0.05)
        people = self._settings.people()
        progress("Choosing a size for each of them, each way.", 0.4)
        chart, seed = self._settings.chart, self._settings.key[1]
        return people, compare_ways(people, chart, by=[], seed=seed, replicates=100)

    def _show(self, result: tuple[Key, People, WaysResult]) -> None:
        key, people, ways = result
        if key != self._settings.key:
            self.work.wait()
            self.work.start()
            return
        self.ways, self.people = ways, people
        self.words.value = answer_html(ways_answer(ways))
        self._slides = [wrong_slide(ways)]
        self.picture.value = slide_html(drawn(self._slides[0]))
        self._slides.append(ways_slide(ways))
        self.picture.value += (
            words_html([other_ways(ways), table_against_tape(ways), *way_words(ways)])
            + "<p><b>What a wrong size does</b> (common practice, no source):</p>"
            + bullets_html(wrong_words())
        )
        self._ready()

    def _count_groups(self, progress: Progress) -> tuple[Key, WaysResult]:
        key = self._settings.key
        chart = self._settings.chart
        progress("Loading the people.", 0.05)
        people = self._settings.people()
        progress("Choosing a size for each of them, each way.", 0.2)
        return key, compare_ways(people, chart, seed=key[1], replicates=100)

    def _show_groups(self, result: tuple[Key, WaysResult]) -> None:
        key, ways = result
        if key != self._settings.key or self.ways is None:
            return
        self.ways = ways
        self.groups.value = (
            words_html([worst_group(ways)])
            + table_html(groups_table(ways))
            + slide_html(drawn(self._slides[1]))
            + table_html(ways_table(ways))
        )


class PairsForm:
    """Two people alike to the eye who need different sizes, a pair at a time."""

    def __init__(self, settings: LessonSettings) -> None:
        self._settings = settings
        self._slides: list[Slide] = []
        self.pairs: Pairs | None = None
        self.place = 0
        self.work = LongWork("Find pairs", self._find, self._show)
        self.next_button = button("Next pair")
        self.next_button.on_click(lambda _: self._turn())
        self.shown = w.HTML()
        self.view = w.VBox(
            [self.work.view, self.next_button, self.shown, save_panel(self.results)]
        )
        settings.units.on_change(lambda _: self._draw())

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.pairs, self._slides, self.place = None, [], 0
        self.shown.value = ""

    def results(self) -> dict[str, Any]:
        """Return the pairs to be saved."""
        if self.pairs is None or self.pairs.table.empty:
            raise SizingError("There are no pairs yet. Press 'Find pairs' first.")
        return {s.name: s.axes for s in self._slides} | {"pairs": self.pairs.table}

    def _find(self, progress: Progress) -> tuple[Key, Pairs]:
        key = self._settings.key
        chart = self._settings.chart
        progress("Looking for pairs.", 0.2)
        people = self._settings.people()
        return key, surprising_pairs(people, chart, n=4, seed=key[1])

    def _show(self, result: tuple[Key, Pairs]) -> None:
        key, self.pairs = result
        if key != self._settings.key:
            self.forget()
            return
        self.place = 0
        self._draw()

    def _draw(self) -> None:
        """Draw the pairs in the units chosen, and show the one in turn."""
        if self.pairs is None:
            return
        if self.pairs.table.empty:
            self.shown.value = words_html([self.pairs.summary()])
            return
        units = self._settings.units.units
        numbers = self.pairs.table["pair"].astype(int)
        self._slides = [pair_slide(self.pairs, n, units=units) for n in numbers]
        slide = self._slides[self.place]
        count = f"Pair {self.place + 1} of {len(self._slides)}."
        self.shown.value = words_html([count]) + slide_html(drawn(slide))

    def _turn(self) -> None:
        if self.pairs is None:
            self.work.start()
        elif len(self._slides):
            self.place = (self.place + 1) % len(self._slides)
            self._draw()


class PackForm:
    """Everything for the hour in one folder: pages to print, cards, slides."""

    def __init__(
        self, settings: LessonSettings, cards: CardsForm, room: RoomForm
    ) -> None:
        self._settings, self._cards, self._room = settings, cards, room
        self.folder = w.Text(
            value="lesson",
            description="Folder",
            style={"description_width": "initial"},
            layout=w.Layout(width="18rem", max_width="calc(100% - 4px)"),
        )
        self.work = LongWork("Make the pack", self._make, self._write)
        self.told = w.HTML()
        self.view = w.VBox([self.folder, self.work.view, self.told])

    def _make(self, progress: Progress) -> dict[str, bytes]:
        self.told.value = ""
        lesson: Lesson = prepare_lesson(
            str(self._settings.population.value),
            self._settings.chart,
            clients=int(self._cards.number.value),
            answers=self._room.source(),
            draws=self._settings.draws,
            seed=int(self._settings.seed.value),
            units=self._settings.units.units,
            class_size=self._room.class_size,
            progress=progress,
        )
        return lesson_files(lesson, progress=progress)

    def _write(self, files: dict[str, bytes]) -> None:
        try:
            folder = free_folder(self.folder.value.strip() or "lesson")
            written = write_files(files, folder)
        except SizingError as error:
            self.told.value = wrong_html(error)
            return
        self.told.value = words_html(
            [
                f"Saved: {len(written)} files in the folder '{folder}'. Begin with "
                "index.html: it leads to the slides, the sheets and the plan."
            ]
        )


def free_folder(name: str) -> Path:
    """Return a folder of that name, or with a number, in which nothing lies.

    Examples
    --------
    >>> free_folder("a folder that nobody has").name
    'a folder that nobody has'
    """
    path, count = Path(name), 1
    while path.exists():
        count += 1
        path = Path(f"{name} ({count})")
    return path


class LessonForm:
    """The parts of the trainer's page.

    Attributes
    ----------
    settings, answer, pairs, cards, room, pack
        The forms, in the order of the page; each has a ``view``.
    limits, cautions, sources : ipywidgets.HTML
        Whom the figures do not hold for; what comes before any lift; sources.
    """

    def __init__(
        self,
        population: str = "adults",
        chart: SizeChart | None = None,
        *,
        draws: int = 5,
    ) -> None:
        self.settings = LessonSettings(population, chart, draws=draws)
        self.answer = AnswerForm(self.settings, self._ready)
        self.pairs = PairsForm(self.settings)
        self.cards = CardsForm(self.settings)
        self.room = RoomForm(self.settings, self.cards)
        self.pack = PackForm(self.settings, self.cards, self.room)
        self.limits, self.sources = w.HTML(), w.HTML()
        self.cautions = w.HTML(bullets_html(cautions()))
        self.pairs_words = w.HTML(words_html([PAIRS_WORDS]))
        self.settings.on_change(self._changed)
        self.settings.units.on_change(lambda _: self.cards.deal())

    def start(self) -> None:
        """Work out the first answer, and then what follows from it."""
        self.answer.work.begin()

    def _changed(self) -> None:
        """Take everything back that rests on the old entries, and begin anew."""
        for form in (self.answer, self.pairs, self.cards, self.room):
            form.forget()
        self.pack.told.value = self.limits.value = self.sources.value = ""
        self.answer.work.start()

    def _ready(self) -> None:
        """Follow with the parts that rest on the same people."""
        people = self.answer.people
        if people is None:
            return
        self.limits.value = bullets_html(lesson_limits(people))
        self.sources.value = bullets_html(lesson_sources(people))
        self.cards.deal()
        self.room.use_settings()
