"""The parts of the purchaser's form on whom the stock serves, and how it is used."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.fields import UnitSwitch, UploadBox
from sizing.app.form_words import bullets, paragraphs, wrong_lines
from sizing.app.people_form import Clients
from sizing.app.table import EditableTable
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.tables import CASELOAD
from sizing.measures.typed import amounts
from sizing.people import POPULATIONS, People, population_titles
from sizing.resources import texts
from sizing.stock import Served, Use, demo_scenario, serves_from
from sizing.stock.offers import ASSUMED, Years, usual_rates

_T = texts("stock")
_WIDE = w.Layout(width="auto")
_ENDS = ["estimate", "low", "high"]
_PRICES = ("wash", "examination", "single")
_COLUMNS = [*_T.groups, *[name for name in _T.rules if name != "name"]]


def _box(words: str, value: Any = None, *ends: int, options: Any = None) -> Any:
    """Return the field of an entry of the texts, by the kind of what it begins with."""
    if options is not None:
        return w.Dropdown(options=options, description=words)
    if isinstance(value, str):
        return w.Text(description=words)
    if isinstance(value, bool):
        return w.Checkbox(value=value, description=words, indent=False, layout=_WIDE)
    return w.BoundedIntText(value=value, min=ends[0], max=ends[1], description=words)


class _Part:
    """A part of the form, its fields attributes: it says what is wrong with it."""

    boxes: Mapping[str, Any] = {}
    #: What is asked for only where a field holds a value.
    only: Sequence[tuple[w.Widget, Any, object]] = ()

    def __init__(
        self,
        switch: UnitSwitch,
        changed: Callable[[], object],
        fields: Mapping[str, Sequence[Any]],
        **choices: Mapping[str, str],
    ) -> None:
        self._switch, self._listener = switch, changed
        self.told = w.HTML()
        options = {
            name: [(words, code) for code, words in listed.items()]
            for name, listed in choices.items()
        }
        self.boxes = {
            name: _box(*entry, options=options.get(name))
            for name, entry in fields.items()
        }
        for box in self.boxes.values():
            box.observe(lambda _: self._changed(), "value")

    def __getattr__(self, name: str) -> Any:
        try:
            return self.boxes[name]
        except KeyError:
            raise AttributeError(name) from None

    def tell(self, error: SizingError) -> None:
        self.told.value = bullets(wrong_lines(error, units=self._switch.units))

    def _changed(self) -> None:
        self.told.value = ""
        self._show()
        self._listener()

    def _show(self) -> None:
        for box, field, value in self.only:
            box.layout.display = None if field.value == value else "none"


class PeopleFields(_Part):
    """Groups in a table, and if wanted a caseload, from a file or typed in."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed, _T.own)
        #: What the tables call what has a name in the code.
        titles = population_titles() | _T.short
        self._names = {"people": titles, "number": _T.numbers, "sharing": _T.shared}
        start = self._shared_out(demo_scenario()[0].assign(number="fixed"), 100)
        start = start.reindex(columns=_COLUMNS).astype({"sharing": object})
        self.groups = EditableTable(
            start[list(_T.groups)],
            caption="The groups of people",
            headings=_T.groups,
            choices={
                "people": [titles[name] for name in POPULATIONS],
                "number": [*_T.numbers.values()],
            },
            can_add=True,
            words=["name"],
        )
        self.rules = EditableTable(
            start[list(_T.rules)],
            caption="Rules of their own",
            headings=_T.rules,
            choices={"sharing": [*_T.shared.values()]},
            can_add=True,
            words=["name", "charts"],
        )
        ruled = w.VBox([w.HTML(paragraphs([_T.rules_help])), self.rules.view])
        self.upload = UploadBox("My caseload", table=CASELOAD)
        self.clients = Clients(switch, self.upload)
        typed = self.clients.words, self.upload.view, self.clients.table.view
        own = w.VBox([*typed, self.coming])
        self.only = [(ruled, self.ruled, True), (own, self.own, True)]
        #: Lists of clients of a plan that was kept.
        self.listed: list[Served] = []
        parts = w.HTML(paragraphs([_T.groups_help])), self.groups.view
        self.view = w.VBox([*parts, self.ruled, ruled, self.own, own, self.told])
        for table in (self.rules, self.groups, self.clients.table):
            table.on_change(self._changed)
        self.upload.on_change(self._taken)
        self._show()

    def served(self, use: Use | None = None) -> list[Served]:
        frame = self.groups.frame
        if self.ruled.value:
            frame = self._with_rules(frame)
        made = []
        if not frame.empty:
            _all_filled(frame)
            made = [*serves_from(self._shared_out(frame, 1 / 100), use=use)]
        if self.own.value and self._another:
            coming = self.coming.value
            made.append(
                Served(self.clients.read(), admissions=coming, name="my caseload")
            )
        elif self.own.value:
            made += self.listed
        if not made:
            raise SizingError(_T.say["no_group"])
        return made

    def fill(self, serves: pd.DataFrame, lists: Mapping[str, People], use: Use) -> None:
        own = serves["people"].isin(list(lists))
        self.listed = []
        if own.any():
            self.listed = [*serves_from(serves[own], use=use, lists=lists)]
        table = self._shared_out(serves[~own].reindex(columns=_COLUMNS), 100)
        table = table.astype(object).where(table.notna(), None)
        self.groups.set(table[list(_T.groups)])
        self.rules.set(table[list(_T.rules)])
        self.ruled.value = bool(table[list(_T.rules)[1:]].notna().any(axis=None))
        self.own.value = bool(own.any())
        self._changed()

    def _shared_out(self, frame: pd.DataFrame, times: float) -> pd.DataFrame:
        """Return a table as it is shown (times 100), or as it is read (hundredths)."""
        made = frame.copy()
        for column, names in self._names.items():
            if column in made:
                back = {title: name for name, title in names.items()}
                made[column] = made[column].map(names if times > 1 else back)
        for column in {"at_once", "target"} & set(made):
            made[column] = made[column].map(
                lambda cell: cell * times if isinstance(cell, (int, float)) else cell
            )
        return made

    @property
    def _another(self) -> bool:
        """Whether a list is taken or typed in, or none was kept."""
        typed = not self.clients.table.frame.empty
        return bool(self.upload.names) or typed or not self.listed

    def _with_rules(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the groups with the rules of the services they are called after."""
        rules = self.rules.frame.dropna(subset="name").drop_duplicates("name")
        unknown = [name for name in rules["name"] if name not in set(frame["name"])]
        if unknown:
            raise SizingError(_T.say["no_such_group"].format(name=unknown[0]))
        return frame.merge(rules, on="name", how="left")

    def _taken(self) -> None:
        self._changed()
        if self.upload.names:
            try:
                self.clients.read()
            except SizingError as error:
                self.tell(error)


class UseFields(_Part):
    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        fields = _T.use | _T.goal
        super().__init__(switch, changed, fields, sharing=_T.shared, goal=_T.goals)
        self.view = w.VBox([*(self.boxes[name] for name in _T.use), self.told])
        self.only = [(self.boxes[n], self.boxes[f], v) for n, f, v in _T.only]
        goals = [self.boxes[name] for name in _T.goal]
        self.goal_view = w.VBox([w.HTML(paragraphs([_T.say["needs"]])), *goals])
        self._show()

    def use(self) -> Use:
        pool = self.sharing.value == "shared"
        out = {
            "laundry": (self.laundry.value, 7),
            "inspection or repair": (self.repair.value, 365),
        }
        own: dict[str, Any] = {"passed_on": self.passed_on.value}
        if pool:
            most = self.at_most.value or None
            own = {"at_once": self.at_once.value / 100, "at_most": most}
        out = {reason: rate for reason, rate in out.items() if rate[0] > 0}
        each, spares = self.each.value, self.spares.value
        return Use(self.sharing.value, each, out=out, spares=spares, **own)

    def fill(self, use: Use, goal: Mapping[str, Any]) -> None:
        share = {name: days / every for name, (days, every) in use.out.items()}
        told = asdict(use) | {
            "at_once": round(100 * use.at_once),
            "at_most": use.at_most or 0,
            "laundry": round(7 * share.pop("laundry", 0.0)),
            "repair": round(365 * sum(share.values())),
            "goal": goal["aim"] if "target" in goal else "budget",
        }
        if "budget" in goal:
            told["budget"] = round(goal["budget"])
        if "target" in goal:
            of = "target" if goal["aim"] == "days" else "needs"
            told[of] = round(100 * goal["target"])
        for name in told.keys() & self.boxes.keys():
            self.boxes[name].value = told[name]

    def aim(self) -> dict[str, Any]:
        aim = self.goal.value
        if aim == "budget":
            return {"budget": float(self.budget.value)}
        target = self.target if aim == "days" else self.needs
        return {"target": target.value / 100, "aim": aim}


class YearsFields(_Part):
    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed, _T.years)
        self.rates = EditableTable(
            usual_rates().drop(columns="rate"),
            caption="Rates, with a low and a high end",
            headings=_T.rates,
        )
        about = w.HTML(paragraphs([ASSUMED, _T.prices_help]))
        boxes = self.boxes.values()
        self.view = w.VBox([about, *boxes, self.rates.view, self.told])
        self.rates.on_change(self._changed)

    def years(self) -> Years:
        usual, typed = usual_rates().set_index("rate")[_ENDS], self.rates.frame[_ENDS]
        typed.index = usual.index
        for column in _ENDS:
            typed[column], wrong, _ = amounts(typed[column])
            if wrong or typed[column].isna().any():
                raise SizingError(_T.say["no_rate"])
        changed = typed[(typed != usual).any(axis=1)]
        rates = {str(name): (a, b, c) for name, a, b, c in changed.itertuples()}
        prices = {name: self._price(self.boxes[name]) for name in _PRICES}
        return Years(self.period.value, **prices, rates=rates)

    def fill(self, years: Years) -> None:
        self.period.value = round(years.years)
        for name in _PRICES:
            price = getattr(years, name)
            self.boxes[name].value = "" if price is None else f"{price:g}"
        rates = usual_rates().set_index("rate")
        for name, ends in years.rates.items():
            rates.loc[name, _ENDS] = ends
        self.rates.set(rates.reset_index(drop=True))

    def _price(self, box: w.Text) -> float | None:
        (price,), wrong, _ = amounts([box.value or None], money=True)
        if wrong:
            raise InputProblems([replace(wrong[0], column=box.description)])
        return None if pd.isna(price) else price


def _all_filled(frame: pd.DataFrame) -> None:
    problems = [
        Problem(what, allowed, "fill it in", None, row, _T.groups[column])
        for row, record in enumerate(frame.to_dict("records"), start=2)
        for column, (what, allowed) in _T.missing.items()
        if pd.isna(record[column])
    ]
    if problems:
        raise InputProblems(problems, about="the groups of people")
