"""The fields into which one client is entered."""

from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from html import escape
from typing import Any

import ipywidgets as w

from sizing.app.fields import UnitField, UnitSwitch, folded, on_change, row, tick
from sizing.app.form_words import heading
from sizing.client import HOW, conditions_table, suggested_allowances
from sizing.client.outcomes import PARTS, allowance_table
from sizing.client.readings import KNEE_EQUATIONS, segment_table
from sizing.client.visits import Visit
from sizing.errors import InputProblems, Problem
from sizing.measures import MEASURES, vocabulary, written
from sizing.pages.where import how_html, where_html
from sizing.resources import texts

_T = texts("client")
MASS, HIP = "body_mass_kg", "hip_circumference_cm"
#: A client of our own making, to see how an answer looks: weighed in the hoist,
#: cannot stand, hips taken twice.
EXAMPLE = Visit(
    date(2026, 1, 1),
    {
        "sex": "female",
        "age_years": "74",
        MASS: 61.0,
        "knee_height_cm": 48.0,
        HIP: 101.0,
    },
    {MASS: "hoist scale", HIP: "tape twice"},
    loads={"hoist": 160.0, "spreader bar": 200.0},
)
NOBODY = Visit(date(2026, 1, 1))
_KNEE = {"chumlea_1985": "Chumlea 1985", "donini_2000": "Donini 2000"}


def _drawn(name: str | None) -> w.Widget:
    view = w.HTML(where_html(name, small=True))
    view.add_class("sizing-where")
    return view


