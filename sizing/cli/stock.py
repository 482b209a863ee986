"""``sizing stock``: which sizes to buy, and how many."""

import argparse
import json
import math
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.cautions import cautions
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.cli.options import MOST_SEED, whole
from sizing.cli.places import check_places
from sizing.errors import SizingError
from sizing.files.writing import rounded, write_text
from sizing.measures.tables import GROUPS, PRICES
from sizing.pages.stock import stock_page
from sizing.pages.stock_order import order_sheet, write_order
from sizing.people import POPULATIONS, read_caseload
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
from sizing.stock.need import caseloads_of
from sizing.stock.offers import offer_from

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
    "groups",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    who = parser.add_argument_group("who it serves (the invented scenario if nothing)")
    who.add_argument(
        "--people",
        action="append",
        default=[],
        metavar="NAME=COUNT",
        help=f"so many people of a named population: {', '.join(POPULATIONS)}",
    )
    who.add_argument(
        "--caseload", type=Path, help="CSV or XLSX of your own clients, each once"
    )
    who.add_argument(
        "--groups", type=Path, help="CSV or XLSX: people, count, admissions, name"
    )
    who.add_argument(
        "--admissions",
        type=float,
        default=0.0,
        help="clients of the caseload who come over the period; as many leave",
    )
    buy = parser.add_argument_group(
        "what can be bought (the invented chart if nothing)"
    )
    buy.add_argument(
        "--chart",
        type=Path,
        action="append",
        default=[],
        help="size chart; repeat for several. May hold price, owned, pack, last_year",
    )
    buy.add_argument(
        "--prices", type=Path, help="CSV or XLSX: size, price, owned, pack, last_year"
    )
    use = parser.add_argument_group("how slings are used")
    use.add_argument("--sharing", choices=SHARING, default="personal")
    use.add_argument("--each", type=int, default=1, help="slings a client needs")
    use.add_argument(
        "--at-once", type=float, default=1.0, help="shared: share needing one at once"
    )
    use.add_argument("--at-most", type=int, help="shared: most clients lifted at once")
    use.add_argument(
        "--out",
        action="append",
        default=[],
        metavar="REASON=DAYS/EVERY",
        help="out of use, such as laundry=1/7; repeat for several reasons",
    )
    use.add_argument("--spares", type=int, default=0, help="kept back of each size")
    use.add_argument(
        "--not-passed-on",
        action="store_true",
        help="personal: slings do not go to the next client",
    )
    goal = parser.add_argument_group("the goal")
    goal.add_argument(
        "--target", type=float, help="share of days nobody may wait (0.95)"
    )
    goal.add_argument("--budget", type=float, help="money there is")
    goal.add_argument("--scenarios", type=int, default=1000, help="days drawn")
    goal.add_argument("--seed", type=whole(0, MOST_SEED), default=1)
    out = parser.add_argument_group("output")
    out.add_argument(
        "--order",
        type=Path,
        action="append",
        default=[],
        help="write the order list there (.csv or .xlsx); repeat for both",
    )
    out.add_argument(
        "--sheet", type=Path, help="write the order on one A4 page there (.html)"
    )
    out.add_argument("--report", type=Path, help="write the page there (.html)")
    out.add_argument("--json", action="store_true", help="print everything as JSON")


def run(args: argparse.Namespace) -> int:
    """Plan, write what was asked for, and print the summary."""
    places = check_places("stock", args)
    groups = None
    if args.groups is not None:
        groups = read_table(args.groups, GROUPS)
        places.reads(*caseloads_of(groups, args.groups.parent))
    charts = [read_chart(path) for path in args.chart] or [demo_chart()]
    prices = None
    if args.prices is not None:
        prices = read_prices(args.prices, charts)
    if prices is None and not args.chart:
        prices = demo_scenario()[1]
        if args.people or args.groups or args.caseload:
            # The invented store's own slings are no part of anybody else's stock.
            prices = prices.drop(columns=["owned", "last_year"])
    plan = plan_stock(
        _groups(args, groups),
        charts,
        prices=prices,
        use=Use(
            sharing=args.sharing,
            each=args.each,
            at_once=args.at_once,
            at_most=args.at_most,
            out=_rates(args.out),
            spares=args.spares,
            passed_on=not args.not_passed_on,
        ),
        target=args.target,
        budget=args.budget,
        scenarios=args.scenarios,
        seed=args.seed,
        progress=not args.json,
    )
    for path in args.order:
        write_order(plan, path)
    if args.sheet is not None:
        write_text(args.sheet, order_sheet(plan))
    if args.report is not None:
        write_text(args.report, stock_page(plan))
    print(json.dumps(rounded(as_json(plan)), indent=1) if args.json else plan.summary())
    return 0


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


def _groups(args: argparse.Namespace, groups: pd.DataFrame | None) -> list[Served]:
    made: list[Served] = []
    if groups is not None:
        made += serves_from(groups, seed=args.seed, folder=args.groups.parent)
    if args.people:
        rows = [_named(text) for text in args.people]
        table = pd.DataFrame(rows, columns=["people", "count"])
        made += serves_from(table, seed=args.seed)
    if args.caseload is not None:
        people = read_caseload(args.caseload, seed=args.seed)
        made.append(Served(people, admissions=args.admissions))
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


def _rates(texts: list[str]) -> dict[str, tuple[float, float]]:
    """Read REASON=DAYS/EVERY words."""
    found: dict[str, tuple[float, float]] = {}
    for text in texts:
        reason, _, rate = (part.strip() for part in text.partition("="))
        days, _, every = rate.partition("/")
        if reason in found:
            raise SizingError(f"--out {reason} is given twice: keep one.")
        try:
            found[reason] = float(days), float(every)
        except ValueError:
            raise SizingError(
                f"--out {text}: write a reason and days out of days, such as "
                "--out laundry=1/7."
            ) from None
    return found
