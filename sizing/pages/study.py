"""The study's report page, its pictures and its tables."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.cautions import invented_first
from sizing.charts import OUTCOME_WORDS
from sizing.coverage import harm_words
from sizing.measures import EDGE_RULE, EVIDENCE
from sizing.measures.written import written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.pages.sensitivity import FILE, sensitivity_picture, sensitivity_section
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.shares import plot_misses, plot_shares, plot_widths
from sizing.plots.style import figure_of
from sizing.study.study import Study, own_group_shares, versions
from sizing.words.client import capital
from sizing.words.labels import (
    BY_WORDS,
    LEVEL_WORDS,
    chart_words,
    covered_rows,
    labels,
    miss_rows,
)
from sizing.words.numbers import given, in_100, interval, probably, share

#: What the literature holds, and an invitation.
NO_TRIAL = (
    "No trial of sling sizes was found in the literature: none in which slings were "
    "tried on people who had been measured (searched 27 November 2026). There are "
    "studies of interface pressure and of fabric, and reviews of how slings are "
    "chosen. Whoever fits slings can make a trial. Note the measures, the size tried, "
    "and whether it was too small, fitted, or was too large, and where."
)
#: How to read odds ratios.
ODDS = (
    "Odds ratios compare a group with the one named beside it, the other things in "
    "the table being equal: above 1, they fall between sizes more often."
)
#: What is said of load limits, where the chart states some and where it does not.
_LOAD_WORDS = {
    True: "Nobody heavier than a size's load limit is counted as fitting it. The "
    "lowest limit of hoist, spreader bar and sling decides in use.",
    False: "This chart states no load limit: that comes from a sling's label, not from "
    "body measures. Nobody is ruled out by weight here.",
}
#: Pairs of measures drawn, in order of preference: the first two whose
#: measures the chart limits.
_PAIRS: tuple[tuple[str, str], ...] = (
    ("hip_circumference_cm", "shoulder_height_sitting_cm"),
    ("buttock_popliteal_length_cm", "hip_circumference_cm"),
    ("hip_circumference_cm", "sitting_height_cm"),
    ("body_mass_kg", "stature_cm"),
    ("stature_cm", "hip_circumference_cm"),
)
_OUTCOME_PLURAL = {
    "between": "fall between sizes",
    "beyond_largest": "are larger than the largest",
    "below_smallest": "are smaller than the smallest",
    "over_load": "are over the load limit",
    "not_measured": "lack a measure that decides",
}


def study_pictures(study: Study) -> dict[str, Picture]:
    """Return the study's pictures, by the names of their files."""
    drawn = {
        f"{name}.png": picture(figure_of(ax), alt=alt, caption=caption)
        for name, (ax, alt, caption) in study_axes(study).items()
    }
    return drawn | {FILE: sensitivity_picture(study.sensitivity)}


def study_axes(study: Study) -> dict[str, tuple[Axes, str, str]]:
    """Draw the study's pictures; each with what it shows and what to make of it."""
    found: dict[str, tuple[Axes, str, str]] = {}
    people, chart, widths = study.people, study.chart, study.sensitivity.widths
    known = set(chart.measures) & set(people.measures)
    pairs = [pair for pair in _PAIRS if set(pair) <= known][:2]
    for number, (x, y) in enumerate(pairs, start=1):
        found[f"people_and_sizes_{number}"] = (
            plot_people_and_chart(
                people.frame,
                chart.frame,
                x=x,
                y=y,
                labels=labels(),
                weight=people.weight,
            ),
            f"People of the population '{people.name}' by {labels()[x]} and "
            f"{labels()[y]}: the darker, the more people. Over them one numbered "
            f"box for each of the {len(chart.sizes)} sizes of '{chart.name}'.",
            "The darker, the more people. Each numbered box is one size; "
            "who lies in no box falls outside every size in these two measures. "
            "Other measures may rule out more.",
        )
    found["coverage"] = (
        plot_shares(
            covered_rows(study.coverage), x_label="Share with at least one size"
        ),
        f"Share of people with at least one size, by subgroup, with 95 % "
        f"intervals. Overall {share(study.overall()['estimate'])}. The same "
        "figures stand in the table.",
        "Dots are estimates, bars 95 % intervals.",
    )
    if len(study.misses):
        found["who_falls_between"] = (
            plot_misses(miss_rows(study.misses), labels=labels()),
            "Share of all people without a size, by the measure that fails most "
            "at their nearest size and by whether that size is too small or too "
            "large. The same figures stand in the table.",
            "Each person without a size counts once, under the measure "
            "that misses the nearest size by most.",
        )
    if len(widths):
        first, last = (
            f"{share(end['share'])} at {end['scale']:g} times"
            for end in widths.iloc[[0, -1]].to_dict("records")
        )
        found["widths"] = (
            plot_widths(widths),
            "Share of people with a size against the width of the sizes, from "
            f"{first} to {last}. The same figures stand in the table.",
            "At 1 the sizes are as wide as the convention has them.",
        )
    return found


