"""The trainer's page: the answer, the evidence, the cards, the room, the pack."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import AnswerForm
from sizing.app.form_words import bullets, framed, paragraphs
from sizing.app.lesson_cards_form import CardsForm
from sizing.app.lesson_courses_form import CoursesForm
from sizing.app.lesson_parts import answer_html, button, wrong_html
from sizing.app.lesson_room_form import RoomForm
from sizing.app.lesson_settings import LessonSettings
from sizing.app.long_work import LongWork, Progress
from sizing.app.show import sections_html, slide_html
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.lesson.guessing import check_guesses
from sizing.lesson.pairs import NO_PAIRS, Pairs, surprising_pairs
from sizing.lesson.prepare import prepare_lesson
from sizing.lesson.ways import WaysResult, compare_ways
from sizing.pages.lesson import (
    PAIRS_WORDS,
    groups_section,
    handout_html,
    lesson_limits,
    lesson_sources,
    studies_section,
    ways_section,
    ways_table,
    wrong_section,
)
from sizing.pages.lesson_pack import lesson_files, write_files
from sizing.pages.lesson_pictures import Slide, drawn, pair_slide, wrong_slide
from sizing.people import People
from sizing.words.lesson import other_ways, table_against_tape, ways_answer

Answer = tuple[People, WaysResult]


class WaysForm(AnswerForm):
    """How many of a hundred each way of choosing puts in a wrong size.

    ``more``: who is failed most, and the studies of guessing.
    """

    def __init__(self, settings: LessonSettings, ready: Callable[[], object]) -> None:
        super().__init__("Work it out again")
        self._settings, self._ready, self._stale = settings, ready, ""
        self.groups, self.studies = w.HTML(), w.HTML()
        self.by_group = LongWork(
            "Compare group by group", self._by_group, self._show_groups
        )
        parts = self.answered
        self.view = w.VBox(
            [parts.words, self.work.view, parts.pictures, self.keep_view]
        )
        studies = button("Show the studies", self.show_studies)
        self.more = w.VBox([self.by_group.view, self.groups, studies, self.studies])

    def work_out(self, progress: Progress, by: Sequence[str] = ()) -> Answer | None:
        """Size the people each way; None where an entry has changed meanwhile."""
        version, seed = self._version, self._settings.seed
        try:
            progress("Loading the people.", 0.05)
            chart, people = self._settings.chart, self._settings.people()
            progress("Choosing a size for each of them, each way.", 0.4)
            return people, compare_ways(people, chart, by=by, seed=seed, replicates=100)
        except SizingError:
            if version == self._version:
                raise
            return None

    def show(self, answer: Answer) -> None:
        """Show the answer and what it rests on."""
        people, ways = answer
        self._slide = wrong_slide(ways)
        words = [other_ways(ways), table_against_tape(ways)]
        self.answered.words.value = answer_html(ways_answer(ways))
        self.answered.pictures.value = slide_html(drawn(self._slide)) + sections_html(
            [ways_section(ways, words=words), wrong_section()]
        )
        self.answered.limits.value = bullets(lesson_limits(people))
        self.answered.sources.value = bullets(lesson_sources(people))

    def saved(self, answer: Answer) -> dict[str, Any]:
        """Return the answer to be saved: tables, pictures, the handout."""
        people, ways = answer
        picture = drawn(self._slide)
        return {
            self._slide.name: self._slide.axes,
            "ways_of_choosing": ways.table,
            "ways_differences": ways.differences,
            "handout": handout_html(ways, people, self._settings.chart, picture),
        }

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        super().forget()
        self.groups.value = ""

    def show_studies(self) -> None:
        """Show how well guesses are known, and how far the curves miss."""
        check = check_guesses()
        ways = None if self.answer is None else self.answer[1]
        section = studies_section(ways, check)
        self.studies.value = sections_html([section])

    def _done(self, result: tuple[int, Any]) -> None:
        if result[0] != self._version:  # An entry was changed meanwhile: begin anew.
            self.work.start()
            return
        super()._done(result)
        self._ready()

    def _by_group(self, progress: Progress) -> tuple[int, Answer | None]:
        by = ("sex", "age_band", "bmi_class")
        return self._version, self.work_out(progress, by)

    def _show_groups(self, result: tuple[int, Answer | None]) -> None:
        version, answer = result
        if version != self._version or self.answer is None or answer is None:
            return
        self.answer = answer
        both = groups_section(answer[1])
        both = replace(both, tables=[*both.tables, ways_table(answer[1])])
        self.groups.value = sections_html([both])


class PairsForm(AnswerForm):
    """Two people alike to the eye who need different sizes, a pair at a time."""

    def __init__(self, settings: LessonSettings) -> None:
        super().__init__("Find pairs", switch=settings.units)
        self._settings, self.place = settings, 0
        self._slides: list[Slide] = []
        turn = button("Next pair", self.turn)
        parts = self.answered
        self.view = w.VBox(
            [self.work.view, turn, parts.words, parts.pictures, self.keep_view]
        )

    def work_out(self, progress: Progress) -> Pairs:
        """Find the pairs."""
        chart, seed = self._settings.chart, self._settings.seed
        progress("Looking for pairs.", 0.2)
        return surprising_pairs(self._settings.people(), chart, n=4, seed=seed)

    def show(self, answer: Pairs) -> None:
        """Draw the pairs in the units chosen, and show the one in turn."""
        if answer.table.empty:
            self.answered.words.value = paragraphs([NO_PAIRS])
            return
        units, numbers = self._settings.units.units, answer.table["pair"].astype(int)
        self._slides = [pair_slide(answer, n, units=units) for n in numbers]
        self.place %= len(self._slides)
        count = f"Pair {self.place + 1} of {len(self._slides)}."
        self.answered.words.value = paragraphs([count])
        self.answered.pictures.value = slide_html(drawn(self._slides[self.place]))

    def saved(self, answer: Pairs) -> dict[str, Any]:
        """Return the pairs to be saved."""
        return {s.name: s.axes for s in self._slides} | {"pairs": answer.table}

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        super().forget()
        self._slides, self.place = [], 0

    def turn(self) -> None:
        """Show the next pair; find pairs first where there are none."""
        if self.answer is None:
            self.work.start()
        elif self._slides:
            self.place += 1
            self.show(self.answer)


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
        self.told, self.slides = w.HTML(), w.HTML()
        self.view = w.VBox([self.folder, self.work.view, self.told, self.slides])

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.told.value = self.slides.value = ""

    def _make(self, progress: Progress) -> dict[str, bytes]:
        self.forget()
        lesson = prepare_lesson(
            str(self._settings.population.value),
            self._settings.chart,
            clients=int(self._cards.number.value),
            answers=self._room.source(),
            draws=self._settings.draws,
            seed=self._settings.seed,
            units=self._settings.units.units,
            class_size=self._room.class_size,
            progress=progress,
        )
        lesson = replace(lesson, pattern=self._settings.pattern.pattern)
        return lesson_files(lesson, progress=progress)

    def _write(self, files: dict[str, bytes]) -> None:
        try:
            folder = free_folder(self.folder.value.strip() or "lesson")
            written = write_files(files, folder)
        except SizingError as error:
            self.told.value = wrong_html(error)
            return
        told = (
            f"Saved: {len(written)} files in the folder '{folder}'. Begin with "
            "index.html: it leads to the slides, the sheets and the plan."
        )
        how = (
            "To present: click into the slides below, then F fills the screen, arrows "
            "or a click move on, N shows what to say."
        )
        self.told.value = paragraphs([told, how])
        slides = files["slides.html"].decode()
        self.slides.value = framed(slides, title="Slides", shape="aspect-ratio:16/9")


def free_folder(name: str) -> Path:
    """Return a folder of that name, or with a number, in which nothing lies."""
    path, count = Path(name), 1
    while path.exists():
        count += 1
        path = Path(f"{name} ({count})")
    return path


class LessonForm:
    """The parts of the trainer's page, in its order; each form has a ``view``."""

    def __init__(
        self,
        population: str = "adults",
        chart: SizeChart | None = None,
        *,
        draws: int = 5,
    ) -> None:
        self.settings = LessonSettings(population, chart, draws=draws)
        self.answer = WaysForm(self.settings, self._ready)
        self.pairs = PairsForm(self.settings)
        self.cards = CardsForm(self.settings)
        self.room = RoomForm(self.settings, self.cards)
        self.courses = CoursesForm(self.settings.units, self.room.finding)
        self.pack = PackForm(self.settings, self.cards, self.room)
        parts = self.answer.answered
        self.limits, self.sources = parts.limits, parts.sources
        self.cautions = self.answer.cautions_view
        self.pairs_words = w.HTML(paragraphs([PAIRS_WORDS]))
        self.settings.on_change(self._changed)
        self.settings.pattern.on_change(self.pack.forget)
        self.settings.units.on_change(lambda _: self._ready())

    def start(self) -> None:
        """Work out the first answer, and then what follows from it."""
        self.answer.work.begin()

    def _changed(self) -> None:
        """Take everything back that rests on the old entries, and begin anew."""
        for form in (self.answer, self.pairs, self.cards, self.room, self.pack):
            form.forget()
        self.answer.work.start()

    def _ready(self) -> None:
        """Follow with the parts that rest on the same people."""
        self.cards.deal()
        self.room.use_settings()
