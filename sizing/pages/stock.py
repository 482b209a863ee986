"""What a purchaser reads of a plan, and puts before a budget holder."""

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import OUTCOME_WORDS
from sizing.measures import Say, told, vocabulary, written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.stock import SERVICE, StockPlan
from sizing.stock.need import LARGE_STORE
from sizing.stock.result import DAY, NO_SLING, money, strategy_words
from sizing.stock.services import ONE, OWN
from sizing.stock.tables import SHARES
from sizing.words.numbers import given, interval, points, points_interval
from sizing.words.numbers import share as percent

_T = texts("stock_page")
#: The tables and pictures of each part of the page, in their order.
_WITHIN = {
    "order": ("order", "service"),
    "comparison": ("comparison",),
    "demand": ("demand", "shortages"),
    "services": ("services", "own_orders"),
    "yearly": ("yearly",),
    "cost_curve": ("cost_curve", "one_more_or_less", "variants", "robustness"),
    "not_fitted": ("not_fitted",),
}


def stock_page(
    plan: StockPlan, *, units: str = "metric", pattern: str | None = None
) -> str:
    """Return the plan as one HTML page that prints."""
    page = stock_report(plan, stock_pictures(plan), units=units)
    return render(page.for_pattern(pattern, plan.limited))


def stock_report(
    plan: StockPlan, drawn: dict[str, Picture], *, units: str = "metric"
) -> Page:
    """Return what the page says, part by part; forms show the same parts."""
    shown = shown_tables(plan, units=units)
    words = {
        "yearly": (plan.yearly_words(),),
        "cost_curve": (plan.sizes_words(),),
        "not_fitted": (_T.page["unfitted"],),
    }
    parts = dict(_T.parts)
    if len(plan.services):
        words["services"] = (pooling_words(plan),)
    else:
        del parts["services"]
    return Page(
        title=_T.page["title"],
        question=_T.page["question"],
        answer=plan.answer(),
        inputs=" ".join(
            f"{what}: {said.rstrip('.')}." for what, said in inputs_of(plan)
        ),
        sections=[
            Section(
                heading,
                words=words.get(part, ()),
                figures=[drawn[name] for name in _T.pictures if name in _WITHIN[part]],
                tables=[one for name, one in shown.items() if name in _WITHIN[part]],
                bullets=[plan.proof()] * (part == "order"),
            )
            for part, heading in parts.items()
        ],
        limits=(NO_SLING, DAY, *plan.limits),
        sources=plan.sources,
    )


def stock_axes(plan: StockPlan) -> dict[str, Axes]:
    """Return the pictures of a plan by name, in the order of the page."""
    ways = plan.comparison["strategy"].map(strategy_words)
    return {
        "comparison": plot_comparison(plan.comparison.assign(strategy=ways)),
        "demand": plot_demand(plan.demand, plan.order),
        "shortages": plot_shortages(plan.shortages),
        "cost_curve": plot_cost_curve(plan.curve, missed=_T.missed[plan.aim]),
    }


def stock_pictures(plan: StockPlan) -> dict[str, Picture]:
    compared = plan.comparison.to_dict("records")
    held = dict(zip(plan.order["key"], plan.order["stock"], strict=True))
    fitted = plan.demand.query("share == 'fits'").to_dict("records")
    worst = max(plan.shortages.to_dict("records"), key=lambda row: row["estimate"])
    curve = plan.curve.to_dict("records")
    told = {
        "met": [
            f"{strategy_words(r['strategy'])} {percent(r['needs_met'])}"
            for r in compared
        ],
        "fits": [
            f"{r['key']} fits {r['estimate']:.0f} people, {held[r['key']]} held"
            for r in fitted
        ],
        "costs": [f"{r['cost']:,.0f}: {percent(r['estimate'])}" for r in curve],
        "worst": [worst["key"]],
        "share": [percent(worst["estimate"])],
        "missed": [_T.missed[plan.aim]],
    }
    said = {name: ", ".join(parts) for name, parts in told.items()}
    return {
        name: picture(
            figure_of(ax), alt=_T.alt[name].format(**said), caption=_T.pictures[name]
        )
        for name, ax in stock_axes(plan).items()
    }


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    goals = []
    if plan.target is not None:
        goal = _T.page[plan.aim].format(target=given(plan.target))
        if plan.aim == "needs" and plan.groups["count"].sum() > LARGE_STORE:
            goal += _T.page["why_needs"]
        goals.append(_T.page["least"].format(goal=goal))
    if plan.budget is not None:
        spent = money(plan.budget, plan.currency)
        goals.append(_T.page["spent"].format(money=spent))
    said = {
        "served": ". ".join(
            _group_words(row) for row in plan.groups.to_dict("records")
        ),
        "use": plan.use.summary(),
        "goal": " and ".join(goals),
        "drawn": _T.page["drawn"].format(**plan.settings),
    }
    return [(heading, said[name]) for name, heading in _T.inputs.items()]


def _group_words(row: dict[Any, Any]) -> str:
    words = f"{row['group']}: {row['count']:,} people"
    if row["people"] != row["group"]:
        words += f", drawn from {row['people']}"
    if row["number"] == "poisson":
        words += ", their number varying by chance"
    if row["admissions"]:
        words += f", {row['admissions']:g} admitted over the period"
    if row["charts"]:
        words += f", from {row['charts']} alone"
    if row["use"]:
        words += f". Rules of its own: {row['use'].rstrip('.').lower()}"
    return words[0].upper() + words[1:]