def study_page(study: Study, pictures: dict[str, Picture]) -> str:
    """Write the study's report as one HTML text; see ``study_report``."""
    return render(study_report(study, pictures))


def study_report(study: Study, pictures: dict[str, Picture]) -> Page:
    """Return what stands in the study's report."""
    limited = study.chart.frame["load_limit_kg"].notna().any()
    sections = [
        Section(
            "The sizes",
            words=[EDGE_RULE, _LOAD_WORDS[bool(limited)]],
            figures=[pictures[key] for key in pictures if key.startswith("people_and")],
            tables=[
                table(
                    chart_words(study.chart),
                    caption="To a tenth; exact in chart.csv.",
                    words=["Size", "Group"],
                )
            ],
        ),
        *_width_sections(study, pictures.get("widths.png")),
        *_fit_sections(study),
        Section(
            "Who it fits",
            figures=[pictures["coverage.png"]],
            tables=[_coverage_table(study), _outcome_table(study)],
        ),
        _between_section(study, pictures.get("who_falls_between.png")),
        Section(
            "What each size is for",
            words=[
                "Share of the population that fits each size, and that fits no "
                "other: a size nobody needs alone can be missed most easily."
            ],
            tables=[_size_table(study)],
        ),
        Section(
            "How well founded this is",
            words=[_evidence_words(study)],
            tables=[_evidence_table(study)],
        ),
        sensitivity_section(study.sensitivity, pictures[FILE]),
    ]
    told = ", ".join(f"{name} {number}" for name, number in versions().items())
    return Page(
        title=f"Who the chart “{study.chart.name}” fits",
        question="How many people find a size in this chart, who falls between "
        "sizes, and how sure is that?",
        inputs=_inputs(study),
        answer=f"{answer(study)}\n{study.sensitivity.headline()}",
        sections=sections,
        limits=study.people.limits,
        sources=study.people.sources,
        footer=f"Made offline by the sizing study kit. Seed {study.seed}. {told}.",
    ).for_pattern(study.pattern, study.chart.measures)


def answer(study: Study) -> str:
    """Return the study's answer, a finding a line, with its uncertainty."""
    row = study.overall()
    lines = [
        capital(
            f"{in_100(row['estimate'])} of these people have at least one size, "
            f"{probably(row)} (95 % interval)."
        )
    ]
    outcomes = {name: study.overall(name)["estimate"] for name in _OUTCOME_PLURAL}
    parts = [
        f"{share(found, places=1 if found < 0.1 else 0)} {_OUTCOME_PLURAL[name]}"
        for name, found in outcomes.items()
        if found > 0.0005
    ]
    if parts:
        lines.append(f"{', '.join(parts)}.")
    harms = study.coverage.harms.set_index("harm")["estimate"]
    if harms.any():
        large, small, both = (
            share(harms[name], places=1) for name in ("too_large", "too_small", "both")
        )
        lines.append(
            f"The nearest size is too large for {large}, too small for {small}, "
            f"and too large in one measure and too small in another for {both}."
        )
    widths = study.sensitivity.widths
    if len(widths):
        lines.append(
            f"How wide a size fits is a convention: with sizes "
            f"{widths['scale'].min():g} to {widths['scale'].max():g} times as wide, "
            f"{share(widths['share'].iloc[0])} to {share(widths['share'].iloc[-1])} "
            "have one."
        )
    return invented_first(study.chart.invented, "\n".join(lines))


