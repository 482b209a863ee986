"""What slings tried on teach, as parts for the screen and as pages; the form."""

from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import SizeChart
from sizing.measures import labels as names
from sizing.measures import vocabulary
from sizing.pages.page import Page, Section, Table, picture, render, table
from sizing.plots.style import figure_of
from sizing.plots.teaching import plot_learned
from sizing.resources import invented_first, source_table, texts
from sizing.trials.learn import LearnedChart
from sizing.trials.read import taught
from sizing.words.labels import chart_words, labels
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
        label = f"{names()[measure]}, {unit_of(measure, units)}"
        stem = measure.rsplit("_", 1)[0]
        drawn[f"learned_{stem}"] = plot_learned(rows, label=label)
    return drawn


def trials_page(found: LearnedChart, *, units: str = "metric") -> Page:
    trials, left, own = found.trials, found.trials.left_out, _T.page
    about = own["pattern"].format(pattern=trials.pattern) if trials.pattern else ""
    n, chart = len(trials.frame), trials.chart

    def part(name: str, **shown: Any) -> Section:
        words = own[f"{name}_words"].format(n=len(left))
        return Section(own[name], [words], **shown)

    drawn = []
    for ax in pictures(found, units=units).values():
        label = ax.get_xlabel()
        alt = own["alt"].format(label=label)
        drawn.append(picture(figure_of(ax), alt=alt, caption=label))
    rows = left.head(50).to_dict("records")
    learned = chart_words(found.chart, units, to="half")
    whole = table(learned, caption=found.chart.name, words=[*learned.columns])
    return Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(n=n, chart=chart.name, about=about),
        answer=invented_first(found.invented, found.answer(units)),
        sections=[
            part("both", figures=drawn, tables=[_edges_table(found, units)]),
            part("chart", tables=[whole]),
            part("disagree", tables=_service_tables(found)),
            part("left_out", bullets=[own["left_out_row"].format_map(r) for r in rows]),
            Section(own["why"], [_T.not_found]),
        ],
        limits=_T.limits,
        sources=_T.sources,
    ).for_pattern(trials.pattern, chart.measures)


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
    tables = {
        "how": table(how, caption=own["how_caption"], words=[*how.columns]),
        "form": table(blank, caption=own["form_caption"], words=heads),
    }
    places = ", ".join(how["Measure"].str.lower())
    steps = [
        Section(heading, [text], bullets=[] if source == common else [source])
        for heading, text, source in told[["heading", "text", "source"]].to_numpy()
    ]
    steps.append(Section(own["rests"], [own["rests_words"].format(common=common)]))
    for name, one in tables.items():
        words = own.get(f"{name}_words", "").format(places=places)
        steps.append(Section(own[name], [words] if words else (), tables=[one]))
    page = Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(chart=chart.name),
        answer=invented_first(chart.invented, own["answer"]),
        sections=steps,
        limits=_T.limits[:3],
        sources=_T.sources[2:],
    )
    return render(page.for_pattern(pattern, chart.measures))


def _edges_table(found: LearnedChart, units: str) -> Table:
    say, own, rows = partial(written, units=units), _T.page, []
    for row in found.edges[found.edges["n"] > 0].to_dict("records"):
        measure, more = str(row["measure"]), row["more_trials"]
        learned, sure, lacks = row["why_none"], "", ""
        if pd.notna(row["estimate"]):
            learned = say(row["estimate"], measure, to="half")
            sure = span(row["low"], row["high"], measure, say, to="half")
            lacks = "over 2,000"
        if pd.notna(more):
            lacks = "none" if more == 0 else f"{more:.0f}"
        edge = f"{names()[measure]} {'from' if row['end'] == 'low' else 'to'}"
        printed = say(row["printed"], measure, to="half")
        counts = row["n"], row["limiting"], lacks
        rows.append((row["size"], edge, printed, learned, sure, *counts))
    frame = pd.DataFrame(rows, columns=own["edges_heads"])
    return table(frame, caption=own["edges_caption"], words=own["edges_heads"][:5])


def _service_tables(found: LearnedChart) -> list[Table]:
    rows, tables, own = found.services, [], _T.page
    if len(rows):
        shown = rows[["service", "n", "outcome", "count"]].assign(
            expected=rows["expected"].map("{:.1f}".format),
            disagrees=rows["disagrees"].map({True: "yes", False: "no"}),
        )
        shown = shown.set_axis(own["services_heads"], axis=1)
        if rows["estimate"].notna().any():
            ends = rows[["estimate", "low", "high"]].to_numpy()
            shown[own["reaches"]] = [
                "{:+.1f}, {:+.1f} to {:+.1f}".format(*r) for r in ends
            ]
        words = own["services_heads"][::2][:2] + own["services_heads"][-1:]
        tables.append(table(shown, caption=own["services_caption"], words=words))
    odd = found.surprising.head(20)
    if len(odd):
        chance = odd["chance"].map(partial(share, places=1))
        shown = odd.assign(chance=chance).set_axis(own["odd_heads"], axis=1)
        words = own["odd_heads"][1:4]
        tables.append(table(shown, caption=own["odd_caption"], words=words))
    return tables
