"""Fields for how wide each size is."""

from collections.abc import Callable

import ipywidgets as w

from sizing.app.form_words import paragraphs
from sizing.app.units import UnitField, UnitSwitch
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES
from sizing.words.labels import labels


class WidthFields:
    """How wide each size is; an empty field leaves the measure out."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self.fields = {
            name: UnitField(labels()[name], name, switch, placeholder="no limit")
            for name in MEASURES
        }
        for field in self.fields.values():
            field.on_change(changed)
        words = w.HTML(paragraphs(["Width of each size, in up to four measures:"]))
        self.view = w.VBox([words, *(field.box for field in self.fields.values())])

    def found(self) -> dict[str, float]:
        """Return the widths entered, in cm or kg."""
        found, problems = {}, []
        for name, field in self.fields.items():
            try:
                number = field.number()
            except SizingError as error:
                problems.append(Problem(str(error), column=name, value=field.typed))
                continue
            if number is not None:
                found[name] = number
        if problems:
            raise InputProblems(problems, about="the widths")
        return found

    def asked(self) -> dict[str, float]:
        """Return the widths entered, of which there must be one."""
        if found := self.found():
            return found
        raise SizingError(
            "no width is entered",
            allowed="a width in one to four measures",
            action="fill in the measures that the sizes are to limit",
        )