def _inputs(study: Study) -> str:
    people = study.people
    how = (
        "each group of sizes fitted to its own people"
        if study.fitted is not None
        else study.chart.source or "a chart given by the user"
    )
    return (
        f"What went in: {people.n:,} survey people (population “{people.name}”) and "
        f"{len(study.chart.sizes)} sizes ({how}). Joint draws of the measures "
        f"nobody took: {people.draws} for each person. The people are weighted: they "
        f"inform as well as {people.n / people.design_effect:,.0f} drawn at random "
        f"(design effect {people.design_effect:.2f})."
    )


def _width_sections(study: Study, drawn: Picture | None) -> list[Section]:
    """Show what the width of the sizes, a convention, does to the share."""
    if drawn is None:
        return []
    rows = study.sensitivity.widths
    set_so = (
        "These widths are those of the chart given."
        if study.fitted is None
        else "Unless others are given (--widths), they were set so that three sizes "
        "give about nine in ten of a group's people a size. At 1 the share says no "
        "more than that. At other widths the sizes were fitted anew."
    )
    shown = {
        "Width": rows["scale"].map("{:g} times".format),
        "With a size": rows["share"].map(share),
    }
    caption = "Share with a size by the width of the sizes; exact in widths.csv."
    return [
        Section(
            "How wide a size is: a convention",
            words=[
                "How far from its own edges a size of a sling still fits, nobody has "
                f"measured. {set_so}",
                NO_TRIAL,
            ],
            figures=[drawn],
            tables=[table(pd.DataFrame(shown), caption=caption, words=["Width"])],
        )
    ]


def _fit_sections(study: Study) -> list[Section]:
    """Say how far a fitted chart is from the best there could be."""
    if study.fitted is None:
        return []
    found = own_group_shares(study)
    own, best, held_out = (
        share(found[key] or 0, places=1)
        for key in ("own_group", "upper_bound", "held_out")
    )
    rows = [
        {
            "Group": group,
            "Fitted to them": share(fit.share, places=1),
            "At best": share(fit.upper_bound, places=1),
            "People not fitted to": interval(
                {
                    "estimate": fit.held_out,
                    "low": fit.held_out_low,
                    "high": fit.held_out_high,
                },
                places=1,
            ),
            "Simple bands, same people": share(fit.rival_held_out, places=1),
        }
        for group, fit in study.fitted.fits.items()
    ]
    return [
        Section(
            "How good a chart of this kind can be",
            words=[
                "Three sizes for each group were fitted to that group's own people, of "
                f"every age. {own} of all have a size of their own group. No other "
                f"edges with bands of these widths could give one to more than {best} "
                "of these people (proved). Fitted to half of them, such sizes fit "
                f"{held_out} of the other half. "
                "A wider band covers more people, each less well."
            ],
            tables=[
                table(
                    pd.DataFrame(rows),
                    caption="Share with a size of their own group. Simple bands are as "
                    "wide, and centred on quantiles.",
                    words=["Group"],
                )
            ],
        )
    ]


def _coverage_table(study: Study) -> Table:
    """Say who has at least one size, by subgroup."""
    rows = covered_rows(study.coverage)
    few = rows["small_group"].map({True: " (few)", False: ""})
    shown = {
        "Group": rows["by"],
        "Level": rows["level"],
        "With a size (95 % interval)": _intervals(rows, places=0),
        "People": rows["n"].map("{:,}".format) + few,
    }
    return table(
        pd.DataFrame(shown),
        caption="Share with at least one size, by subgroup; exact in coverage.csv.",
        words=["Group", "Level"],
    )


