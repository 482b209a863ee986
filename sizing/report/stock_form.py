"""The purchaser's form: fill in, press, read; no code is needed."""

import html
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd
from IPython.display import HTML, display

from sizing.chart import demo_chart, read_chart
from sizing.errors import SizingError
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.population import POPULATIONS, read_caseload
from sizing.population.files import read_table
from sizing.report.page import picture
from sizing.report.stock import order_list, stock_page, write_order
from sizing.stock import Served, StockPlan, Use, demo_scenario, plan_stock, serves_from

_WIDE = widgets.Layout(width="34em")
_STYLE = {"description_width": "19em"}


class StockForm:
    """Fields for whom the stock serves, how slings are used, and the goal.

    Attributes
    ----------
    plan : StockPlan or None
        The last plan made.
    """

    def __init__(self) -> None:
        serves, _ = demo_scenario()
        count = dict(zip(serves["people"], serves["count"], strict=True))
        self.plan: StockPlan | None = None
        self.counts = {
            name: _number(f"People like '{name}'", int(count.get(name, 0)))
            for name in POPULATIONS
        }
        self.caseload = _text("My caseload (CSV or XLSX file)")
        self.admissions = _number("Admissions to my caseload, over the period", 0)
        self.charts = _text("My charts (CSV files, parted by ;)")
        self.prices = _text("My prices and stock (CSV file)")
        self.sharing = widgets.Dropdown(
            options=[("one of her own for each client", "personal"),
                     ("a shared pool", "shared")],
            description="Slings are", style=_STYLE, layout=_WIDE,
        )  # fmt: skip
        self.at_once = widgets.FloatSlider(
            value=1.0, min=0.05, max=1.0, step=0.05, readout_format=".0%",
            description="Pool: share who need one at once", style=_STYLE, layout=_WIDE,
        )  # fmt: skip
        self.at_most = _number("Pool: most lifted at once (0: no limit)", 0)
        self.laundry = _number("Laundry: days out of 7", 0, most=6)
        self.repair = _number("Inspection and repair: days out of 365", 0, most=180)
        self.spares = _number("Spares kept back of each size", 0, most=20)
        self.goal = widgets.Dropdown(
            options=[("a target at least cost", "target"), ("a budget", "budget")],
            description="Plan for", style=_STYLE, layout=_WIDE,
        )  # fmt: skip
        self.target = widgets.FloatSlider(
            value=0.95, min=0.5, max=0.99, step=0.01, readout_format=".0%",
            description="Days on which nobody waits", style=_STYLE, layout=_WIDE,
        )  # fmt: skip
        self.budget = widgets.FloatText(
            value=8000.0, description="Budget", style=_STYLE, layout=_WIDE
        )
        self.scenarios = 1000
        self.button = widgets.Button(description="Plan the stock", icon="check")
        self.button.on_click(lambda _: self.run())
        self.output = widgets.Output()

    def show(self) -> None:
        """Show the form."""
        fields = [
            widgets.HTML(
                "<b>Whom the stock serves</b> (the numbers shown are invented)"
            ),
            *self.counts.values(),
            self.caseload,
            self.admissions,
            widgets.HTML(
                "<b>What can be bought</b> (left empty: an invented chart and prices)"
            ),
            self.charts,
            self.prices,
            widgets.HTML("<b>How slings are used</b>"),
            self.sharing,
            self.at_once,
            self.at_most,
            self.laundry,
            self.repair,
            self.spares,
            widgets.HTML("<b>The goal</b>"),
            self.goal,
            self.target,
            self.budget,
            self.button,
            self.output,
        ]
        display(widgets.VBox(fields))

    def run(self) -> StockPlan | None:
        """Plan with what the fields say; a mistake is told in the output."""
        self.output.clear_output()
        with self.output:
            try:
                self.plan = self._plan()
            except SizingError as error:
                self.plan = None
                display(HTML(f"<p><b>Please check:</b> {html.escape(str(error))}</p>"))
            else:
                show_plan(self.plan)
        return self.plan

    def save(self, folder: str | Path = ".") -> tuple[Path, ...]:
        """Write the page and the order list, and return where they are."""
        if self.plan is None:
            raise SizingError("There is no plan to save yet: press 'Plan the stock'.")
        folder = Path(folder)
        page = folder / "stock_plan.html"
        page.write_text(stock_page(self.plan), encoding="utf-8")
        lists = folder / "stock_order.csv", folder / "stock_order.xlsx"
        for path in lists:
            write_order(self.plan, path)
        return page, *lists

    def _plan(self) -> StockPlan:
        rows = [
            {"people": name, "count": int(field.value)}
            for name, field in self.counts.items()
            if field.value > 0
        ]
        groups: list[Served] = list(serves_from(pd.DataFrame(rows))) if rows else []
        if self.caseload.value.strip():
            people = read_caseload(self.caseload.value.strip())
            groups.append(Served(people, admissions=float(self.admissions.value)))
        if not groups:
            raise SizingError("Say whom the stock serves: fill in a number of people.")
        named = [name.strip() for name in self.charts.value.split(";") if name.strip()]
        charts = [read_chart(name) for name in named] or [demo_chart()]
        prices: pd.DataFrame | None = None
        if self.prices.value.strip():
            prices = read_table(self.prices.value.strip())
        elif not named:
            prices = demo_scenario()[1]
        out = {"laundry": (self.laundry.value, 7), "repair": (self.repair.value, 365)}
        shared = self.sharing.value == "shared"
        use = Use(
            sharing=self.sharing.value,
            at_once=self.at_once.value if shared else 1.0,
            at_most=(self.at_most.value or None) if shared else None,
            out={reason: rate for reason, rate in out.items() if rate[0] > 0},
            spares=self.spares.value,
        )
        by_target = self.goal.value == "target"
        return plan_stock(
            groups,
            charts,
            prices=prices,
            use=use,
            target=self.target.value if by_target else None,
            budget=None if by_target else float(self.budget.value),
            scenarios=self.scenarios,
            progress=True,
        )


def show_plan(plan: StockPlan) -> None:
    """Show a plan: its answer, the order, and pictures."""
    display(HTML(f"<p style='font-size:115%'>{html.escape(plan.answer())}</p>"))
    order = order_list(plan).drop(columns=["chart", "packs"])
    display(HTML(order.to_html(index=False, float_format="{:,.0f}".format)))
    plots: list[tuple[Any, str]] = [
        (plot_demand(plan.demand, plan.order), "Demand by size, and the slings held"),
        (plot_shortages(plan.shortages), "Chance of being short, by size"),
        (plot_cost_curve(plan.curve), "Cost against the chance that somebody waits"),
        (plot_comparison(plan.comparison), "The same money spent otherwise"),
    ]
    for axes, words in plots:
        made = picture(axes.figure, alt=words, caption=words)
        display(
            HTML(
                f"<figure><img style='max-width:46em;width:100%' alt='{words}' "
                f"src='data:image/png;base64,{made.base64}'>"
                f"<figcaption>{words}</figcaption></figure>"
            )
        )
    for line in plan.summary().splitlines()[1:]:
        display(HTML(f"<p>{html.escape(line)}</p>"))


def _number(words: str, value: int, *, most: int = 5000) -> widgets.BoundedIntText:
    return widgets.BoundedIntText(
        value=value, min=0, max=most, description=words, style=_STYLE, layout=_WIDE
    )


def _text(words: str) -> widgets.Text:
    return widgets.Text(
        placeholder="none", description=words, style=_STYLE, layout=_WIDE
    )
