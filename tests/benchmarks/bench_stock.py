"""Time stock planning, and compare who-waits with one flow per day.

Run from the project's root:  python tests/benchmarks/bench_stock.py
Prints processor seconds, all from this one run: the invented scenario (106
clients, 9 sizes, 1,000 planning days), three charts (27 sizes) and 1,000 clients,
and the ways of deciding who waits. Each on ready-made people.
"""

import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, chart_from, demo_chart
from sizing.people import load_people
from sizing.stock import Served, Use, demo_scenario, offer_from, plan_stock, serves_from
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import programme_from
from sizing.stock.service import flow_shortage


def spent(work: Callable[[], object]) -> tuple[float, float, object]:
    """Return processor seconds, elapsed seconds and the result."""
    start, clock = time.process_time(), time.perf_counter()
    result = work()
    return time.process_time() - start, time.perf_counter() - clock, result


def three_charts() -> list[SizeChart]:
    """Return the demo chart and two like it with their edges moved."""
    made = []
    prices = demo_scenario()[1]["price"]
    for name, shift in (("first", 0), ("second", 3), ("third", -2)):
        frame = demo_chart().frame.copy()
        moved = frame.columns.str.contains("hip_|shoulder_") & ~frame.columns.isin(
            ["size"]
        )
        frame.loc[:, moved] = frame.loc[:, moved] + shift
        made.append(
            chart_from(frame.assign(price=prices + 2 * shift), name=name, warn=False)
        )
    return made


def main() -> None:
    serves, prices = demo_scenario()
    small = serves_from(serves)
    many = [
        Served(load_people(name), count)
        for name, count in (("care_home", 400), ("bariatric", 60), ("children", 540))
    ]
    laundry = Use(out={"laundry": (1, 7)}, spares=1)
    jobs: dict[str, Callable[[], object]] = {
        "106 clients, 9 sizes, target": lambda: plan_stock(
            small, demo_chart(), prices=prices
        ),
        "the same, laundry and spares": lambda: plan_stock(
            small, demo_chart(), prices=prices, use=laundry
        ),
        "the same, by a budget": lambda: plan_stock(
            small, demo_chart(), prices=prices, budget=9000.0
        ),
        "1,000 clients, 27 sizes, target": lambda: plan_stock(many, three_charts()),
    }
    for words, job in jobs.items():
        cpu, elapsed, plan = spent(job)
        row = plan.service.iloc[0]  # type: ignore[attr-defined]
        print(
            f"{words}: {cpu:.1f} s of processor, {elapsed:.1f} s elapsed; cost "
            f"{plan.cost:,.0f}, gap {plan.gap:.4f}, nobody waits "  # type: ignore[attr-defined]
            f"{row['estimate']:.3f} ({row['low']:.3f} to {row['high']:.3f})"
        )
        others = plan.comparison  # type: ignore[attr-defined]
        print(others[["strategy", "needs_met", "estimate", "low", "high"]].round(3))

    offer = offer_from(three_charts())
    groups = [group_from(group, offer) for group in many]
    days = draw_days(groups, Use(), sizes=27, days=1000, seed=(1, 0))
    needs = programme_from(offer, days, 0).needs
    fits = ((needs.masks[:, None] >> np.arange(27)) & 1).astype(bool)
    each = needs.counts @ (fits / fits.sum(axis=1, keepdims=True))
    for level in (0.5, 0.9):
        free = np.ceil(np.quantile(each, level, axis=0)).astype(int)
        rows = np.broadcast_to(free, (1000, 27))
        turn, _, found = spent(lambda free=free: needs.shortage(free))  # type: ignore[misc]
        single, _, flows = spent(
            lambda rows=rows: [  # type: ignore[misc]
                flow_shortage(needs.counts[i : i + 1], fits, rows[i : i + 1])[0][0]
                for i in range(200)
            ]
        )
        same = np.array_equal(np.array(flows), found.waiting[:200])  # type: ignore[attr-defined]
        print(
            f"who waits on 1,000 days, 27 sizes, {(found.waiting > 0).sum()} days "  # type: ignore[attr-defined]
            f"short: {turn:.3f} s; one flow a day {5 * single:.2f} s, ratio "
            f"{5 * single / turn:.0f}; the same answer: {same}"
        )


if __name__ == "__main__":
    pd.set_option("display.width", 100)
    main()