def _outcome_table(study: Study) -> Table:
    """Say what comes of it for everyone."""
    rows = pd.DataFrame([study.overall(outcome) for outcome in OUTCOME_WORDS])
    shown = {
        "Outcome": rows["outcome"].map(OUTCOME_WORDS),
        "Share (95 % interval)": _intervals(rows),
    }
    return table(
        pd.DataFrame(shown),
        caption="What comes of it for everyone; the rows add up to 100 %.",
        words=["Outcome"],
    )


def _between_section(study: Study, drawn: Picture | None) -> Section:
    """Say who falls between sizes: by which measure, how far, and who more often."""
    if drawn is None:
        return Section("Who falls between", words=["Everyone has a size."])
    rows = miss_rows(study.misses)
    missed = rows[["measure", "miss_median", "miss_most"]].itertuples(index=False)
    misses = {
        "Measure that fails": rows["measure"].map(labels()),
        "Which way": rows["direction"],
        "Share of everyone": _intervals(rows),
        "By how much": [
            f"half of them by up to {written(half, measure)}, 95 in 100 by up to "
            f"{written(most, measure)}"
            for measure, half, most in missed
        ],
    }
    odds = study.between.query("level != reference")
    told = odds["estimate"].map("{:.1f}".format) + odds["low"].map(" ({:.1f}".format)
    told += odds["high"].map(" to {:.1f})".format)
    compared = {
        "Among": odds["fitted_to"],
        "Group": odds["term"].replace(BY_WORDS)
        + ": "
        + odds["level"].replace(LEVEL_WORDS),
        "Compared with": odds["reference"].replace(LEVEL_WORDS),
        "Times as likely (95 % interval)": told.where(
            odds["estimate"].notna(), odds["message"]
        ),
    }
    return Section(
        "Who falls between",
        words=[harm_words(study.coverage.harms, **study.weights), ODDS],
        figures=[drawn],
        tables=[
            table(
                pd.DataFrame(misses),
                caption="Why people have no size; exact in misses.csv.",
                words=["Measure that fails", "Which way", "By how much"],
            ),
            table(
                pd.DataFrame(compared),
                caption="Who falls between sizes more often; exact in "
                "between_sizes.csv.",
                words=["Among", "Group", "Compared with"],
            ),
        ],
    )


def _size_table(study: Study) -> Table:
    """Say how many fit each size, and how many no other."""
    rows = study.coverage.by_size
    fits, alone = (
        _intervals(rows[rows["share"] == name]) for name in ("fits", "only_size")
    )
    return table(
        pd.DataFrame(
            {"Size": study.chart.sizes, "Fits it": fits, "Fits no other": alone}
        ),
        caption="Share of everyone, with 95 % intervals; exact in sizes.csv.",
        words=["Size"],
    )


def _intervals(rows: pd.DataFrame, *, places: int = 1) -> list[str]:
    return [interval(row, places=places) for row in rows.to_dict("records")]


def _evidence_words(study: Study) -> str:
    row = study.overall()
    return (
        "Each answer is as good as its weakest measure. Of these people, "
        f"{share(row['predicted'])} rest on measures predicted within the range "
        f"of the surveys. {share(row['extrapolated'])} rest on extrapolated ones, "
        f"{share(row['unsupported'])} on ones that no survey supports. "
        f"Method: {row['method']}. Intervals count how far the body model was off in "
        "other populations, where the method says so."
    )


def _evidence_table(study: Study) -> Table:
    """Say for each measure how often it was measured, predicted or less."""
    counted = study.people.table.pivot_table("share", "measure", "evidence")
    kinds = [kind for kind in EVIDENCE if kind in counted]
    rows = counted.loc[list(study.people.measures), kinds].fillna(0.0).round(9)
    # Counted, not estimated: none and all are what they are.
    shown = rows.map(lambda part: (given if part == 1 else share)(part) if part else "")
    shown = shown.rename(index=labels()).rename_axis(index="Measure", columns=None)
    return table(
        shown.reset_index(),
        caption="What was measured, and what was drawn from models: share of people.",
        words=["Measure"],
    )
