"""The study's report page and its pictures."""

import pandas as pd
from matplotlib.axes import Axes

from sizing.cautions import invented_first
from sizing.coverage import harm_words
from sizing.measures import EDGE_RULE
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.pages.sensitivity import FILE, sensitivity_picture, sensitivity_section
from sizing.pages.study_tables import (
    ODDS,
    coverage_words,
    fit_words,
    miss_words,
    odds_words,
    outcome_words,
    size_words,
)
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.sensitivity import plot_widths
from sizing.plots.shares import plot_misses, plot_shares
from sizing.plots.style import figure_of, percent
from sizing.study.study import Study, own_group_shares, versions
from sizing.words.labels import chart_words, covered_rows, labels, miss_rows

#: What the literature holds, and an invitation.
NO_TRIAL = (
    "No trial of sling sizes, in which slings were tried on people who had been "
    "measured, was found in the literature (searched 27 November 2026; there are "
    "studies of interface pressure and of fabric, and reviews of how slings are "
    "chosen). Whoever fits slings can make one: note the measures, the size tried, and "
    "whether it was too small, fitted, or was too large, and where."
)
#: Pairs of measures drawn, in order of preference: the first two whose
#: measures the chart limits.
_PAIRS: tuple[tuple[str, str], ...] = (
    ("hip_circumference_cm", "shoulder_height_sitting_cm"),
    ("buttock_popliteal_length_cm", "hip_circumference_cm"),
    ("hip_circumference_cm", "sitting_height_cm"),
    ("body_mass_kg", "stature_cm"),
    ("stature_cm", "hip_circumference_cm"),
)


def study_pictures(study: Study) -> dict[str, Picture]:
    """Return the study's pictures, by the names of their files."""
    drawn = {
        f"{name}.png": picture(figure_of(ax), alt=alt, caption=caption)
        for name, (ax, alt, caption) in study_axes(study).items()
    }
    return drawn | {FILE: sensitivity_picture(study.sensitivity)}


def study_axes(study: Study) -> dict[str, tuple[Axes, str, str]]:
    """Draw the study's pictures."""
    found: dict[str, tuple[Axes, str, str]] = {}
    name, chart = study.people.name, study.chart.name
    for number, (x, y) in enumerate(_pairs(study), start=1):
        ax = plot_people_and_chart(
            study.people.frame,
            study.chart.frame,
            x=x,
            y=y,
            labels=labels(),
            weight=study.people.weight,
        )
        found[f"people_and_sizes_{number}"] = (
            ax,
            f"People of the population '{name}' by {labels()[x]} and "
            f"{labels()[y]}: the darker, the more people. Over them one numbered "
            f"box for each of the {len(study.chart.sizes)} sizes of '{chart}'.",
            "The darker, the more people. Each numbered box is one size; "
            "who lies in no box falls outside every size in these two measures. "
            "Other measures may rule out more.",
        )
    ax = plot_shares(
        covered_rows(study.coverage), x_label="Share with at least one size"
    )
    found["coverage"] = (
        ax,
        f"Share of people with at least one size, by subgroup, with 95 % "
        f"intervals. Overall {percent(study.overall()['estimate'])}. The same "
        "figures stand in the table.",
        "Dots are estimates, bars 95 % intervals.",
    )
    if len(study.misses):
        ax = plot_misses(miss_rows(study.misses), labels=labels())
        found["who_falls_between"] = (
            ax,
            "Share of all people without a size, by the measure that fails most "
            "at their nearest size and by whether that size is too small or too "
            "large. The same figures stand in the table.",
            "Each person without a size counts once, under the measure "
            "that misses the nearest size by most.",
        )
    widths = study.sensitivity.widths
    if len(widths):
        ends = widths.iloc[[0, -1]].to_dict("records")
        told = [f"{percent(end['share'])} at {end['scale']:g} times" for end in ends]
        found["widths"] = (
            plot_widths(widths),
            "Share of people with a size against the width of the sizes, from "
            f"{told[0]} to {told[1]}. The same figures stand in the table.",
            "At 1 the sizes are as wide as the convention has them.",
        )
    return found


def study_page(study: Study, pictures: dict[str, Picture]) -> str:
    """Write the study's report as one HTML text; see ``study_report``."""
    return render(study_report(study, pictures))


