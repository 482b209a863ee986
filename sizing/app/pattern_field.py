"""The field that names a pattern of sling, and says at once what that asks."""

from collections.abc import Callable, Collection

import ipywidgets as w

from sizing.app.form_words import bullets, status
from sizing.measures import MEASURES, PATTERNS, pattern_words

_ANY = "not said"


class PatternField:
    """A pattern of sling; beneath it what a chart lacks for it, and its warnings.

    >>> field = PatternField()
    >>> field.use_chart(["hip_circumference_cm"])
    >>> field.box.value = "bathing"
    >>> "limits too little" in field.words.value, field.pattern
    (True, 'bathing')
    """

    def __init__(self) -> None:
        # Before a chart is known only the pattern's own warnings can be given.
        self._limits: Collection[str] = MEASURES
        self.box = w.Dropdown(options=[_ANY, *PATTERNS], description="Pattern of sling")
        self.words = w.HTML()
        self.view = w.VBox([self.box, self.words])
        self.on_change(self._show)

    @property
    def pattern(self) -> str | None:
        return None if self.box.value == _ANY else str(self.box.value)

    def choose(self, pattern: str | None) -> None:
        self.box.value = pattern or _ANY

    def use_chart(self, limits: Collection[str]) -> None:
        self._limits = limits
        self._show()

    def on_change(self, what: Callable[[], object]) -> None:
        self.box.observe(lambda _: what(), "value")

    def _show(self) -> None:
        one, limits = self.pattern, self._limits
        told = (
            "" if one is None else status(bullets(pattern_words(one, limits, limits)))
        )
        self.words.value = told
