"""A plan kept in its workbook: what was entered, to be opened again or compared."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, chart_from
from sizing.errors import SizingError, one_of
from sizing.measures import PATTERNS, plain
from sizing.measures.headings import Column, Table
from sizing.measures.tables import CHART, GROUPS, PRICES, take
from sizing.people import People, population_titles, read_caseload
from sizing.people.files import read_table
from sizing.resources import texts
from sizing.stock import StockPlan, Use, Years, offer_from, serves_from
from sizing.stock.need import population_title
from sizing.stock.offers import TOTAL, usual_rates
from sizing.stock.result import money
from sizing.words.numbers import given, share

_T = texts("stock")
#: The sheets that hold what was entered, beside the order's own; lists of clients are
#: in sheets of their own, numbered.
PEOPLE, CHARTS, ENTRIES, CLIENTS = "People", "Charts", "Entries", "Clients "
_ENTRIES = Table(
    "entries", (Column("entry", needed=True), Column("value", needed=True))
)
_OUT, _RATE, _PATTERN = "Out of use: ", "Rate: ", "Pattern of sling"


@dataclass(frozen=True)
class Kept:
    """What was entered for a plan, as ``plan_stock`` takes it."""

    serves: pd.DataFrame
    charts: tuple[SizeChart, ...]
    prices: pd.DataFrame
    use: Use
    goal: Mapping[str, Any]
    years: Years
    pattern: str | None = None
    lists: Mapping[str, People] = field(default_factory=dict)

    @property
    def asked(self) -> dict[str, Any]:
        names = ("charts", "prices", "use", "years")
        serves = serves_from(self.serves, use=self.use, lists=self.lists)
        return {n: getattr(self, n) for n in names} | {**self.goal, "serves": serves}


def kept_sheets(
    plan: StockPlan, *, pattern: str | None = None
) -> dict[str, pd.DataFrame]:
    """Of a list of clients: sex, age, measures taken, and a reference if it had one."""
    people = []
    lists: dict[str, pd.DataFrame] = {}
    held: dict[int, int] = {}
    for one in plan.served:
        who = population_title(one.people)
        if not who and np.ptp(one.people.weight.to_numpy(float)) == 0:
            # Services of one list share its sheet.
            number = held.setdefault(id(one.people), len(held) + 1)
            who = f"{CLIENTS}{number}"
            lists[who] = _listed(one.people)
        rules = _rules(one.use) if one.use else {}
        own = {name: getattr(one, name) for name in ("count", "admissions", "number")}
        charts = "; ".join(one.charts)
        row = {"service": one.title, "people": who, **own, **rules}
        people.append({**row, "target": one.target, "charts": charts})
    offer = plan.offer.table.set_index("chart")
    frames = [
        # Price, pack and what is owned are in the order.
        chart.frame.drop(columns=["price", "owned", "pack"], errors="ignore").assign(
            chart_name=chart.name,
            chart_source=chart.source,
            most=offer.loc[[chart.name], "most"].replace(np.inf, np.nan).to_numpy(),
            last_year=offer.loc[[chart.name], "last_year"].to_numpy(),
        )
        for chart in plan.charts
    ]
    entries: dict[str, Any] = {} if pattern is None else {_PATTERN: pattern}
    for part, of in (("use", plan.use), ("goal", plan), ("years", plan.years)):
        entries |= {w: getattr(of, name) for name, w in _T.entries[part].items()}
    out = plan.use.out.items()
    entries |= {f"{_OUT}{why}": f"{a:g}/{b:g} days" for why, (a, b) in out}
    labels = usual_rates().set_index("rate")["label"]
    for name, ends in plan.years.rates.items():
        entries[_RATE + labels[name]] = "/".join(f"{end:g}" for end in ends)
    listed = pd.DataFrame(entries.items(), columns=["Entry", "Value"], dtype=object)
    # Headings as people write them; the readers know these as well.
    columns = {one.name: one.also.split("|")[0] or one.name for one in GROUPS.columns}
    columns["service"] = columns.pop("name")
    listed_people = pd.DataFrame(people, columns=list(columns))
    return {
        PEOPLE: listed_people.rename(columns=columns),
        CHARTS: pd.concat(frames, ignore_index=True),
        ENTRIES: listed.astype(object).where(listed.notna(), None),
        **lists,
    }


def _listed(people: People) -> pd.DataFrame:
    """Return a list of clients as it was entered: what was drawn is left out."""
    first = (people.frame["draw"] == people.frame["draw"].iloc[0]).to_numpy()
    known = [c for c in ("reference", "sex", "age_years") if c in people.frame]
    frame = people.frame[[*known, *people.measures]].astype(object)
    measured = people.evidence.reindex(columns=list(people.measures)) == "measured"
    frame = frame.where(measured.reindex(columns=frame.columns, fill_value=True))
    shown = frame[first].dropna(axis=1, how="all").reset_index(drop=True)
    units = {name: name.rpartition("_")[2] for name in shown if "_" in str(name)}
    headings = {name: f"{plain(name)} ({unit})" for name, unit in units.items()}
    shown = shown.rename(columns=headings).rename(columns=str.capitalize)
    kept: pd.DataFrame = shown.where(shown.notna(), None)
    return kept


def _rules(use: Use) -> dict[str, Any]:
    rules = asdict(use)
    del rules["out"], rules["passed_on"]
    if use.sharing == "personal":
        rules |= {"at_once": None, "at_most": None}
    days, every = use.out.get("laundry", (0, 7))
    return {**rules, "laundry": 7 * days / every}


def reopened(
    path: str | Path,
    *,
    bought: bool = False,
    clients: str | Path | None = None,
    seed: int = 1,
) -> Kept:
    """Return what a plan's workbook was made of; ``bought``: what it held is owned."""
    file, book = Path(path).name, texts("stock_page").book
    owned = book["stock" if bought else "owned"]
    order = read_table(path, PRICES, called="Order")
    frames = read_table(path, CHART, raw=True, called=CHARTS)
    entries = read_table(path, _ENTRIES, called=ENTRIES)
    for sheet, frame, needed in (
        ("Order", order, (book["size"], book["price"], owned)),
        (CHARTS, frames, ("chart_name",)),
        (ENTRIES, entries, ("Entry", "Value")),
    ):
        for heading in needed:
            if heading not in frame:
                raise _changed(file, sheet, f"there is no column '{heading}'")
    try:
        entered = _entered(entries)
    except (ValueError, KeyError, TypeError) as error:
        raise _changed(file, ENTRIES, str(error)) from error
    columns = {book[name]: name for name in ("size", "chart", "code", "price", "pack")}
    columns[owned] = "owned"
    prices = order[[name for name in columns if name in order]].rename(columns=columns)
    prices = prices[prices["size"] != "Total"].reset_index(drop=True)
    parts = [
        chart_from(part.reset_index(drop=True), warn=False)
        for _, part in frames.groupby("chart_name", sort=False)
    ]
    offered = offer_from(parts, prices).table.set_index("chart")[["owned", "pack"]]
    charts = []
    for one in parts:
        own = offered.loc[[one.name]].reset_index(drop=True)
        frame = one.frame.assign(owned=own["owned"], pack=own["pack"])
        charts.append(replace(one, frame=frame))
    people = take(read_table(path, GROUPS, called=PEOPLE), GROUPS, note=False).frame
    known = {title: name for name, title in population_titles().items()}
    sheets = {}
    for title, service in people[["people", "name"]].itertuples(index=False):
        if str(title).startswith(CLIENTS):
            sheets[title] = service
        elif title not in known:
            raise _changed(file, PEOPLE, f"there are no people called '{title}'")
    if clients is not None and len(sheets) > 1:
        raise SizingError(
            f"{file}: it has {len(sheets)} lists of clients, and one file cannot be in "
            "place of all. What to do: write the lists into its sheets."
        )
    lists = {}
    for sheet, service in sheets.items():
        place = (path, sheet) if clients is None else (clients, "")
        mine = read_caseload(place[0], called=place[1], seed=seed)
        lists[sheet] = replace(mine, name=service)
    people["people"] = people["people"].replace(known)
    # Numbers changed by hand are refused here, with the sheet's other entries.
    serves_from(people, use=entered[0], lists=lists)
    return Kept(people, tuple(charts), prices, *entered, lists)


