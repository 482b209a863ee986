"""The trainer's page: the answer, the evidence, the cards, the room, the pack."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as w

from sizing.app import form_words as html
from sizing.app.answer_form import AnswerForm, LongWork, Progress
from sizing.app.fields import Told, button, wide
from sizing.app.form_words import bullets, paragraphs
from sizing.app.lesson_cards_form import CardsForm, LessonSettings
from sizing.app.lesson_room_form import CoursesForm, RoomForm
from sizing.errors import SizingError
from sizing.lesson.choosing import check_guesses
from sizing.lesson.practice import Pairs, surprising_pairs
from sizing.lesson.ways import WaysResult, compare_ways, prepare_lesson
from sizing.pages import lesson as pages
from sizing.pages import lesson_pack as pack
from sizing.people import People
from sizing.resources import texts
from sizing.words.lesson import other_ways, table_against_tape, ways_answer

_T = texts("lesson")
Answer = tuple[People, WaysResult]


class WaysForm(AnswerForm):
    """``more``: who is failed most, and the studies of guessing."""

    def __init__(self, settings: LessonSettings, ready: Callable[[], object]) -> None:
        super().__init__("Work it out again")
        self._settings, self._ready, self._stale = settings, ready, ""
        self.groups, self.studies = w.HTML(), w.HTML()
        words = "Compare group by group"
        self.by_group = LongWork(words, self._by_group, self._show_groups)
        shown = self.answered.pictures, self.keep_view
        self.view = w.VBox([self.answered.words, self.work.view, *shown])
        studies = button("Show the studies", self.show_studies)
        self.more = w.VBox([self.by_group.view, self.groups, studies, self.studies])

    def work_out(self, progress: Progress, by: Sequence[str] = ()) -> Answer | None:
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
        people, ways = answer
        self._slide = pack.wrong_slide(ways)
        words = [other_ways(ways), table_against_tape(ways)]
        self.answered.words.value = html.lead(ways_answer(ways))
        parts = pages.ways_section(ways, words), pages.wrong_section()
        shown = html.slide_html(pack.drawn(self._slide)) + html.sections_html(parts)
        self.answered.pictures.value = shown
        self.answered.limits.value = bullets(pages.lesson_limits(people))
        self.answered.sources.value = bullets(pages.lesson_sources(people))

    def saved(self, answer: Answer) -> dict[str, Any]:
        (people, ways), own = answer, self._settings
        figure, pattern = pack.handout_picture(ways), own.pattern.pattern
        return {
            self._slide.name: self._slide.axes,
            "ways_of_choosing": ways.table,
            "ways_differences": ways.differences,
            "handout": pages.handout_html(ways, people, own.chart, figure, pattern),
        }

    def forget(self) -> None:
        super().forget()
        self.groups.value = ""

    def show_studies(self) -> None:
        ways = None if self.answer is None else self.answer[1]
        shown = pages.studies_section(ways, check_guesses())
        self.studies.value = html.sections_html([shown])

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
        both = pages.groups_section(answer[1])
        both = replace(both, tables=[*both.tables, pages.ways_table(answer[1])])
        self.groups.value = html.sections_html([both])


class PairsForm(AnswerForm):
    def __init__(self, settings: LessonSettings) -> None:
        super().__init__("Find pairs", switch=settings.units)
        self._settings, self.place = settings, 0
        self._slides: list[pack.Slide] = []
        turn, parts = button("Next pair", self.turn), self.answered
        shown = parts.words, parts.pictures, self.keep_view
        self.view = w.VBox([self.work.view, turn, *shown])

    def work_out(self, progress: Progress) -> Pairs:
        chart, seed = self._settings.chart, self._settings.seed
        progress("Looking for pairs.", 0.2)
        return surprising_pairs(self._settings.people(), chart, n=4, seed=seed)

    def show(self, answer: Pairs) -> None:
        if answer.table.empty:
            self.answered.words.value = paragraphs([_T.no_pairs])
            return
        units, numbers = self._settings.units.units, answer.table["pair"].astype(int)
        self._slides = [pack.pair_slide(answer, n, units=units) for n in numbers]
        self.place %= len(self._slides)
        count = _T.page["pair"].format(number=self.place + 1, n=len(self._slides))
        self.answered.words.value = paragraphs([count])
        self.answered.pictures.value = html.slide_html(
            pack.drawn(self._slides[self.place])
        )

    def saved(self, answer: Pairs) -> dict[str, Any]:
        return {s.name: s.axes for s in self._slides} | {"pairs": answer.table}

    def forget(self) -> None:
        super().forget()
        self._slides, self.place = [], 0

    def turn(self) -> None:
        if self.answer is None:
            self.work.start()
        elif self._slides:
            self.place += 1
            self.show(self.answer)


class PackForm:
    def __init__(self, settings: LessonSettings, cards: CardsForm, room: RoomForm):
        self._settings, self._cards, self._room = settings, cards, room
        self.folder = w.Text(value="lesson", description="Folder", **wide("18rem"))
        self.work = LongWork("Make the pack", self._make, self._write)
        self.told, self.slides = Told(), w.HTML()
        self.view = w.VBox([self.folder, self.work.view, self.told, self.slides])

    def forget(self) -> None:
        self.told.value = self.slides.value = ""

    def _make(self, progress: Progress) -> dict[str, bytes]:
        self.forget()
        own = self._settings
        lesson = prepare_lesson(
            str(own.population.value),
            own.chart,
            clients=int(self._cards.number.value),
            answers=self._room.source(),
            draws=own.draws,
            seed=own.seed,
            units=own.units.units,
            class_size=self._room.class_size,
            pattern=own.pattern.pattern,
            progress=progress,
        )
        return pack.lesson_files(lesson, progress=progress)

    def _write(self, files: dict[str, bytes]) -> None:
        with self.told.wrong_is_told():
            folder = free_folder(self.folder.value.strip() or "lesson")
            written = pack.write_files(files, folder)
            told = _T.page["saved"].format(n=len(written), folder=folder)
            self.told.value = paragraphs([told, _T.page["to_present"]])
            slides, shape = files["slides.html"].decode(), "aspect-ratio:16/9"
            self.slides.value = html.framed(slides, title="Slides", shape=shape)


def free_folder(name: str) -> Path:
    """Return a folder of that name, or with a number, in which nothing lies."""
    path, count = Path(name), 1
    while path.exists():
        count += 1
        path = Path(f"{name} ({count})")
    return path


class LessonForm:
    """The parts of the trainer's page, in its order; each form has a ``view``."""

    def __init__(self, population: str = "adults", *, draws: int = 5) -> None:
        self.settings = LessonSettings(population, draws=draws)
        self.answer = WaysForm(self.settings, self._ready)
        self.pairs = PairsForm(self.settings)
        self.cards = CardsForm(self.settings)
        self.room = RoomForm(self.settings, self.cards)
        self.courses = CoursesForm(self.settings.units, self.room.finding)
        self.pack = PackForm(self.settings, self.cards, self.room)
        parts = self.answer.answered
        self.limits, self.sources = parts.limits, parts.sources
        self.cautions = self.answer.cautions_view
        self.pairs_words = w.HTML(paragraphs([_T.pairs]))
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