def study_report(study: Study, pictures: dict[str, Picture]) -> Page:
    """Return what stands in the study's report."""
    drawn = [pictures[key] for key in pictures if key.startswith("people_and")]
    sections = [
        Section(
            "The sizes",
            words=[EDGE_RULE, _load_words(study)],
            figures=drawn,
            tables=[
                table(
                    chart_words(study.chart),
                    caption="Rounded to half a centimetre; exact in chart.csv.",
                    words=["Size", "Group"],
                )
            ],
        )
    ]
    if "widths.png" in pictures:
        sections.append(_width_section(study, pictures["widths.png"]))
    if study.fitted is not None:
        sections.append(_fit_section(study))
    sections.append(
        Section(
            "Who it fits",
            figures=[pictures["coverage.png"]],
            tables=[_coverage_table(study), _outcome_table(study)],
        )
    )
    sections.append(_between_section(study, pictures.get("who_falls_between.png")))
    sections.append(
        Section(
            "What each size is for",
            words=[
                "Share of the population that fits each size, and that fits no "
                "other: a size nobody needs alone can be missed most easily."
            ],
            tables=[_size_table(study)],
        )
    )
    sections.append(Section("How well founded this is", words=[_evidence_words(study)]))
    sections.append(sensitivity_section(study.sensitivity, pictures[FILE]))
    return Page(
        title=f"Who the chart “{study.chart.name}” fits",
        question="How many people find a size in this chart, who falls between "
        "sizes, and how sure is that?",
        inputs=_inputs(study),
        answer=f"{answer(study)} {study.sensitivity.headline()}",
        sections=sections,
        limits=study.people.limits,
        sources=study.people.sources,
        footer=_footer(study),
    )


def answer(study: Study) -> str:
    """Return the study's answer in one sentence with its uncertainty."""
    row = study.overall()
    parts = [
        f"{percent(own['estimate'], places=_places(own['estimate']))} "
        f"{_OUTCOME_PLURAL[outcome]}"
        for outcome in _OUTCOME_PLURAL
        if (own := study.overall(outcome))["estimate"] > 0.0005
    ]
    rest = f"; {', '.join(parts)}" if parts else ""
    harms = study.coverage.harms.set_index("harm")["estimate"]
    large, small, both = (
        percent(harms[name], places=1) for name in ("too_large", "too_small", "both")
    )
    if harms.any():
        rest += f". The nearest size is too large for {large}, too small for {small}, "
        rest += f"each in some measure for {both}"
    widths = study.sensitivity.widths
    ends = [percent(widths["share"].iloc[i]) for i in (0, -1)] if len(widths) else []
    if ends:
        rest += (
            f". How wide a size fits is a convention: with sizes "
            f"{widths['scale'].min():g} to {widths['scale'].max():g} times as wide, "
            f"{ends[0]} to {ends[1]} have one"
        )
    return invented_first(
        study.chart.invented,
        f"About {percent(row['estimate'])} of these people have at least one size "
        f"(95 % interval {percent(row['low'])} to {percent(row['high'])}){rest}.",
    )


_OUTCOME_PLURAL = {
    "between": "fall between sizes",
    "beyond_largest": "are larger than the largest",
    "below_smallest": "are smaller than the smallest",
    "over_load": "are over the load limit",
    "not_measured": "lack a measure that decides",
}


def _places(share: float) -> int:
    return 1 if share < 0.1 else 0


def _pairs(study: Study) -> list[tuple[str, str]]:
    own = set(study.chart.measures) & set(study.people.measures)
    return [pair for pair in _PAIRS if set(pair) <= own][:2]


def _inputs(study: Study) -> str:
    people = study.people
    how = (
        "each group of sizes fitted to its own people"
        if study.fitted is not None
        else study.chart.source or "a chart given by the user"
    )
    return (
        f"What went in: {people.n:,} survey people (population “{people.name}”), "
        f"{people.draws} joint draws each of the measures nobody took, weighted "
        f"(design effect {people.design_effect:.2f}: as informative as "
        f"{people.n / people.design_effect:,.0f} people drawn at random); "
        f"{len(study.chart.sizes)} sizes, {how}."
    )