class ClientFields:
    """Fields for what is known of one client, in the units of the page."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._called, self._filling, self._switch = changed, False, switch
        sexes = [("not stated", ""), ("female", "female"), ("male", "male")]
        self.sex = w.Dropdown(options=sexes, description="Sex")
        self.age = w.Text(
            description="Age, years", placeholder="not stated", continuous_update=False
        )
        named = [(_KNEE[key], key) for key in KNEE_EQUATIONS]
        self.knee = w.Dropdown(options=named, description="Knee-height equation")
        self.fabric = tick(_T.form["fabric"])
        labels = dict(vocabulary().set_index("name")["label"])
        labels |= dict(segment_table()["label"])
        self.values = {k: UnitField(label, k, switch) for k, label in labels.items()}
        self.ways = {name: _way(name) for name in MEASURES}
        known = conditions_table().set_index("key")["label"]
        self.conditions = {str(key): tick(label) for key, label in known.items()}
        bears = partial(UnitField, placeholder="from its label")
        self.loads = {
            part: bears(f"{part.capitalize()} bears", "load_limit_kg", switch)
            for part in (*PARTS, "sling")
        }
        self.allowances = {
            str(key): UnitField(str(label), "allowance_cm", switch, signed=True)
            for key, label in allowance_table().set_index("key")["label"].items()
        }
        for key, length in suggested_allowances().items():
            self.allowances[key].set(length)
        ticks = self.conditions.values()
        self.unlike = folded(_T.form["unlike"], row(*ticks))
        self.view = self._layout()
        on_change(self._count, *ticks)
        units = (self.values, self.loads, self.allowances)
        on_change(self._changed, *(field for of in units for field in of.values()))
        boxes = (self.sex, self.age, self.knee, self.fabric)
        on_change(self._changed, *boxes, *ticks, *self.ways.values())
        self._count()

    def _layout(self) -> w.Widget:
        taken = w.VBox([*map(self._row, MEASURES), _drawn(None)])
        taken.add_class("sizing-measures")
        lengths = [
            row(self.values[name].box, w.HTML(escape(what)))
            for name, what in segment_table()["definition"].items()
        ]
        allowances = (field.box for field in self.allowances.values())
        return w.VBox(
            [
                self.sex,
                self.age,
                self.unlike,
                taken,
                folded(_T.form["cannot_stand"], *lengths, self.knee),
                folded(_T.form["allowances"], self.fabric, *allowances),
                w.HTML(heading("Load limits, from the labels")),
                *(field.box for field in self.loads.values()),
            ]
        )

    def _row(self, name: str) -> w.Widget:
        how = w.HTML()
        how.add_class("sizing-how")
        line = row(self.values[name].box, self.ways[name], how, _drawn(name))
        line.add_class("sizing-measure")

        def told(units: str) -> None:
            how.value = how_html(name, say=partial(written, units=units))

        self._switch.on_change(told)
        told(self._switch.units)
        return line

    def _count(self) -> None:
        """Say how many conditions are ticked; none of them is hidden then."""
        turner = self.unlike.children[0]
        ticked = sum(one.value for one in self.conditions.values())
        turner.description = f"{_T.form['unlike']}: {ticked or 'none'} ticked"
        turner.value = turner.value or ticked > 0

    def _changed(self) -> None:
        if not self._filling:
            self._called()

    def fill(self, visit: Visit) -> None:
        self._filling = True
        age = visit.entries.get("age_years", "")
        self.age.value = age if isinstance(age, str) else f"{age:g}"
        # A file may say f, or Female.
        self.sex.value = visit.client.sex or ""
        for name, box in self.ways.items():
            box.value = visit.how.get(name, box.options[0])
        for fields, known in (
            (self.values, visit.entries),
            (self.loads, visit.loads),
            (self.allowances, suggested_allowances() | {**visit.allowances}),
        ):
            for name, field in fields.items():
                field.set(known.get(name))
        for key, box in self.conditions.items():
            box.value = key in visit.conditions
        self.fabric.value, self.knee.value = bool(visit.allowances), visit.knee_equation
        self._filling = False

    def shows(self, visit: Visit) -> bool:
        """Return whether a visit such as ``EXAMPLE`` stands in the fields."""
        entries, how = self.entries()
        same = entries == visit.entries and how == {**how, **visit.how}
        return same and self.stated() == visit.conditions

    def entries(self) -> tuple[dict[str, Any], dict[str, str]]:
        """Return what was entered, in cm and kg, and how each was measured."""
        told: dict[str, Any] = {k: field.value for k, field in self.values.items()}
        told["sex"] = self.sex.value or None
        told["age_years"] = self.age.value.strip() or None
        told = {name: value for name, value in told.items() if value is not None}
        return told, {name: self.ways[name].value for name in told if name in self.ways}

    def stated(self) -> tuple[str, ...]:
        return tuple(key for key, one in self.conditions.items() if one.value)

    def visit(self, on: date, *, confirmed: bool) -> Visit:
        """Return what was entered, loads and allowances as numbers."""
        fabric = self.allowances if self.fabric.value else {}
        loads = _numbers(self.loads, "load limit"), _numbers(fabric, "allowance")
        told = (*self.entries(), self.stated(), *loads)
        return Visit(on, *told, knee_equation=self.knee.value, confirmed=confirmed)

    def typed(self) -> dict[str, str]:
        told = {name: field.typed for name, field in self.values.items()}
        return told | {"age_years": self.age.value.strip()}


def _way(measure: str) -> w.Dropdown:
    without = "tape" if measure == MASS else ("scale", "hoist scale")
    return w.Dropdown(
        options=[way for way in HOW if not way.startswith(without)],
        # A label of its own names the choice to a screen reader too.
        description="how",
        style={"description_width": "2.5rem"},
        layout=w.Layout(width="9.2rem"),
    )


def _numbers(fields: Mapping[str, UnitField], what: str) -> dict[str, float]:
    values = {key: field.value for key, field in fields.items()}
    problems = [
        Problem.of(
            _T.wrong["number"], None, None, at.box.description, at.typed, what=what
        )
        for key, at in fields.items()
        if isinstance(values[key], str)
    ]
    if problems:
        raise InputProblems(problems, about="the form")
    return {k: v for k, v in values.items() if v is not None and not isinstance(v, str)}
