"""Whom a stock of slings serves, and how the slings are used."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError, one_of
from sizing.measures.tables import GROUPS, take
from sizing.measures.typed import amount
from sizing.people import (
    POPULATIONS,
    People,
    load_people,
    population_titles,
    read_caseload,
)
from sizing.resources import texts
from sizing.words.numbers import prose

_T = texts("stock_plan")
#: Whether the number of clients present is the same each day.
NUMBERS: tuple[str, ...] = ("fixed", "poisson")
SHARING: tuple[str, ...] = ("personal", "shared")
#: What a target is a share of, and what is usual for each (our choice, no source).
AIMS: dict[str, float] = {"days": 0.95, "needs": 0.99}
#: Beyond so many people a target is of needs unless days are asked for (our choice).
LARGE_STORE = 200
#: Beyond so many clients of one group a number is a slip (our choice).
MOST_PEOPLE = 1_000_000
#: Columns of a table of groups: rules of how slings are used, and numbers.
_RULES = ("sharing", "each", "at_once", "at_most", "spares")
_NUMBERS = ("count", "admissions", *_RULES[1:], "laundry", "target")


@dataclass(frozen=True)
class Use:
    """How slings are used.

    - ``sharing``: ``personal``: one client's as long as she stays; ``shared``: a
      pool's.
    - ``at_once``, ``at_most``: Shared only: the chance that a client needs one at the
      busiest moment, and most clients lifted at once, such as the number of hoists.
    - ``out``: Out of use, by reason: ``{"laundry": (1, 7)}`` is 1 day in 7.
    - ``spares``: Kept back of every size stocked; they serve nobody in the reckoning.
    - ``passed_on``: Personal only. If not, everyone admitted over the period needs her
      own, and the target is the chance that the stock lasts the period.
    """

    sharing: str = "personal"
    each: int = 1
    at_once: float = 1.0
    at_most: int | None = None
    out: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    spares: int = 0
    passed_on: bool = True

    def __post_init__(self) -> None:
        one_of("sharing", self.sharing, SHARING)
        chance = _is_number(self.at_once, least=0) and self.at_once <= 1
        good = {
            "each": _is_whole(self.each, least=1),
            "at_once": chance,
            "at_most": self.at_most is None or _is_whole(self.at_most, least=1),
            "spares": _is_whole(self.spares, least=0),
            "passed_on": isinstance(self.passed_on, bool),
        }
        wrong = [(name, getattr(self, name), "") for name in good if not good[name]]
        rates = self.out.items()
        wrong += [("out", pair, why) for why, pair in rates if not _is_rate(pair)]
        if not wrong and self.share_out >= 0.9:
            wrong.append(("nearly_all", self.share_out, ""))
        alone = self.at_once == 1.0 and self.at_most is None
        if not alone and self.sharing == "personal":
            wrong.append(("pool", self.sharing, ""))
        if wrong:
            say = _T.use_wrong
            problems = [
                Problem(what.format(reason=why), allowed, "correct it", value=value)
                for name, value, why in wrong
                for what, allowed in [say[name]]
            ]
            raise InputProblems(problems, about="how slings are used")

    def changed(self, **rules: Any) -> "Use":
        """Return it with other rules; slings of one's own have none of a pool's."""
        if rules.get("sharing", self.sharing) == "personal":
            rules = {"at_once": 1.0, "at_most": None, **rules}
        return replace(self, **rules)

    @property
    def share_out(self) -> float:
        return sum(float(days) / float(every) for days, every in self.out.values())

    def summary(self) -> str:
        return prose("stock_plan", "use", self)


@dataclass(frozen=True)
class Served:
    """One group of clients.

    - ``people``: Whom clients are like; if ``count`` is None a caseload, each person
      once.
    - ``admissions``: How many come over the period; as many leave. A caseload's client
      has been replaced on a day with probability ``1 - exp(-admissions * t / count)``,
      t uniform on 0 to 1; where people are drawn it matters only if slings are not
      passed on.
    - ``number``: ``fixed``, or ``poisson``: it varies, as where people come
      independently and stay for any length of time (Palm's theorem; from memory).
    - ``name``: Groups of one name are one service; ``use``, ``target``: its own.
    - ``charts``: Names of the charts it buys from; all that are offered if empty.
    """

    people: People
    count: int | None = None
    admissions: float = 0.0
    number: str = "fixed"
    name: str = ""
    use: Use | None = None
    target: float | None = None
    charts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not isinstance(self.people, People):
            kind = type(self.people).__name__
            raise SizingError(_T.served_wrong["people"].format(kind=kind))
        count, coming, target = self.count, self.admissions, self.target
        one_of(f"number of people ('{self.title}')", self.number, NUMBERS)
        many = count is None or (_is_whole(count, least=0) and count <= MOST_PEOPLE)
        share = target is None or (_is_number(target, least=0) and 0 < target < 1)
        good = {
            "count": many,
            "admissions": _is_number(coming, least=0) and coming <= MOST_PEOPLE,
            "target": share,
            "number": count is not None or self.number == "fixed",
        }
        for name in good:
            if not good[name]:
                held = {"value": repr(getattr(self, name)), "most": MOST_PEOPLE}
                words = _T.served_wrong[name].format(**held)
                raise SizingError(f"{self.title}: {words}" if self.title else words)

    @property
    def title(self) -> str:
        return self.name or people_title(self.people)

    @property
    def present(self) -> int:
        return self.people.n if self.count is None else int(self.count)


def population_title(people: People) -> str:
    """ "" where they are no named population, whatever their list is called."""
    named = people.settings.get("name") == people.name
    return population_titles().get(people.name, "") if named else ""


def people_title(people: People) -> str:
    return population_title(people) or people.name


def serves_from(
    serves: Served | Sequence[Served] | pd.DataFrame,
    *,
    seed: int = 1,
    folder: str | Path | None = None,
    use: Use | None = None,
    lists: Mapping[str, People] | None = None,
) -> tuple[Served, ...]:
    """Return the groups of clients, from groups or from a table of them.

    A row per group: ``people`` (a population, a caseload's file, or one of ``lists``),
    ``count``, ``admissions``, ``number``, ``name``, and rules of its own in place of
    ``use``: ``sharing``, ``each``, ``at_once``, ``at_most``, ``laundry`` (days out of
    7), ``spares``, ``target``, ``charts`` (parted by semicolons). With ``folder``,
    caseloads are looked for there or below and nowhere else: who hands on a table does
    not choose which other files of this machine are read.
    """
    if isinstance(serves, Served):
        return (serves,)
    if not isinstance(serves, pd.DataFrame):
        groups = tuple(serves)
        if not groups or not all(isinstance(group, Served) for group in groups):
            raise SizingError(
                "Say who the stock serves: one or more Served(...), or a table with "
                "the columns people and count."
            )
        return groups
    taken = take(serves, GROUPS)
    made: list[Served] = []
    with taken.told("" if taken.file else "the groups to be served"):
        problems = []
        if serves.empty:
            problems.append(Problem("there is no group", "a row per group", row=2))
        for row, record in enumerate(taken.frame.to_dict("records"), start=2):
            try:
                filled = _numbers(record, row)
                who = str(filled.get("people", "")).strip()
                people = (lists or {}).get(who)
                if people is None:
                    people = _people(who, filled.get("count"), seed, folder)
                made.append(_served(people, filled, use or Use()))
            except InputProblems as error:
                problems += list(error.problems)
            except SizingError as error:
                problems.append(Problem(str(error), row=row))
        if problems:
            raise InputProblems(problems)
    return tuple(made)


def _numbers(record: Mapping[Any, Any], row: int) -> dict[Any, Any]:
    filled = {c: v for c, v in record.items() if not pd.isna(v) and v != ""}
    for column in [name for name in _NUMBERS if name in filled]:
        found = amount(filled[column])
        if isinstance(found, Problem):
            wrong = replace(found, row=row, column=column, value=filled[column])
            raise InputProblems([wrong])
        value = found[0]
        whole = isinstance(value, float) and value.is_integer()
        filled[column] = int(value) if whole else value
    return filled


def _people(
    who: str, count: int | None, seed: int, folder: str | Path | None
) -> People:
    if who in POPULATIONS or who == "care_home":
        people = load_people(who, seed=seed)
        if count is None:
            titled = population_titles()[who]
            raise SizingError(f"How many {titled}? Fill in the number of people.")
        return people
    if _is_file(who):
        path = Path(who) if folder is None else _inside(Path(folder), who)
        return read_caseload(path, seed=seed)
    raise SizingError(
        f"Unknown people {who!r}. Allowed: {', '.join(POPULATIONS)}, or the path "
        "of a caseload file (.csv or .xlsx)."
    )


def _served(people: People, filled: Mapping[str, Any], use: Use) -> Served:
    rules = {name: filled[name] for name in _RULES if name in filled}
    if "laundry" in filled:
        rules["out"] = {**use.out, "laundry": (filled["laundry"], 7)}
        if not filled["laundry"]:
            del rules["out"]["laundry"]
    own = use.changed(**rules)
    return Served(
        people,
        filled.get("count"),
        admissions=filled.get("admissions", 0.0),
        number=str(filled.get("number", "fixed")),
        name=str(filled.get("name", "")),
        use=None if own == use else own,
        target=filled.get("target"),
        charts=tuple(filter(None, map(str.strip, filled.get("charts", "").split(";")))),
    )


def caseloads_of(table: pd.DataFrame, folder: Path) -> list[Path]:
    """Return the files that a table of groups names, as ``serves_from`` finds them."""
    taken = take(table, GROUPS, note=False, collect=True).frame
    cells = taken.get("people", ())
    return [folder / str(who).strip() for who in cells if _is_file(str(who).strip())]


def _is_file(who: str) -> bool:
    return Path(who).suffix.lower() in (".csv", ".xlsx")


def _inside(folder: Path, who: str) -> Path:
    try:
        inside = (folder / who).resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        inside = False
    if not inside:
        raise SizingError(
            f"The caseload {who!r} is not in the folder of the table that names it. "
            "Put the file beside the table, or in a folder there, and write its name."
        )
    return folder / who


def _is_number(value: Any, *, least: float) -> bool:
    number = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
    return number and math.isfinite(value) and value >= least


def _is_whole(value: Any, *, least: int) -> bool:
    whole = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
    return whole and value >= least


def _is_rate(pair: Any) -> bool:
    if not isinstance(pair, Sequence) or isinstance(pair, str) or len(pair) != 2:
        return False
    numbers = all(_is_number(one, least=0) for one in pair)
    return numbers and pair[1] > 0 and pair[0] <= pair[1]
