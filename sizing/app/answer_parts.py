"""What a form shows of its answer, taken back whole once it no longer holds."""

import ipywidgets as w

from sizing.app.form_words import paragraphs, status


class AnswerParts:
    """Words, pictures, whom they do not hold for, and sources.

    Attributes
    ----------
    words, pictures, limits, sources : ipywidgets.HTML
    """

    def __init__(self) -> None:
        self.words, self.pictures = w.HTML(), w.HTML()
        self.limits, self.sources = w.HTML(), w.HTML()

    def take_back(self, words: str = "") -> None:
        """Let nothing stand that the entries no longer give; say why in its place."""
        for view in (self.pictures, self.limits, self.sources):
            view.value = ""
        self.words.value = status(paragraphs([words] if words else []))
