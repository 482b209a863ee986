"""What slings tried on teach, as parts for the screen and as pages; the form."""

from functools import partial

import pandas as pd
from matplotlib.axes import Axes

from sizing.cautions import invented_first
from sizing.charts import SizeChart
from sizing.measures import vocabulary
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots.style import figure_of
from sizing.plots.trials import plot_learned
from sizing.resources import source_table
from sizing.trials.learn import LearnedChart
from sizing.trials.read import taught
from sizing.words.labels import labels
from sizing.words.numbers import share, span, unit_of, written

_BLANK_ROWS = 16
NOT_FOUND = (
    "No published trial of sling sizes was found (searched 27 November 2026: sling "
    "selection, fit, pressure). There are studies of pressure and of fabrics, and "
    "reviews of how slings are chosen. How wide a size really is rests on what makers "
    "print. Trials such as these would be the first: please publish yours."
)
TRIAL_LIMITS: tuple[str, ...] = (
    "People other than those who were fitted: the edges hold for bodies like theirs.",
    "Slings of another make, pattern, material or spreader bar than those tried.",
    "What the carers called a fit: no picture, pressure or fall was recorded.",
    "Each trial counts as one person's: a person tried often counts too much.",
    "How far all edges may lie from the printed ones (typically 5 cm), and how far "
    "sizes stray from each other, are choices of ours without a source. So is that "
    "1 trial in 100 is written down wrongly.",
)
TRIAL_SOURCES: tuple[str, ...] = (
    "Drawing the posterior: Duane, Kennedy, Pendleton and Roweth, Phys Lett B "
    "1987;195:216-222 (Hamiltonian Monte Carlo).",
    "Error of one reading: the kit's table of measures, with its sources.",
    "How to run trials: common practice, no source, but where it says otherwise.",
    "Too small and too large as different harms: HSE information sheet HSIS3.",
)


def pictures(found: LearnedChart, *, units: str = "metric") -> dict[str, Axes]:
    """Return a picture of each measure of which anything was learned."""
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
    """Return what was learned, part by part."""
    drawn = [_picture(name, ax) for name, ax in pictures(found, units=units).items()]
    trials, left = found.trials, found.trials.left_out
    about = f"; pattern: {trials.pattern}" if trials.pattern else ""
    return Page(
        title="Where the sizes of a sling begin and end, as tried on",
        question="A chart prints where a size begins and ends. What do the slings that "
        "were tried on say?",
        inputs=f"{len(trials.frame)} trials; chart: {trials.chart.name}{about}.",
        answer=invented_first(found.invented, found.answer(units)),
        sections=[
            Section(
                "Printed and learned, side by side",
                [
                    "Bars are what the chart prints; marks are where the trials show "
                    "that a size begins and ends, with 90 % intervals."
                ],
                drawn,
                [edges_table(found, units)],
            ),
            Section(
                "The learned chart",
                [
                    "Learned edges, and the printed ones where nothing was learned. It "
                    "can be saved and used wherever a chart can. Load limits stay "
                    "those of the label."
                ],
                tables=[_chart_table(found.chart, units)],
            ),
            Section(
                "Whose trials disagree",
                [
                    "How often each service called a sling too small or too large, "
                    "beside what all the trials together lead to expect. Look first at "
                    "how it measures and what it calls a fit; nobody is wrong by this "
                    "alone."
                ],
                tables=_service_tables(found),
            ),
            Section(
                "Left out",
                [f"{len(left)} rows were left out; none was repaired."],
                bullets=[
                    f"Row {row}: {why}." for row, why in left.to_numpy()[:50].tolist()
                ],
            ),
            Section("Why this is worth doing", [NOT_FOUND]),
        ],
        limits=TRIAL_LIMITS,
        sources=TRIAL_SOURCES,
    ).for_pattern(trials.pattern, trials.chart.measures)


def _name(measure: str) -> str:
    """Return what a measure is called, without its unit."""
    return labels()[measure].rsplit(", ", 1)[0]