def _load_words(study: Study) -> str:
    if study.chart.frame["load_limit_kg"].notna().any():
        return (
            "Nobody heavier than a size's load limit is counted as fitting it. The "
            "lowest limit of hoist, spreader bar and sling decides in use."
        )
    return (
        "This chart states no load limit: that comes from a sling's label, not from "
        "body measures. Nobody is ruled out by weight here."
    )


def _width_section(study: Study, drawn: Picture) -> Section:
    """Show what the width of the sizes, a convention, does to the share."""
    rows, own = study.sensitivity.widths, study.fitted is None
    set_so = (
        "These widths are those of the chart given."
        if own
        else "Unless others are given (--widths), they were set so that three sizes "
        "give about nine in ten of a group's people a size, and at 1 the share says no "
        "more than that. At other widths the sizes were fitted anew."
    )
    return Section(
        "How wide a size is: a convention",
        words=[
            "How far from its own edges a size of a sling still fits, nobody has "
            f"measured. {set_so}",
            NO_TRIAL,
        ],
        figures=[drawn],
        tables=[
            table(
                pd.DataFrame(
                    {
                        "Width": rows["scale"].map("{:g} times".format),
                        "With a size": rows["share"].map(percent),
                    }
                ),
                caption="Share with a size by the width of the sizes; exact in "
                "widths.csv.",
                words=["Width"],
            )
        ],
    )


def _fit_section(study: Study) -> Section:
    """Say how far the fitted chart is from the best there could be."""
    fitted, shares = study.fitted, own_group_shares(study)
    if fitted is None:
        raise TypeError("no chart was fitted")
    own, best, held_out = (
        percent(shares[key] or 0, places=1)
        for key in ("own_group", "upper_bound", "held_out")
    )
    return Section(
        "How good a chart of this kind can be",
        words=[
            "Three sizes for each group were fitted to that group's own people, of "
            f"every age. {own} of all have a size of their own group; no other "
            f"edges with bands of these widths could give one to more than {best} "
            "(proved, not estimated). Fitted to half of the people, such sizes fit "
            f"{held_out} of the other half. "
            "A wider band covers more people, each less well."
        ],
        tables=[
            table(
                fit_words(fitted),
                caption="Share with a size of their own group. Simple bands are as "
                "wide, and centred on quantiles.",
                words=["Group"],
            )
        ],
    )


def _coverage_table(study: Study) -> Table:
    return table(
        coverage_words(study.coverage),
        caption="Share with at least one size, by subgroup; exact in coverage.csv.",
        words=["Group", "Level"],
    )


def _outcome_table(study: Study) -> Table:
    return table(
        outcome_words(study),
        caption="What comes of it for everyone; the rows add up to 100 %.",
        words=["Outcome"],
    )


def _between_section(study: Study, drawn: Picture | None) -> Section:
    if drawn is None:
        return Section("Who falls between", words=["Everyone has a size."])
    harms = harm_words(study.coverage.harms, **study.weights)
    misses = table(
        miss_words(study.misses),
        caption="Why people have no size; exact in misses.csv.",
        words=["Measure that fails", "Which way", "By how much"],
    )
    odds = table(
        odds_words(study.between),
        caption="Who falls between sizes more often; exact in between_sizes.csv.",
        words=["Among", "Group", "Compared with"],
    )
    return Section(
        "Who falls between", words=[harms, ODDS], figures=[drawn], tables=[misses, odds]
    )


def _size_table(study: Study) -> Table:
    return table(
        size_words(study),
        caption="Share of everyone, with 95 % intervals; exact in sizes.csv.",
        words=["Size"],
    )


def _evidence_words(study: Study) -> str:
    row = study.overall()
    return (
        "Each answer is as good as its weakest measure. Of these people, "
        f"{percent(row['predicted'])} rest on measures predicted within the range "
        f"of the surveys, {percent(row['extrapolated'])} on extrapolated ones and "
        f"{percent(row['unsupported'])} on ones that no survey supports. "
        f"Method: {row['method']}. The model behind the drawn measures is used as "
        "if right: its own bias is in no interval."
    )


def _footer(study: Study) -> str:
    told = ", ".join(f"{name} {number}" for name, number in versions().items())
    return f"Made offline by the sizing study kit. Seed {study.seed}. {told}."