#: How many kinds of people whom no size fits are listed.
_KINDS_SHOWN = 12
#: Columns of words, in whatever table.
_WORDS: list[str] = _T.words


def shown_tables(plan: StockPlan, *, units: str = "metric") -> dict[str, Table]:
    """Return a plan's tables as people read them, in the order of the page."""
    say = partial(written, units=units)
    cash = partial(money, currency=plan.currency)
    how: dict[str, Callable[[Any], str]] = {
        "slings": "{:,.0f}".format,
        "cost": cash,
        "nobody_waits": percent,
        "needs_met": percent,
        "not_fitted": "{:.1f}".format,
    }
    compared = plan.comparison
    ends = ["estimate", "low", "high"]
    captions = {
        name: words.format(years=plan.years.years)
        for name, words in _T.captions.items()
    }
    frames = {
        "order": _order(plan, say),
        "service": _service(plan.service),
        "comparison": compared.assign(
            strategy=compared["strategy"].map(strategy_words),
            more=_each(compared, points_interval).mask(compared["strategy"] == "plan"),
        ).fillna({"more": ""}),
        "one_more_or_less": _one(plan.one_more_or_less),
        "robustness": _robust(plan, say),
        "yearly": plan.yearly.assign(**{e: plan.yearly[e].map(cash) for e in ends}),
        "variants": plan.variants.assign(
            served=(plan.people - plan.variants["not_fitted"]).map("{:,.0f}".format)
        ),
    }
    if len(plan.services):
        target = plan.services["target"].map(lambda t: "" if pd.isna(t) else percent(t))
        own = plan.services.reindex(columns=list(_T.columns["services"]))
        frames["services"] = own.assign(target=target)
        frames["own_orders"] = own_order_list(plan)
    if len(plan.not_fitted):
        frames["not_fitted"] = _unfitted(plan, say)
        rest = plan.not_fitted["estimate"][_KINDS_SHOWN:].sum()
        if rest >= 0.05:
            captions["not_fitted"] += _T.say["rarer"].format(rest=rest)
    made = {}
    for name, frame in frames.items():
        columns = _T.columns.get(name, dict.fromkeys(frame))
        columns = {c: h or c for c, h in columns.items() if c in frame}
        cells = {
            heading: frame[column].map(how.get(column, str), na_action="ignore")
            for column, heading in columns.items()
        }
        shown = pd.DataFrame(cells).astype(object).fillna("out of reach")
        words = [columns[c] for c in _WORDS if c in columns]
        made[name] = table(shown, caption=captions[name], words=words)
    return made


def _each(frame: pd.DataFrame, made: Callable[[Any], object]) -> pd.Series:
    cells = [made(row) for row in frame.to_dict("records")]
    return pd.Series(cells, index=frame.index, dtype=object)


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


def _service(service: pd.DataFrame) -> pd.DataFrame:
    ends = {
        end: _each(service, partial(_number, column=end))
        for end in ("estimate", "low", "high")
    }
    return pd.DataFrame(
        {
            "measure": service["measure"].map(SERVICE),
            "estimate": ends["estimate"],
            "between": ends["low"].where(
                ends["low"] == ends["high"], ends["low"] + " and " + ends["high"]
            ),
        }
    )


def _number(row: dict[Any, Any], column: str) -> str:
    if row["measure"] in SHARES:
        return percent(row[column])
    # Of one service, so in whole people and slings, its ends outwards.
    if column == "estimate":
        return f"{row[column]:,.1f}"
    low = column == "low"
    end = math.floor(row[column] + 0.05) if low else math.ceil(row[column] - 0.05)
    return f"{end:,}"


def pooling_words(plan: StockPlan) -> str:
    cost = plan.services.set_index("service")["cost"]
    own, one = cost[OWN], cost[ONE]
    if pd.isna(own):
        return str(_T.say["no_own"])
    if pd.isna(one):
        return str(_T.say["no_one"])
    cash, less = partial(money, currency=plan.currency), own - one
    share = percent(less / (own or 1.0))
    saved = _T.say["saved"].format(less=cash(less), share=share)
    if round(less) <= 0:
        saved = _T.say["nothing_saved"]
    return str(_T.say["pooled"].format(own=cash(own), one=cash(one), saved=saved))


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
    return by.map(_points).set_axis(["more", "less"], axis=1).reset_index()


def _points(value: float) -> str:
    if pd.isna(value):
        return "none held"
    return "none" if abs(value) < 5e-4 else points(value, places=1)


def _robust(plan: StockPlan, say: Say) -> pd.DataFrame:
    table = plan.robustness
    who = _each(table, lambda r: f"{r['people']}: {told(r['shift'], say)}")
    shown = table.assign(people=who, nobody=_each(table, interval))
    return shown if plan.target is not None else shown.drop(columns="cost")


def _unfitted(plan: StockPlan, say: Say) -> pd.DataFrame:
    labels = vocabulary().set_index("name")["label"]
    table = plan.not_fitted.head(_KINDS_SHOWN)
    listed = table["client"].map(
        lambda client: "" if pd.isna(client) else f", row {client:.0f}"
    )
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