def form_page(chart: SizeChart, pattern: str | None = None) -> str:
    """Return how to run such trials, and a form to fill in by hand, as a page."""
    told = source_table("trial_protocol.csv")
    common = told["source"].mode()[0]
    words = vocabulary().set_index("name")
    measures = taught(chart)
    how = pd.DataFrame(
        {
            "Measure": [words.loc[m, "label"] for m in measures],
            "Seated": [words.loc[m, "how_seated"] for m in measures],
            "Lying": [words.loc[m, "how_lying"] for m in measures],
        }
    )
    heads = ["Service", "Size tried", *(labels()[m] for m in measures), "How taken"]
    heads += ["What happened", "Too small where", "Too large where"]
    # A space that does not break makes a row high enough to write in.
    blank = pd.DataFrame([["\u00a0"] * len(heads)] * _BLANK_ROWS, columns=heads)
    page = Page(
        title="Slings tried on: how to keep the form, and the form",
        question="Where do the sizes of this sling begin and end when tried on?",
        inputs=f"Chart: {chart.name}. From 20 trials the kit begins to learn.",
        answer=invented_first(
            chart.invented,
            "Measure first; fit as you always do; write down each size that was tried "
            "and what happened. Stop at the first doubt.",
        ),
        sections=[
            *(
                Section(
                    row["heading"],
                    [row["text"]],
                    bullets=[] if row["source"] == common else [row["source"]],
                )
                for row in told.to_dict("records")
            ),
            Section("What this rests on", [f"Where nothing else is said: {common}."]),
            Section(
                "How each measure is taken",
                tables=[
                    table(
                        how, caption="By the kit's own words", words=list(map(str, how))
                    )
                ],
            ),
            Section(
                "The form",
                [
                    "No name, no date of birth. How taken: tape once, tape twice. What "
                    "happened: fits, too small, too large, both. Where: "
                    + ", ".join(str(words.loc[m, "label"]).lower() for m in measures)
                    + "."
                ],
                tables=[
                    table(blank, caption="One row for each size tried", words=heads)
                ],
            ),
        ],
        limits=TRIAL_LIMITS[:3],
        sources=TRIAL_SOURCES[2:],
    )
    return render(page.for_pattern(pattern, chart.measures))


def edges_table(found: LearnedChart, units: str = "metric") -> Table:
    """Return every edge as printed and as learned."""
    rows = []
    tried = found.edges[found.edges["n"] > 0]
    say = partial(written, units=units)
    for row in tried.to_dict("records"):
        measure, more = str(row["measure"]), row["more_trials"]
        known = pd.notna(row["estimate"])
        learned, sure, lacks = row["why_none"], "", ""
        if known:
            learned = say(row["estimate"], measure, to="half")
            sure = span(row["low"], row["high"], measure, say, to="half")
            lacks = "over 2,000"
        if pd.notna(more):
            lacks = "none" if more == 0 else f"{more:.0f}"
        rows.append(
            {
                "Size": row["size"],
                "Edge": f"{_name(measure)} {'from' if row['end'] == 'low' else 'to'}",
                "Printed": say(row["printed"], measure, to="half"),
                "Learned": learned,
                "90 % interval": sure,
                "Trials of the size": row["n"],
                "Off there": row["limiting"],
                "More for 1 cm": lacks,
            }
        )
    return table(
        pd.DataFrame(rows),
        caption="Edges as printed and as learned; sizes never tried are left out. Off "
        "there: trials of the size that were, or may have been, too large (from) or "
        "too small (to) at that measure. More for 1 cm: about how many more trials "
        "like these know the edge to 1 cm.",
        words=["Size", "Edge", "Printed", "Learned", "90 % interval"],
    )


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
    rows, tables = found.services, []
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
            shown["Reaches further by, cm (90 % interval)"] = [
                f"{r['estimate']:+.1f}, {r['low']:+.1f} to {r['high']:+.1f}"
                for r in rows.to_dict("records")
            ]
        words = ["Service", "Called", "Disagrees"]
        tables.append(table(shown, caption="By service", words=words))
    odd = found.surprising.head(20)
    if len(odd):
        shown = odd.assign(
            chance=odd["chance"].map(lambda chance: share(chance, places=1))
        )
        shown.columns = pd.Index(["Row", "Service", "Size", "What happened", "Chance"])
        tables.append(
            table(
                shown,
                caption="Trials that surprise (a chance under 5 %): look for a slip",
                words=["Service", "Size", "What happened"],
            )
        )
    return tables


def _picture(name: str, ax: Axes) -> Picture:
    label = ax.get_xlabel()
    return picture(
        figure_of(ax),
        alt=f"{label}: a bar for each size from its printed low to its printed high "
        "edge, and marks with intervals where trials show that it begins and ends",
        caption=label,
    )
