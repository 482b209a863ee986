"""The part of the purchaser's form on how slings are used, and on the goal."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from sizing.app.form_words import bullets, wrong_lines
from sizing.errors import SizingError
from sizing.stock import Use

_POOL = "shared"


class UseFields:
    """How slings are used, and what is planned for."""

    def __init__(self, changed: Callable[[], object]) -> None:
        self._told = changed
        self.sharing = w.Dropdown(
            options=[
                ("each client's own", "personal"),
                ("shared, from a pool", _POOL),
            ],
            description="Slings are",
        )
        self.passed_on = w.Checkbox(
            value=True,
            description="A sling goes to another client when its own leaves",
            indent=False,
            layout=w.Layout(width="auto"),
        )
        self.at_once = _number("Clients in 100 who need one at once", 100, 1, 100)
        self.at_most = _number("Most clients lifted at once (0: no limit)", 0)
        self.each = _number("Slings for each client at a time", 1, 1, 10)
        self.laundry = _number("Days out of 7 in the laundry", 0, 0, 6)
        self.repair = _number("Days out of 365 in inspection or repair", 0, 0, 180)
        self.spares = _number("Spares kept back of each size", 0, 0, 20)
        self.goal = w.Dropdown(
            options=[("a target, at least cost", "target"), ("a budget", "budget")],
            description="Plan for",
        )
        self.target = _number("Days in 100 on which nobody may wait", 95, 50, 99)
        self.budget = _number("Money there is", 8000, 0, 100_000_000)
        self.told = w.HTML()
        self.use_view = w.VBox(
            [
                self.sharing,
                self.passed_on,
                self.at_once,
                self.at_most,
                self.each,
                self.laundry,
                self.repair,
                self.spares,
                self.told,
            ]
        )
        self.goal_view = w.VBox([self.goal, self.target, self.budget])
        for box in (*self.use_view.children[:-1], *self.goal_view.children):
            box.observe(lambda _: self._changed(), "value")
        self._show()

    def use(self) -> Use:
        """Return how slings are used."""
        pool = self.sharing.value == _POOL
        out = {
            "laundry": (self.laundry.value, 7),
            "inspection or repair": (self.repair.value, 365),
        }
        return Use(
            sharing=self.sharing.value,
            each=self.each.value,
            at_once=self.at_once.value / 100 if pool else 1.0,
            at_most=(self.at_most.value or None) if pool else None,
            out={reason: rate for reason, rate in out.items() if rate[0] > 0},
            spares=self.spares.value,
            passed_on=pool or self.passed_on.value,
        )

    def aim(self) -> dict[str, Any]:
        """Return the goal as ``plan_stock`` takes it."""
        if self.goal.value == "target":
            return {"target": self.target.value / 100}
        return {"budget": float(self.budget.value)}

    def tell(self, error: SizingError) -> None:
        """Say what is wrong with the use."""
        self.told.value = bullets(wrong_lines(error))

    def _changed(self) -> None:
        self.told.value = ""
        self._show()
        self._told()

    def _show(self) -> None:
        """Show what the choices ask for, and nothing else."""
        pool = self.sharing.value == _POOL
        by_target = self.goal.value == "target"
        for box, shown in (
            (self.passed_on, not pool),
            (self.at_once, pool),
            (self.at_most, pool),
            (self.target, by_target),
            (self.budget, not by_target),
        ):
            box.layout.display = None if shown else "none"


def _number(words: str, value: int, least: int = 0, most: int = 5000) -> Any:
    return w.BoundedIntText(value=value, min=least, max=most, description=words)
