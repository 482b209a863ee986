"""What a purchaser reads of a plan, and puts before a budget holder."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import OUTCOME_WORDS
from sizing.measures import Say, told, vocabulary, written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots import stock as plots
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.stock import SERVICE, StockPlan
from sizing.stock.alternatives import ONE, OWN
from sizing.stock.need import LARGE_STORE
from sizing.stock.result import DAY, NO_SLING, money, strategy_words, whole_span
from sizing.stock.tables import SHARES
from sizing.words.numbers import interval, points, points_interval, prose
from sizing.words.numbers import share as percent

_T = texts("stock_page")


def stock_page(
    plan: StockPlan, *, units: str = "metric", pattern: str | None = None
) -> str:
    page = stock_report(plan, stock_pictures(plan), units=units)
    return render(page.for_pattern(pattern, plan.limited))


def stock_report(
    plan: StockPlan, drawn: dict[str, Picture], *, units: str = "metric"
) -> Page:
    """Return what the page says, part by part; forms show the same parts."""
    shown = shown_tables(plan, units=units)
    words = {
        "services": pooling_words(plan),
        "yearly": plan.yearly_words(),
        "cost_curve": plan.sizes_words(),
        "not_fitted": _T.page["unfitted"],
    }
    inputs = [f"{what}: {said.rstrip('.')}." for what, said in inputs_of(plan)]
    return Page(
        title=_T.page["title"],
        question=_T.page["question"],
        answer=plan.answer(),
        inputs=" ".join(inputs),
        sections=[
            Section(
                heading,
                words=[words[part]] if part in words else (),
                figures=[drawn[name] for name in _T.pictures if name in within],
                tables=[one for name, one in shown.items() if name in within],
                bullets=[plan.proof()] * (part == "order"),
            )
            for part, (heading, *within) in _T.parts.items()
            if part != "services" or len(plan.services)
        ],
        limits=(NO_SLING, DAY, *plan.limits),
        sources=plan.sources,
    )


def stock_axes(plan: StockPlan) -> dict[str, Axes]:
    ways = plan.comparison["strategy"].map(strategy_words)
    return {
        "comparison": plots.plot_comparison(plan.comparison.assign(strategy=ways)),
        "demand": plots.plot_demand(plan.demand, plan.order),
        "shortages": plots.plot_shortages(plan.shortages),
        "cost_curve": plots.plot_cost_curve(plan.curve, missed=_T.missed[plan.aim]),
    }


def stock_pictures(plan: StockPlan) -> dict[str, Picture]:
    told = plan, [*map(strategy_words, plan.comparison["strategy"])]
    return {
        name: picture(
            figure_of(ax),
            alt=prose("stock_page", name, *told, _T.missed[plan.aim]),
            caption=_T.pictures[name],
        )
        for name, ax in stock_axes(plan).items()
    }


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    large = plan.groups["count"].sum() > LARGE_STORE
    return [
        (heading, prose("stock_page", name, plan, large))
        for name, heading in _T.inputs.items()
    ]


def pooling_words(plan: StockPlan) -> str:
    if plan.services.empty:
        return ""
    costs = plan.services.set_index("service").loc[[OWN, ONE], "cost"]
    return prose("stock_page", "pooled", plan, *costs)


#: How many kinds of people whom no size fits are listed.
_KINDS_SHOWN = 12
_ENDS = ("estimate", "low", "high")


def shown_tables(plan: StockPlan, *, units: str = "metric") -> dict[str, Table]:
    say: Say = partial(written, units=units)
    how: dict[str, Callable[[Any], str]] = {
        "slings": "{:,.0f}".format,
        "cost": plan.money,
        "nobody_waits": percent,
        "needs_met": percent,
        "not_fitted": "{:.1f}".format,
    }
    done, compared, people = plan.service, plan.comparison, plan.robustness
    years, variants, stores = plan.yearly, plan.variants, plan.services
    captions = {n: w.format(years=plan.years.years) for n, w in _T.captions.items()}
    means, shares = done["estimate"], done["measure"].isin(SHARES)
    frames = {
        "order": _order(plan, say),
        "service": done.assign(
            measure=done["measure"].map(SERVICE),
            estimate=means.map("{:,.1f}".format).mask(shares, means.map(percent)),
            between=_each(done, _between),
        ),
        "comparison": compared.assign(
            strategy=compared["strategy"].map(strategy_words),
            more=_each(compared, points_interval).mask(
                compared["strategy"] == "plan", ""
            ),
        ),
        "one_more_or_less": _one(plan.one_more_or_less),
        "robustness": people.assign(
            people=_each(people, lambda r: f"{r['people']}: {told(r['shift'], say)}"),
            nobody=_each(people, interval),
        ).drop(columns=["cost"] if plan.target is None else []),
        "yearly": years.assign(**{e: years[e].map(plan.money) for e in _ENDS}),
        "variants": variants.assign(
            served=(plan.people - variants["not_fitted"]).map("{:,.0f}".format)
        ),
    }
    if len(stores):
        target = stores["target"].map(percent, na_action="ignore").fillna("")
        own = stores.reindex(columns=list(_T.columns["services"]))
        frames["services"] = own.assign(target=target)
        frames["own_orders"] = own_order_list(plan)
    if len(plan.not_fitted):
        frames["not_fitted"] = _unfitted(plan.not_fitted.head(_KINDS_SHOWN), say)
        rest = plan.not_fitted["estimate"][_KINDS_SHOWN:].sum()
        if rest >= 0.05:
            captions["not_fitted"] += _T.say["rarer"].format(rest=rest)
    made = {}
    for name, frame in frames.items():
        columns = _T.columns.get(name, dict.fromkeys(frame))
        columns = {c: h or c for c, h in columns.items() if c in frame}
        shown = pd.DataFrame(
            {
                h: frame[c].map(how.get(c, str), na_action="ignore")
                for c, h in columns.items()
            },
            dtype=object,
        ).fillna("out of reach")
        words = [columns[c] for c in _T.words if c in columns]
        made[name] = table(shown, caption=captions[name], words=words)
    return made


def _each(frame: pd.DataFrame, made: Callable[[Any], object]) -> pd.Series:
    cells = [made(row) for row in frame.to_dict("records")]
    return pd.Series(cells, index=frame.index, dtype=object)


def _between(row: dict[Any, Any]) -> str:
    if row["measure"] not in SHARES:
        return whole_span(row, " and ")
    return " and ".join(dict.fromkeys(percent(row[end]) for end in ("low", "high")))


def _order(plan: StockPlan, say: Say) -> pd.DataFrame:
    order = plan.order
    places = 0 if (order["price"] % 1 == 0).all() else 2
    shown = order.astype(object).assign(
        price=[money(p, plan.currency, places) for p in order["price"]],
        load=[
            "not stated" if pd.isna(kg) else say(kg, "load_limit_kg", to="down")
            for kg in order["load_limit_kg"]
        ],
    )
    sums = order[["order", "owned", "stock"]].sum().to_dict()
    total = {"key": "All", **sums, "price": "", "cost": plan.cost, "load": ""}
    return pd.concat([shown, pd.DataFrame([total], dtype=object)], ignore_index=True)


def own_order_list(plan: StockPlan) -> pd.DataFrame:
    own = plan.own_orders.set_index("key").groupby("service", sort=False)["order"]
    return pd.DataFrame(
        {"Size": plan.order["key"]}
        | {str(name): plan.order["key"].map(order) for name, order in own}
    )


def _one(change: pd.DataFrame) -> pd.DataFrame:
    by = change.pivot_table("nobody_waits_change", "key", "change")
    # Of a size of which none is held none can be taken away.
    by = by.reindex(index=change["key"].unique(), columns=[1, -1])
    shown = by.map(partial(points, places=1)).mask(by.abs() < 5e-4, "none")
    shown = shown.mask(by.isna(), "none held")
    return shown.set_axis(["more", "less"], axis=1).reset_index()


def _unfitted(table: pd.DataFrame, say: Say) -> pd.DataFrame:
    labels = vocabulary().set_index("name")["label"]
    listed = table["client"].map(", row {:.0f}".format, na_action="ignore").fillna("")
    measure = table["failing_measure"]
    return table.assign(
        group=table["group"].astype(str) + listed,
        why=table["outcome"].map(OUTCOME_WORDS).fillna(""),
        direction=table["direction"].map(_T.directions).fillna(""),
        measure=measure.map(labels).fillna(measure),
        miss=_each(table, partial(_miss, say=say)),
        estimate=table["estimate"].map("{:.1f}".format),
        days=_each(table, lambda r: f"{r['low']:.0f} to {r['high']:.0f}"),
    )


def _miss(row: dict[Any, Any], say: Say) -> str:
    measure = str(row["failing_measure"])
    if pd.isna(row["miss_median"]) or not measure.endswith(("_cm", "_kg")):
        return ""
    return say(row["miss_median"], measure, to="tenth")
