"""The parts of the purchaser's form on whom the stock serves, and how it is used."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import bullets, paragraphs, wrong_lines
from sizing.app.people_tables import (
    CASELOAD_HELP,
    as_file,
    caseload_headings,
    clients_table,
    typed_clients,
)
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.tables import CASELOAD
from sizing.measures.typed import amounts
from sizing.people import POPULATIONS, People, population_titles, read_caseload
from sizing.resources import texts
from sizing.stock import Served, Use, demo_scenario, serves_from
from sizing.stock.years import ASSUMED, Years, usual_rates

_T = texts("stock")
_WIDE = w.Layout(width="auto")
_POOL = "shared"


class _Part:
    """A part of the form: it says what is wrong with it, until something changes."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._switch, self._listener = switch, changed
        self.told = w.HTML()

    def tell(self, error: SizingError) -> None:
        """Say what is wrong."""
        self.told.value = bullets(wrong_lines(error, units=self._switch.units))

    def _changed(self) -> None:
        self.told.value = ""
        self._listener()


class PeopleFields(_Part):
    """Groups in a table, and if wanted a caseload, from a file or typed in."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed)
        self._titles = population_titles() | _T.short
        start = demo_scenario()[0]
        start["people"] = start["people"].map(self._titles)
        start["number"] = _T.numbers["fixed"]
        self.groups = EditableTable(
            start[list(_T.groups)],
            caption="The groups of people",
            headings=_T.groups,
            choices={
                "people": [self._titles[name] for name in POPULATIONS],
                "number": [*_T.numbers.values()],
            },
            can_add=True,
            words=["name"],
        )
        words = "Some services have rules of their own: sharing, laundry, charts"
        self.ruled = w.Checkbox(description=words, indent=False, layout=_WIDE)
        self.rules = EditableTable(
            start[["name"]].reindex(columns=list(_T.rules)).astype(object),
            caption="Rules of their own",
            headings=_T.rules,
            choices={"sharing": [*_T.shared.values()]},
            can_add=True,
            words=["name", "charts"],
        )
        about = w.HTML(paragraphs([_T.rules_help]))
        self._ruled = w.VBox([about, self.rules.view])
        self._ruled.layout.display = "none"
        words = "I also serve clients I have measured (a caseload)"
        self.own = w.Checkbox(description=words, indent=False, layout=_WIDE)
        self.upload = UploadBox("My caseload", table=CASELOAD)
        self.coming = _number("Admissions to my caseload over the period", 0)
        self.clients: EditableTable | None = None
        self._caseload = w.VBox(layout=w.Layout(display="none"))
        self.view = w.VBox(
            [
                w.HTML(paragraphs([_T.groups_help])),
                self.groups.view,
                self.ruled,
                self._ruled,
                self.own,
                self._caseload,
                self.told,
            ]
        )
        self.ruled.observe(lambda _: self._rule(), "value")
        self.rules.on_change(self._changed)
        self.own.observe(lambda _: self._open(), "value")
        self.coming.observe(lambda _: self._changed(), "value")
        self.groups.on_change(self._changed)
        self.upload.on_change(self._taken)

    def served(self, use: Use | None = None) -> list[Served]:
        """Return the groups of people; ``use`` is what holds without other rules."""
        frame = self.groups.frame
        if self.ruled.value:
            frame = self._with_rules(frame)
        made = [] if frame.empty else [*serves_from(self._codes(frame), use=use)]
        if self.own.value:
            coming = self.coming.value
            made.append(Served(self._clients(), admissions=coming, name="my caseload"))
        if not made:
            raise SizingError("Say who the stock serves: fill in a group of people.")
        return made

    def fill(self, serves: pd.DataFrame) -> None:
        """Take groups and their rules from a plan that was kept."""
        table = serves.reindex(columns=[*_T.groups, *list(_T.rules)[1:]])
        table = table.assign(
            people=table["people"].map(self._titles),
            number=table["number"].map(_T.numbers),
            sharing=table["sharing"].map(_T.shared),
            at_once=table["at_once"].astype(float) * 100,
            target=table["target"].astype(float) * 100,
        ).astype(object)
        table = table.where(table.notna(), None)
        self.groups.set(table[list(_T.groups)])
        rules = table[list(_T.rules)]
        self.rules.set(rules)
        self.ruled.value = bool(rules.drop(columns="name").notna().any(axis=None))
        self._changed()

    def _with_rules(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the groups with the rules of the services they are called after."""
        rules = self.rules.frame.dropna(subset="name").drop_duplicates("name")
        unknown = [name for name in rules["name"] if name not in set(frame["name"])]
        if unknown:
            raise SizingError(
                f"Rules are given for '{unknown[0]}', and no group is called so. What "
                "to do: write its name as in the groups of people."
            )
        for name in ("at_once", "target"):
            rules[name] = rules[name].map(_of_one, na_action="ignore")
        names = {shown: name for name, shown in _T.shared.items()}
        rules["sharing"] = rules["sharing"].map(names)
        return frame.merge(rules, on="name", how="left")

    def _rule(self) -> None:
        self._ruled.layout.display = None if self.ruled.value else "none"
        self._changed()

    def _codes(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the table with the populations' own names."""
        needed = {
            "people": ("nobody is chosen", "one of the list"),
            "count": ("the number of people is missing", "0 or more, whole"),
        }
        problems = [
            Problem(what, allowed, "fill it in", None, row, _T.groups[column])
            for row, record in enumerate(frame.to_dict("records"), start=2)
            for column, (what, allowed) in needed.items()
            if pd.isna(record[column])
        ]
        if problems:
            raise InputProblems(problems, about="the groups of people")
        titles = {"people": self._titles, "number": _T.numbers}
        names = {
            column: {title: name for name, title in own.items()}
            for column, own in titles.items()
        }
        return frame.assign(**{c: frame[c].map(own) for c, own in names.items()})

    def _clients(self) -> People:
        people: People = (
            self.upload.read(read_caseload)
            if self.upload.names
            else as_file(typed_clients(self.clients), read_caseload, "my caseload")
        )
        return people

    def _taken(self) -> None:
        """Read the file at once, so that what is wrong is said beside it."""
        self._changed()
        if self.upload.names:
            try:
                self._clients()
            except SizingError as error:
                self.tell(error)

    def _open(self) -> None:
        if self.clients is None:
            self.clients = clients_table(self._switch)
            self.clients.on_change(self._changed)
            about = w.HTML(paragraphs([CASELOAD_HELP]) + caseload_headings())
            entries = self.upload.view, self.clients.view, self.coming
            self._caseload.children = (about, *entries)
        self._caseload.layout.display = None if self.own.value else "none"
        self._changed()


class UseFields(_Part):
    """How slings are used, and what is planned for."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed)
        self.sharing = w.Dropdown(
            options=[(shown, name) for name, shown in _T.shared.items()],
            description="Slings are",
        )
        words = "A sling goes to another client when its own leaves"
        self.passed_on = w.Checkbox(
            value=True, description=words, indent=False, layout=_WIDE
        )
        self.at_once = _number("Clients in 100 who need one at once", 100, 1, 100)
        self.at_most = _number("Most clients lifted at once (0: no limit)", 0)
        self.each = _number("Slings for each client at a time", 1, 1, 10)
        self.laundry = _number("Days out of 7 in the laundry", 0, 0, 6)
        self.repair = _number("Days out of 365 in inspection or repair", 0, 0, 180)
        self.spares = _number("Spares kept back of each size", 0, 0, 20)
        self.goal = w.Dropdown(
            options=[
                ("days on which nobody waits, at least cost", "days"),
                ("needs met, at least cost", "needs"),
                ("a budget", "budget"),
            ],
            description="Plan for",
        )
        self.target = _number("Days in 100 on which nobody may wait", 95, 1, 99)
        self.needs = _number("Needs in 100 that must be met", 99, 1, 99)
        why = (
            "Of more than 200 people take needs met: among very many people someone "
            "waits on most days whatever is bought."
        )
        self.budget = _number("Money there is", 8000, 0, 100_000_000)
        uses = [self.sharing, self.passed_on, self.at_once, self.at_most, self.each]
        uses += [self.laundry, self.repair, self.spares]
        goals = [self.goal, self.target, self.needs, self.budget]
        self.view = w.VBox([*uses, self.told])
        self.goal_view = w.VBox([w.HTML(paragraphs([why])), *goals])
        for box in (*uses, *goals):
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

    def fill(self, use: Use, goal: Mapping[str, Any]) -> None:
        """Take use and goal from a plan that was kept."""
        out = {name: days / every for name, (days, every) in use.out.items()}
        laundry = out.pop("laundry", 0.0)
        for box, value in (
            (self.sharing, use.sharing),
            (self.passed_on, use.passed_on),
            (self.at_once, round(100 * use.at_once)),
            (self.at_most, use.at_most or 0),
            (self.each, use.each),
            (self.laundry, round(7 * laundry)),
            (self.repair, round(365 * sum(out.values()))),
            (self.spares, use.spares),
            (self.goal, goal["aim"] if "target" in goal else "budget"),
            (self.budget, round(goal.get("budget", self.budget.value))),
        ):
            box.value = value
        if "target" in goal:
            box = self.target if goal["aim"] == "days" else self.needs
            box.value = round(100 * goal["target"])

    def aim(self) -> dict[str, Any]:
        """Return the goal as ``plan_stock`` takes it."""
        aim = self.goal.value
        if aim == "budget":
            return {"budget": float(self.budget.value)}
        target = self.target if aim == "days" else self.needs
        return {"target": target.value / 100, "aim": aim}

    def _changed(self) -> None:
        self._show()
        super()._changed()

    def _show(self) -> None:
        """Show what the choices ask for, and nothing else."""
        pool = self.sharing.value == _POOL
        for box, shown in (
            (self.passed_on, not pool),
            (self.at_once, pool),
            (self.at_most, pool),
            (self.target, self.goal.value == "days"),
            (self.needs, self.goal.value == "needs"),
            (self.budget, self.goal.value == "budget"),
        ):
            box.layout.display = None if shown else "none"


class YearsFields(_Part):
    """How long the stock is kept, what keeping it costs, and the rates behind that."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed)
        self.period = _number("Years the stock is kept", 5, 1, 50)
        self.wash = w.Text(description="Price of washing one sling")
        self.examination = w.Text(description="Price of examining one sling")
        self.single = w.Text(description="Price of a single-patient sling")
        prices = [self.wash, self.examination, self.single]
        self.rates = EditableTable(
            usual_rates().drop(columns="rate"),
            caption="Rates, with a low and a high end",
            headings={
                "label": "Rate",
                "estimate": "Usual",
                "low": "Low",
                "high": "High",
                "source": "Where it is from",
            },
        )
        about = w.HTML(paragraphs([ASSUMED, _T.prices_help]))
        self.view = w.VBox([about, self.period, *prices, self.rates.view, self.told])
        for box in (self.period, *prices):
            box.observe(lambda _: self._changed(), "value")
        self.rates.on_change(self._changed)

    def years(self) -> Years:
        """Return how long the stock is kept, and what keeping it costs."""
        usual, typed = usual_rates(), self.rates.frame
        ends = ["estimate", "low", "high"]
        for column in ends:
            numbers, wrong, _ = amounts(typed[column])
            if wrong or pd.isna(numbers).any():
                raise SizingError("A rate is no number. What to do: correct it.")
            typed[column] = numbers
        changed = (typed[ends].to_numpy() != usual[ends].to_numpy()).any(axis=1)
        rates = {
            name: tuple(row)
            for name, row in zip(
                usual["rate"][changed], typed.loc[changed, ends].to_numpy(), strict=True
            )
        }
        prices = {
            name: self._price(getattr(self, name))
            for name in ("wash", "examination", "single")
        }
        return Years(self.period.value, **prices, rates=rates)

    def fill(self, years: Years) -> None:
        """Take years, prices and rates from a plan that was kept."""
        self.period.value = round(years.years)
        for name in ("wash", "examination", "single"):
            price = getattr(years, name)
            getattr(self, name).value = "" if price is None else f"{price:g}"
        rates = usual_rates().set_index("rate")
        for name, ends in years.rates.items():
            rates.loc[name, ["estimate", "low", "high"]] = ends
        self.rates.set(rates.reset_index(drop=True))

    def _price(self, box: w.Text) -> float | None:
        """Return a price typed, with or without a sign; None where there is none."""
        (price,), wrong, _ = amounts([box.value or None], money=True)
        if wrong:
            raise InputProblems([replace(wrong[0], column=box.description)])
        return None if pd.isna(price) else price


def _of_one(cell: object) -> object:
    """Return so many of 100 as a share; what is no number stays for who judges it."""
    return cell / 100 if isinstance(cell, (int, float)) else cell


def _number(words: str, value: int, least: int = 0, most: int = 5000) -> Any:
    return w.BoundedIntText(value=value, min=least, max=most, description=words)
