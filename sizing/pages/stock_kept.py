"""A plan kept in its workbook: what was entered, to be opened again or compared."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, chart_from
from sizing.errors import SizingError, one_of
from sizing.measures.headings import Column, Table
from sizing.measures.patterns import PATTERNS
from sizing.measures.tables import CHART, GROUPS, PRICES, take
from sizing.people import population_titles
from sizing.people.files import read_table
from sizing.stock import StockPlan, Use, Years, offer_from, serves_from
from sizing.stock.result import money
from sizing.stock.years import TOTAL, usual_rates
from sizing.words.numbers import given, share

#: The sheets that hold what was entered, beside the order's own.
PEOPLE, CHARTS, ENTRIES = "People", "Charts", "Entries"
_ENTRIES = Table(
    "entries", (Column("entry", needed=True), Column("value", needed=True))
)
_USE = {
    "sharing": "Slings are",
    "each": "Slings for each client",
    "at_once": "Share of clients who need one at once",
    "at_most": "Most clients lifted at once",
    "spares": "Spares of each size",
    "passed_on": "Passed on to the next client",
}
_GOAL = {"target": "Target", "aim": "Target is a share of", "budget": "Budget"}
_YEARS = {
    "years": "Years it is kept",
    "wash": "Price of a wash",
    "examination": "Price of an examination",
    "single": "Price of a single-patient sling",
}
_OUT, _RATE, _PATTERN = "Out of use: ", "Rate: ", "Pattern of sling"


@dataclass(frozen=True)
class Kept:
    """What was entered for a plan.

    ``serves`` is a table as ``serves_from`` takes it, but for lists of clients, which
    are in no workbook: their ``people`` are empty. ``prices`` are as ``offer_from``
    takes them; what is owned stands in the charts too, for other prices. ``goal`` goes
    to ``plan_stock``.
    """

    serves: pd.DataFrame
    charts: tuple[SizeChart, ...]
    prices: pd.DataFrame
    use: Use
    goal: Mapping[str, Any]
    years: Years
    pattern: str | None = None

    @property
    def missing(self) -> tuple[str, ...]:
        """The services whose lists of clients are in no workbook."""
        return tuple(self.serves.loc[self.serves["people"].isna(), "name"])


def kept_sheets(
    plan: StockPlan, *, pattern: str | None = None
) -> dict[str, pd.DataFrame]:
    """Return the sheets that hold what was entered for a plan."""
    titles = population_titles()
    people = [
        {
            "service": one.title,
            "people": titles.get(one.people.name, ""),
            "count": one.count,
            "admissions": one.admissions,
            "number": one.number,
            **(_rules(one.use) if one.use else {}),
            "target": one.target,
            "charts": "; ".join(one.charts),
        }
        for one in plan.served
    ]
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
    use, years = plan.use, plan.years
    entries: dict[str, Any] = {} if pattern is None else {_PATTERN: pattern}
    entries |= {words: getattr(use, name) for name, words in _USE.items()}
    entries |= {f"{_OUT}{why}": f"{a:g}/{b:g} days" for why, (a, b) in use.out.items()}
    entries |= {words: getattr(plan, name) for name, words in _GOAL.items()}
    entries |= {words: getattr(years, name) for name, words in _YEARS.items()}
    labels = usual_rates().set_index("rate")["label"]
    for name, ends in years.rates.items():
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
    }


def _rules(use: Use) -> dict[str, Any]:
    rules = asdict(use)
    del rules["out"], rules["passed_on"]
    if use.sharing == "personal":
        rules |= {"at_once": None, "at_most": None}
    days, every = use.out.get("laundry", (0, 7))
    return {**rules, "laundry": 7 * days / every}


def reopened(path: str | Path, *, bought: bool = False) -> Kept:
    """Return what was entered for the plan in a workbook that the kit wrote.

    - ``bought``: Whether the order was bought since: what it "then held" is owned now.
      Otherwise what was owned before it.

    Raises
    ------
    InputProblems
        If it is no such workbook, or an entry in it cannot be.
    """
    file = Path(path).name
    owned = "Then held" if bought else "Owned before"
    order = read_table(path, PRICES, called="Order")
    frames = read_table(path, CHART, raw=True, called=CHARTS)
    entries = read_table(path, _ENTRIES, called=ENTRIES)
    needed = (
        ("Order", order, ("Size", "Price of one", owned)),
        (CHARTS, frames, ("chart_name",)),
        (ENTRIES, entries, ("Entry", "Value")),
    )
    for sheet, frame, headings in needed:
        for heading in headings:
            if heading not in frame:
                raise _changed(file, sheet, f"there is no column '{heading}'")
    try:
        entered = _entered(entries)
    except (ValueError, KeyError, TypeError) as error:
        raise _changed(file, ENTRIES, str(error)) from error
    columns = {
        "Size": "size",
        "Chart": "chart",
        "Supplier's code": "code",
        "Price of one": "price",
        "Sold in packs of": "pack",
        owned: "owned",
    }
    prices = order[[name for name in columns if name in order]].rename(columns=columns)
    prices = prices[prices["size"] != "Total"].reset_index(drop=True)
    charts = tuple(
        chart_from(part.reset_index(drop=True), warn=False)
        for _, part in frames.groupby("chart_name", sort=False)
    )
    offered = offer_from(charts, prices).table.set_index("chart")
    charts = tuple(
        replace(
            chart,
            frame=chart.frame.assign(
                **{
                    c: offered.loc[[chart.name], c].to_numpy()
                    for c in ("owned", "pack")
                }
            ),
        )
        for chart in charts
    )
    people = take(read_table(path, GROUPS, called=PEOPLE), GROUPS, note=False).frame
    names = {title: name for name, title in population_titles().items()}
    for title in people["people"].dropna():
        if title not in names:
            raise _changed(file, PEOPLE, f"there are no people called '{title}'")
    people["people"] = people["people"].map(names)
    known = people[people["people"].notna()]
    if len(known):
        # Numbers changed by hand are refused here, with the sheet's other entries.
        serves_from(known, use=entered[0])
    return Kept(people, charts, prices, *entered)


def _changed(file: str, sheet: str, what: str) -> SizingError:
    return SizingError(
        f"the sheet '{sheet}' was changed so that it cannot be read ({what})",
        allowed="the sheet as the kit wrote it",
        action="correct it, or plan anew",
        file=file,
    )


def _entered(entries: pd.DataFrame) -> tuple[Use, dict[str, Any], Years, str | None]:
    """Return use, goal, years and pattern from the entries, which must be there."""
    labels = entries["Entry"]
    known = [*_USE.values(), *_GOAL.values(), *_YEARS.values()]
    for entry in [*known, *labels]:
        if list(labels).count(entry) != 1:
            raise ValueError(f"the entry '{entry}' is not there once")
        if entry not in known and not str(entry).startswith((_OUT, _RATE, _PATTERN)):
            raise ValueError(f"there is no entry '{entry}' in this version")
    told = entries.set_index("Entry")["Value"].dropna()

    def number(value: object) -> Any:
        amount = float(str(value))
        return int(amount) if amount.is_integer() else amount

    def parts(first: str) -> dict[str, tuple[float, ...]]:
        return {
            str(name).removeprefix(first): tuple(
                float(part) for part in str(value).removesuffix(" days").split("/")
            )
            for name, value in told.items()
            if str(name).startswith(first)
        }

    use = {name: told[words] for name, words in _USE.items() if words in told}
    for name in ("each", "at_once", "at_most", "spares"):
        if name in use:
            use[name] = number(use[name])
    use["passed_on"] = {"true": True, "false": False}[str(use["passed_on"]).lower()]
    goal: dict[str, Any] = {"aim": str(told[_GOAL["aim"]])}
    for name in ("target", "budget"):
        if _GOAL[name] in told:
            goal[name] = float(number(told[_GOAL[name]]))
    years = {n: number(told[words]) for n, words in _YEARS.items() if words in told}
    codes = usual_rates().set_index("label")["rate"]
    rates: Any = {codes[label]: ends for label, ends in parts(_RATE).items()}
    pattern = told.get(_PATTERN)
    if pattern is not None:
        one_of("pattern of sling", pattern, PATTERNS)
    made = Use(**use, out=parts(_OUT))  # type: ignore[arg-type]
    return made, goal, Years(**years, rates=rates), pattern


def side_by_side(plans: Mapping[str, StockPlan]) -> pd.DataFrame:
    """Return plans side by side, one a row, as people read them."""
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
