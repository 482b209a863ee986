"""``sizing stock``: which sizes to buy, and how many."""

import argparse
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.cautions import cautions
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.cli.options import add_options, told_pattern
from sizing.cli.places import check_places
from sizing.errors import SizingError
from sizing.files.writing import rounded, write_text
from sizing.measures.tables import GROUPS, PRICES
from sizing.pages.stock import stock_page
from sizing.pages.stock_kept import Kept, reopened, side_by_side
from sizing.pages.stock_order import order_sheet, write_order
from sizing.people import read_caseload
from sizing.people.files import read_table
from sizing.stock import (
    SHARING,
    Served,
    StockPlan,
    Use,
    demo_scenario,
    plan_stock,
    serves_from,
)
from sizing.stock.need import AIMS, LARGE_STORE, caseloads_of
from sizing.stock.offers import offer_from
from sizing.stock.years import Years, usual_rates

_TABLES = (
    "order",
    "service",
    "demand",
    "shortages",
    "not_fitted",
    "curve",
    "one_more_or_less",
    "robustness",
    "comparison",
    "again",
    "services",
    "own_orders",
    "variants",
    "yearly",
    "groups",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    more = {"--sharing": {"choices": SHARING}, "--aim": {"choices": tuple(AIMS)}}
    rates = ", ".join(usual_rates()["rate"])
    add_options(parser, "stock", more, large=LARGE_STORE, rates=rates)


def run(args: argparse.Namespace) -> int:
    """Plan, write what was asked for, and print the summary."""
    places = check_places("stock", args)
    for option, needs in (("bought", "open"), ("admissions", "caseload")):
        if getattr(args, option) and getattr(args, needs) is None:
            raise SizingError(f"--{option} says nothing without --{needs}.")
    kept = None if args.open is None else reopened(args.open, bought=args.bought)
    groups = None
    if args.groups is not None:
        groups = read_table(args.groups, GROUPS)
        places.reads(*caseloads_of(groups, args.groups.parent))
    own = [read_chart(path) for path in args.chart]
    charts = own or list(kept.charts if kept else [demo_chart()])
    prices = None
    if args.prices is not None:
        prices = read_prices(args.prices, charts)
    elif kept is not None and not args.chart:
        prices = kept.prices
    if prices is None and not args.chart:
        prices = demo_scenario()[1]
        if args.people or args.groups or args.caseload:
            # The invented store's own slings are no part of anybody else's stock.
            prices = prices.drop(columns=["owned", "last_year"])
    use, years, goal = _settings(args, kept)
    args.pattern = args.pattern or (kept.pattern if kept else None)
    if kept is not None and groups is None and not args.people:
        groups = _served_again(kept, args)
    plan = plan_stock(
        _groups(args, groups, use),
        charts,
        prices=prices,
        use=use,
        years=years,
        scenarios=args.scenarios,
        seed=args.seed,
        progress=not args.json,
        **goal,
    )
    others = {
        str(path): planned_again(path, args.scenarios, args.seed)
        for path in args.beside
    }
    for path in args.order:
        write_order(plan, path, pattern=args.pattern)
    if args.sheet is not None:
        write_text(args.sheet, order_sheet(plan, pattern=args.pattern))
    if args.report is not None:
        write_text(args.report, stock_page(plan, pattern=args.pattern))
    summary = told_pattern(args, plan.limited, plan.summary())
    beside = side_by_side({"this plan": plan, **others})
    if args.json:
        found = as_json(plan) | ({"summary": summary} if args.pattern else {})
        found |= {"beside": _rows(beside)} if others else {}
        print(json.dumps(rounded(found), indent=1))
        return 0
    print(summary)
    if others:
        print(beside.set_index("Plan").T.rename_axis(None, axis=1).to_string())
    return 0


def _settings(
    args: argparse.Namespace, kept: Kept | None
) -> tuple[Use, Years, dict[str, Any]]:
    """Return use, years and goal: what is on the line goes before what was kept."""

    def given(**options: Any) -> dict[str, Any]:
        return {name: one for name, one in options.items() if one is not None}

    use, years = (kept.use, kept.years) if kept else (Use(), Years())
    use = use.changed(
        **given(
            sharing=args.sharing,
            each=args.each,
            at_once=args.at_once,
            at_most=args.at_most,
            spares=args.spares,
            passed_on=False if args.not_passed_on else None,
        ),
        out={**use.out, **_parted("--out", args.out, 2, "laundry=1/7")},
    )
    if args.not_passed_on and use.sharing == "shared":
        raise SizingError("--not-passed-on says nothing of slings from a shared pool.")
    years = replace(
        years,
        **given(
            years=args.years,
            wash=args.wash_price,
            examination=args.examination_price,
            single=args.single_price,
        ),
        rates={**years.rates, **_parted("--rate", args.rate, 3, "life_years=4/2/6")},
    )
    goal = given(target=args.target, budget=args.budget)
    if kept is not None:
        goal = {"aim": kept.goal["aim"], **(goal or kept.goal)}
    return use, years, {**goal, **given(aim=args.aim)}


def _served_again(kept: Kept, args: argparse.Namespace) -> pd.DataFrame:
    """Return whom a plan served, its list of clients being the one of the line."""
    lost = kept.serves["people"].isna()
    if not lost.any():
        return kept.serves
    _all_there(kept, args.open, one=args.caseload is not None)
    listed = kept.serves.assign(
        people=kept.serves["people"].mask(lost, str(args.caseload))
    )
    if args.admissions is not None:
        listed["admissions"] = listed["admissions"].mask(lost, args.admissions)
    # It is served under its kept name and rules, and not once more.
    args.caseload = None
    return listed


def _all_there(kept: Kept, path: Path, *, one: bool = False) -> None:
    if len(kept.missing) > one:
        raise SizingError(
            f"{path.name}: the list of clients '{kept.missing[-1]}' is in no workbook. "
            f"What to do: --open {path.name} with --caseload, for one such list."
        )


def planned_again(path: Path, scenarios: int, seed: int) -> StockPlan:
    """Plan again what was entered for the plan in a workbook."""
    kept = reopened(path)
    _all_there(kept, path)
    return plan_stock(
        kept.serves,
        kept.charts,
        prices=kept.prices,
        use=kept.use,
        years=kept.years,
        scenarios=scenarios,
        seed=seed,
        **kept.goal,
    )


def read_prices(path: Path, charts: list[SizeChart]) -> pd.DataFrame:
    """Read the prices of the charts' sizes, and refuse what is wrong with them."""
    prices = read_table(path, PRICES)
    offer_from(charts, prices)
    return prices


def as_json(plan: StockPlan) -> dict[str, Any]:
    """Return the plan as plain values: tables as lists of rows, NaN as null."""
    tables = {name: _rows(getattr(plan, name)) for name in _TABLES}
    return {
        "answer": plan.answer(),
        "invented": list(plan.invented),
        "cost": plan.cost,
        "currency": plan.currency,
        "bound": plan.bound,
        "gap": None if math.isnan(plan.gap) else plan.gap,
        "target": plan.target,
        "aim": plan.aim,
        "budget": plan.budget,
        "use": plan.use.summary(),
        **tables,
        "limits": list(plan.limits),
        "cautions": list(cautions()),
        "sources": list(plan.sources),
        "settings": dict(plan.settings),
    }


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(frame.to_json(orient="records"))
    return rows


def _groups(
    args: argparse.Namespace, groups: pd.DataFrame | None, use: Use
) -> list[Served]:
    made: list[Served] = []
    if groups is not None:
        folder = args.groups.parent if args.groups else None
        made += serves_from(groups, seed=args.seed, folder=folder, use=use)
    if args.people:
        rows = [_named(text) for text in args.people]
        table = pd.DataFrame(rows, columns=["people", "count"])
        made += serves_from(table, seed=args.seed)
    if args.caseload is not None:
        people = read_caseload(args.caseload, seed=args.seed)
        made.append(Served(people, admissions=args.admissions or 0.0))
    return made or list(serves_from(demo_scenario()[0], seed=args.seed))


def _named(text: str) -> tuple[str, int]:
    name, _, count = text.partition("=")
    count = count.strip()
    if not count.removeprefix("-").isdecimal() or len(count) > 9:
        raise SizingError(
            f"--people {text}: write a population's name and a number of people, such "
            "as --people care_home_us=40."
        )
    return name.strip(), int(count)


def _parted(option: str, texts: list[str], parts: int, such: str) -> dict[str, Any]:
    """Read words such as REASON=DAYS/EVERY, each name once."""
    found: dict[str, Any] = {}
    for text in texts:
        name, _, numbers = (part.strip() for part in text.partition("="))
        if name in found:
            raise SizingError(f"{option} {name} is given twice: keep one.")
        try:
            found[name] = tuple(float(number) for number in numbers.split("/"))
        except ValueError:
            found[name] = ()
        if len(found[name]) != parts:
            raise SizingError(
                f"{option} {text}: write a name and {parts} numbers, such as {option} "
                f"{such}."
            )
    return found
