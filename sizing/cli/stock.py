"""``sizing stock``: which sizes to buy, and how many."""

import argparse
import math
from dataclasses import fields, replace
from typing import Any

import pandas as pd

from sizing.charts import demo_chart, read_chart
from sizing.cli.options import add_options, told_pattern
from sizing.errors import SizingError
from sizing.files.writing import json_text, write_text
from sizing.measures.tables import GROUPS, PRICES
from sizing.pages.stock_kept import Kept, reopened, side_by_side
from sizing.people import read_caseload
from sizing.people.files import read_table
from sizing.resources import cautions
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
from sizing.stock.offers import Years, usual_rates


def add_arguments(parser: argparse.ArgumentParser) -> None:
    more = {"--sharing": {"choices": SHARING}, "--aim": {"choices": tuple(AIMS)}}
    rates = ", ".join(usual_rates()["rate"])
    add_options(parser, "stock", more, large=LARGE_STORE, rates=rates)


def run(args: argparse.Namespace) -> int:
    if args.admissions is not None and args.caseload is None and args.open is None:
        raise SizingError("--admissions says nothing without --caseload.")
    if args.bought and args.open is None:
        raise SizingError("--bought says nothing without --open.")
    kept = groups = prices = None
    if args.open is not None:
        how = {"bought": args.bought, "clients": args.caseload}
        kept = reopened(args.open, **how, seed=args.seed)
    if args.groups is not None:
        groups = read_table(args.groups, GROUPS)
        args.places.reads(*caseloads_of(groups, args.groups.parent))
    charts = [read_chart(path) for path in args.chart]
    charts = charts or list(kept.charts if kept else [demo_chart()])
    if args.prices is not None:
        prices = read_table(args.prices, PRICES)
    elif kept is not None and not args.chart:
        prices = kept.prices
    elif not args.chart:
        prices = demo_scenario()[1]
        if args.people or args.groups or args.caseload:
            # The invented store's own slings are no part of anybody else's stock.
            prices = prices.drop(columns=["owned", "last_year"])
    use, years, goal = _settings(args, kept)
    args.pattern = args.pattern or (kept.pattern if kept else None)
    served = _groups(args, groups, use, kept)
    days = {"scenarios": args.scenarios, "seed": args.seed}
    own = {"prices": prices, "use": use, "years": years, **goal}
    plan = plan_stock(served, charts, **own, **days, progress=not args.json)
    plans = {"this plan": plan}
    for path in args.beside:
        plans[str(path)] = plan_stock(**reopened(path, seed=args.seed).asked, **days)
    _write(args, plan)
    summary = told_pattern(args, plan.limited, plan.summary())
    beside = side_by_side(plans)
    if args.json:
        found = as_json(plan) | ({"summary": summary} if args.pattern else {})
        print(json_text(found | ({"beside": beside} if args.beside else {})))
        return 0
    print(summary)
    if args.beside:
        print(beside.set_index("Plan").T.rename_axis(None, axis=1).to_string())
    return 0


def _write(args: argparse.Namespace, plan: StockPlan) -> None:
    # Pages and workbooks are loaded only where they are asked for.
    if args.order or args.sheet is not None:
        from sizing.pages.stock_order import order_sheet, write_order

        for path in args.order:
            write_order(plan, path, pattern=args.pattern)
        if args.sheet is not None:
            write_text(args.sheet, order_sheet(plan, pattern=args.pattern))
    if args.report is not None:
        from sizing.pages.stock import stock_page

        write_text(args.report, stock_page(plan, pattern=args.pattern))


def _settings(
    args: argparse.Namespace, kept: Kept | None
) -> tuple[Use, Years, dict[str, Any]]:
    """Return use, years and goal: what is on the line goes before what was kept."""

    def given(*names: str) -> dict[str, Any]:
        told = {name.removesuffix("_price"): getattr(args, name) for name in names}
        return {name: value for name, value in told.items() if value is not None}

    use, years = (kept.use, kept.years) if kept else (Use(), Years())
    if args.not_passed_on:
        use = use.changed(passed_on=False)
    own = given("sharing", "each", "at_once", "at_most", "spares")
    own["out"] = {**use.out, **_parted("--out", args.out, 2, "laundry=1/7")}
    use = use.changed(**own)
    if args.not_passed_on and use.sharing == "shared":
        raise SizingError("--not-passed-on says nothing of slings from a shared pool.")
    rates = _parted("--rate", args.rate, 3, "life_years=4/2/6")
    prices = given("years", "wash_price", "examination_price", "single_price")
    years = replace(years, **prices, rates={**years.rates, **rates})
    goal = given("target", "budget")
    if kept is not None:
        goal = {"aim": kept.goal["aim"], **(goal or kept.goal)}
    return use, years, {**goal, **given("aim")}


def as_json(plan: StockPlan) -> dict[str, Any]:
    held = {one.name: getattr(plan, one.name) for one in fields(plan)}
    plain = ("cost", "currency", "bound", "target", "aim", "budget")
    tables = {n: of for n, of in held.items() if isinstance(of, pd.DataFrame)}
    return {
        "answer": plan.answer(),
        "invented": list(plan.invented),
        **{name: held[name] for name in plain},
        "gap": None if math.isnan(plan.gap) else plan.gap,
        "use": plan.use.summary(),
        **tables,
        "limits": list(plan.limits),
        "cautions": list(cautions()),
        "sources": list(plan.sources),
        "settings": dict(plan.settings),
    }


def _groups(
    args: argparse.Namespace, groups: pd.DataFrame | None, use: Use, kept: Kept | None
) -> list[Served]:
    made: list[Served] = []
    again, mine = {"seed": args.seed}, kept.lists if kept and not args.people else {}
    if groups is not None:
        made += serves_from(groups, folder=args.groups.parent, use=use, **again)
    elif kept is not None and not args.people:
        serves = kept.serves
        if args.admissions is not None:
            own = serves["people"].isin(list(mine))
            coming = serves["admissions"].mask(own, args.admissions)
            serves = serves.assign(admissions=coming)
        made += serves_from(serves, use=use, lists=mine, **again)
    if args.people:
        rows = [_named(text) for text in args.people]
        made += serves_from(pd.DataFrame(rows, columns=["people", "count"]), **again)
    # In place of a list kept it is served under that one's name and rules.
    if args.caseload is not None and not (mine and groups is None):
        people = read_caseload(args.caseload, **again)
        made.append(Served(people, admissions=args.admissions or 0.0))
    return made or list(serves_from(demo_scenario()[0], **again))


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