def _changed(file: str, sheet: str, what: str) -> SizingError:
    return SizingError(
        f"the sheet '{sheet}' was changed so that it cannot be read ({what})",
        allowed="the sheet as the kit wrote it",
        action="correct it, or plan anew",
        file=file,
    )


def _entered(entries: pd.DataFrame) -> tuple[Use, dict[str, Any], Years, str | None]:
    labels = list(entries["Entry"])
    known = {w: (p, n) for p, of in _T.entries.items() for n, w in of.items()}
    for entry in [*known, *labels]:
        if labels.count(entry) != 1:
            raise ValueError(f"the entry '{entry}' is not there once")
        if entry not in known and not str(entry).startswith((_OUT, _RATE, _PATTERN)):
            raise ValueError(f"there is no entry '{entry}' in this version")
    told: dict[str, dict[str, Any]] = {part: {} for part in (*_T.entries, _OUT, _RATE)}
    codes = usual_rates().set_index("label")["rate"]
    pattern = None
    for entry, cell in entries.set_index("Entry")["Value"].dropna().items():
        name = str(entry)
        if name in known:
            part, of = known[name]
            told[part][of] = _value(cell)
        elif name == _PATTERN:
            pattern = str(cell)
            one_of("pattern of sling", pattern, PATTERNS)
        else:
            part = _OUT if name.startswith(_OUT) else _RATE
            of = name.removeprefix(part)
            ends = str(cell).removesuffix(" days").split("/")
            told[part][codes[of] if part == _RATE else of] = tuple(map(float, ends))
    goal = told["goal"]
    goal |= {name: float(goal[name]) for name in ("target", "budget") if name in goal}
    use = Use(**told["use"], out=told[_OUT])
    return use, goal, Years(**told["years"], rates=told[_RATE]), pattern


def _value(cell: object) -> Any:
    try:
        value = json.loads(str(cell).lower())
    except ValueError:
        return str(cell)
    # A workbook knows no whole numbers.
    return int(value) if isinstance(value, float) and value.is_integer() else value


def side_by_side(plans: Mapping[str, StockPlan]) -> pd.DataFrame:
    rows = []
    for name, plan in plans.items():
        told, sign = plan.service.set_index("measure")["estimate"], plan.currency
        goal = f"{given(plan.target)} of {plan.aim}" if plan.target else "a budget of "
        year = plan.yearly.loc[plan.yearly["item"] == TOTAL, "estimate"]
        rows.append(
            {
                "Plan": name,
                "Charts": " and ".join(chart.name for chart in plan.charts),
                "Goal": goal if plan.target else goal + money(plan.budget or 0.0, sign),
                "People": f"{plan.groups['count'].sum():,}",
                "Slings": f"{plan.order['order'].sum():,}",
                "Cost": money(plan.cost, sign),
                "Days nobody waits": share(told["nobody_waits"]),
                "Needs met": share(told["needs_met"]),
                "Who fits no size": f"{told['not_fitted']:,.1f}",
                "A year": money(float(year.iloc[0]), sign) if len(year) else "",
            }
        )
    return pd.DataFrame(rows)
