"""What slings tried on teach, as parts for the screen and as pages; the form."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import SizeChart
from sizing.measures import vocabulary
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots.style import figure_of
from sizing.plots.teaching import plot_learned
from sizing.resources import invented_first, source_table, texts
from sizing.trials.learn import LearnedChart
from sizing.trials.read import taught
from sizing.words.labels import labels
from sizing.words.numbers import share, span, unit_of, written

_T = texts("trials")
_BLANK_ROWS = 16


def pictures(found: LearnedChart, *, units: str = "metric") -> dict[str, Axes]:
    drawn = {}
    for measure in found.learned["measure"].unique():
        rows = found.edges[found.edges["measure"] == measure].copy()
        columns = ["printed", "estimate", "low", "high"]
        one = float(written(1000, measure, units, to="tenth").split()[0]) / 1000
        rows[columns] *= 1.0 if units == "metric" else one
        label = f"{_name(measure)}, {unit_of(measure, units)}"
        stem = measure.rsplit("_", 1)[0]
        drawn[f"learned_{stem}"] = plot_learned(rows, measure, label=label)
    return drawn


def trials_page(found: LearnedChart, *, units: str = "metric") -> Page:
    trials, left, own = found.trials, found.trials.left_out, _T.page
    about = own["pattern"].format(pattern=trials.pattern) if trials.pattern else ""
    n, chart = len(trials.frame), trials.chart

    def part(name: str, **shown: Any) -> Section:
        words = own[f"{name}_words"].format(n=len(left))
        return Section(own[name], [words], **shown)

    drawn = [_picture(ax) for ax in pictures(found, units=units).values()]
    rows = left.head(50).to_dict("records")
    return Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(n=n, chart=chart.name, about=about),
        answer=invented_first(found.invented, found.answer(units)),
        sections=[
            part("both", figures=drawn, tables=[edges_table(found, units)]),
            part("chart", tables=[_chart_table(found.chart, units)]),
            part("disagree", tables=_service_tables(found)),
            part("left_out", bullets=[own["left_out_row"].format_map(r) for r in rows]),
            Section(own["why"], [_T.not_found]),
        ],
        limits=_T.limits,
        sources=_T.sources,
    ).for_pattern(trials.pattern, chart.measures)


def _name(measure: str) -> str:
    return labels()[measure].rsplit(", ", 1)[0]


def form_page(chart: SizeChart, pattern: str | None = None) -> str:
    told, own = source_table("trial_protocol.csv"), _T.form
    common = told["source"].mode()[0]
    measures = list(taught(chart))
    how = vocabulary().set_index("name").loc[measures]
    how = how[["label", "how_seated", "how_lying"]]
    how = how.set_axis(["Measure", "Seated", "Lying"], axis=1)
    heads = [*own["heads_before"], *(labels()[m] for m in measures)]
    heads += own["heads_after"]
    # A space that does not break makes a row high enough to write in.
    blank = pd.DataFrame([["\u00a0"] * len(heads)] * _BLANK_ROWS, columns=heads)
    how_table = table(how, caption=own["how_caption"], words=list(map(str, how)))
    form = table(blank, caption=own["form_caption"], words=heads)
    steps = [
        Section(row["heading"], [row["text"]], bullets=[row["source"]])
        if row["source"] != common
        else Section(row["heading"], [row["text"]])
        for row in told.to_dict("records")
    ]
    places = ", ".join(how["Measure"].str.lower())
    page = Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(chart=chart.name),
        answer=invented_first(chart.invented, own["answer"]),
        sections=[
            *steps,
            Section(own["rests"], [own["rests_words"].format(common=common)]),
            Section(own["how"], tables=[how_table]),
            Section(
                own["form"], [own["form_words"].format(places=places)], tables=[form]
            ),
        ],
        limits=_T.limits[:3],
        sources=_T.sources[2:],
    )
    return render(page.for_pattern(pattern, chart.measures))


def edges_table(found: LearnedChart, units: str = "metric") -> Table:
    say = partial(written, units=units)

    def cells(row: Mapping[Any, Any]) -> dict[str, object]:
        measure, more = str(row["measure"]), row["more_trials"]
        learned, sure, lacks = row["why_none"], "", ""
        if pd.notna(row["estimate"]):
            learned = say(row["estimate"], measure, to="half")
            sure = span(row["low"], row["high"], measure, say, to="half")
            lacks = "over 2,000"
        if pd.notna(more):
            lacks = "none" if more == 0 else f"{more:.0f}"
        return {
            "Size": row["size"],
            "Edge": f"{_name(measure)} {'from' if row['end'] == 'low' else 'to'}",
            "Printed": say(row["printed"], measure, to="half"),
            "Learned": learned,
            "90 % interval": sure,
            "Trials of the size": row["n"],
            "Off there": row["limiting"],
            "More for 1 cm": lacks,
        }

    rows = found.edges[found.edges["n"] > 0].to_dict("records")
    words = ["Size", "Edge", "Printed", "Learned", "90 % interval"]
    frame = pd.DataFrame(map(cells, rows))
    return table(frame, caption=_T.page["edges_caption"], words=words)


def _chart_table(chart: SizeChart, units: str) -> Table:
    rows = {"Size": list(chart.sizes)}
    for measure in chart.measures:
        ends = (f"{measure}_low", f"{measure}_high")
        rows[_name(measure)] = [
            " to ".join(
                "no limit" if pd.isna(v) else written(v, measure, units, to="half")
                for v in (row.get(end) for end in ends)
            )
            for row in chart.frame.to_dict("records")
        ]
    return table(pd.DataFrame(rows), caption=chart.name, words=list(rows))


def _service_tables(found: LearnedChart) -> list[Table]:
    rows, tables, own = found.services, [], _T.page
    if len(rows):
        shown = pd.DataFrame(
            {
                "Service": rows["service"],
                "Trials": rows["n"],
                "Called": rows["outcome"],
                "Times": rows["count"],
                "Expected": rows["expected"].map("{:.1f}".format),
                "Disagrees": rows["disagrees"].map({True: "yes", False: "no"}),
            }
        )
        if rows["estimate"].notna().any():
            ends = rows[["estimate", "low", "high"]].itertuples(index=False)
            shown[own["reaches"]] = [
                "{:+.1f}, {:+.1f} to {:+.1f}".format(*r) for r in ends
            ]
        words = ["Service", "Called", "Disagrees"]
        tables.append(table(shown, caption=own["services_caption"], words=words))
    odd = found.surprising.head(20)
    if len(odd):
        chance = odd["chance"].map(partial(share, places=1))
        shown = odd.assign(chance=chance).set_axis(own["odd_heads"], axis=1)
        words = own["odd_heads"][1:4]
        tables.append(table(shown, caption=own["odd_caption"], words=words))
    return tables


def _picture(ax: Axes) -> Picture:
    label = ax.get_xlabel()
    alt = _T.page["alt"].format(label=label)
    return picture(figure_of(ax), alt=alt, caption=label)
