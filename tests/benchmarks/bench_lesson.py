"""How long the trainer waits: the page's first answer, the room's, the whole pack.

``python tests/benchmarks/bench_lesson.py`` prints seconds of wall and processor
time. JupyterLab's own start comes on top of the first two lines.
"""

import time
from collections.abc import Callable

BEGUN = time.perf_counter(), time.process_time()


def told(words: str, what: Callable[[], object]) -> None:
    """Do something and print how long it took."""
    wall, processor = time.perf_counter(), time.process_time()
    what()
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    print(f"{words:40} {wall:5.1f} s wall {processor:5.1f} s processor")


def main() -> None:
    """Time each wait in turn."""
    from sizing.app.lesson_form import LessonForm
    from sizing.lesson.prepare import prepare_lesson
    from sizing.pages.lesson_pack import lesson_files
    from sizing.resources import source_table

    wall, processor = time.perf_counter() - BEGUN[0], time.process_time() - BEGUN[1]
    print(f"{'import':40} {wall:5.1f} s wall {processor:5.1f} s processor")
    form = LessonForm()
    told("first answer, with its pictures", form.start)
    told("a room of twelve", lambda: setattr(form.room.invented, "value", True))
    room = source_table("demo_room_answers.csv")
    told("the pack", lambda: lesson_files(prepare_lesson(answers=room)))


if __name__ == "__main__":
    main()
