"""What planning tells of itself while it goes on."""

from collections.abc import Callable

from tqdm.auto import tqdm

#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], object]

#: The steps of planning, and the part of the work that each is.
STEPS: dict[str, float] = {
    "Drawing days": 0.05,
    "Looking for the order": 0.35,
    "Judging the order on fresh days": 0.05,
    "Looking at other targets": 0.20,
    "Looking at other people": 0.30,
    "Spending the same money otherwise": 0.05,
}


class Steps:
    """Where planning is, told to whoever asked.

    Examples
    --------
    >>> told = []
    >>> with Steps(lambda words, share: told.append((words, round(share, 2)))) as steps:
    ...     steps.begin("Looking for the order")
    ...     steps.tick()
    >>> told[0], told[1][1] > told[0][1]
    (('Looking for the order', 0.05), True)
    """

    def __init__(self, progress: "bool | Progress") -> None:
        self._tell = progress if callable(progress) else None
        self._bar = tqdm(
            total=100,
            delay=2,
            disable=progress is not True,
            desc="Planning",
            bar_format="{desc}: {percentage:3.0f} %|{bar}| {elapsed}",
        )
        self._words, self._from, self._part, self._left = "", 0.0, 0.0, 1.0

    def __enter__(self) -> "Steps":
        """Begin."""
        return self

    def __exit__(self, *_: object) -> None:
        """Take the bar away."""
        self._bar.close()

    def begin(self, words: str) -> None:
        """Begin a step, one of ``STEPS``."""
        before = list(STEPS).index(words)
        self._words, self._part, self._left = words, STEPS[words], 1.0
        self._from = sum(list(STEPS.values())[:before])
        self._say()

    def tick(self) -> None:
        """Say that the step goes on; each tick fills a part of what is left of it."""
        self._left *= 0.95
        self._say()

    def _say(self) -> None:
        share = self._from + self._part * (1 - self._left)
        if self._tell is not None:
            self._tell(self._words, share)
        self._bar.set_description_str(self._words)
        self._bar.update(100 * share - self._bar.n)
