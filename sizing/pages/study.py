"""The study's report page, its pictures and its tables."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import OUTCOME_WORDS
from sizing.coverage import Sensitivity, harm_words
from sizing.measures import EDGE_RULE, EVIDENCE, written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.shares import plot_misses, plot_sensitivity, plot_shares, plot_widths
from sizing.plots.style import figure_of
from sizing.resources import invented_first, texts
from sizing.study.study import Study, own_group_shares, versions
from sizing.words.client import capital
from sizing.words.labels import (
    BY_WORDS,
    chart_words,
    covered_rows,
    labels,
    level_words,
    miss_rows,
    sex_words,
)
from sizing.words.numbers import (
    given,
    in_100,
    interval,
    points,
    points_interval,
    probably,
    share,
)

_T = texts("study")
#: Pairs of measures drawn, in order of preference: the first two whose
#: measures the chart limits.
_PAIRS: tuple[tuple[str, str], ...] = (
    ("hip_circumference_cm", "shoulder_height_sitting_cm"),
    ("buttock_popliteal_length_cm", "hip_circumference_cm"),
    ("hip_circumference_cm", "sitting_height_cm"),
    ("body_mass_kg", "stature_cm"),
    ("stature_cm", "hip_circumference_cm"),
)
#: A picture's axes, what it shows in words, and what to make of it.
Drawing = tuple[Axes, str, str]


def study_pictures(study: Study) -> dict[str, Picture]:
    drawings = study_axes(study)
    drawings["assumptions"] = assumptions_drawing(study.sensitivity)
    return {
        f"{name}.png": picture(figure_of(ax), alt=alt, caption=caption)
        for name, (ax, alt, caption) in drawings.items()
    }


def _drawing(ax: Axes, name: str, **told: Any) -> Drawing:
    words = _T.pictures[name]
    return ax, words["alt"].format(**told), words["caption"]


def study_axes(study: Study) -> dict[str, Drawing]:
    people, chart, named = study.people, study.chart, labels()
    known = set(chart.measures) & set(people.measures)
    found = {}
    pairs = [pair for pair in _PAIRS if set(pair) <= known][:2]
    for number, (x, y) in enumerate(pairs, start=1):
        found[f"people_and_sizes_{number}"] = _drawing(
            plot_people_and_chart(
                people.frame, chart.frame, x=x, y=y, labels=named, weight=people.weight
            ),
            "people_and_sizes",
            people=people.name,
            x=named[x],
            y=named[y],
            sizes=len(chart.sizes),
            chart=chart.name,
        )
    rows, x_label = covered_rows(study.coverage), "Share with at least one size"
    ax = plot_shares(rows, x_label=x_label)
    overall = share(study.overall()["estimate"])
    found["coverage"] = _drawing(ax, "coverage", overall=overall)
    if len(study.misses):
        ax = plot_misses(miss_rows(study.misses), labels=named)
        found["who_falls_between"] = _drawing(ax, "who_falls_between")
    if len(widths := study.sensitivity.widths):
        found["widths"] = _drawing(plot_widths(widths), "widths", **_ends(widths))
    return found


def assumptions_drawing(found: Sensitivity) -> Drawing:
    change = points(found.biggest["estimate"], places=1)
    label = found.biggest["label"]
    ax = plot_sensitivity(found.table)
    return _drawing(ax, "assumptions", label=label, change=change)


def _ends(widths: pd.DataFrame) -> dict[str, Any]:
    first, last = widths.iloc[0], widths.iloc[-1]
    ends = {"narrow": first["scale"], "wide": last["scale"]}
    return ends | {"least": share(first["share"]), "most": share(last["share"])}


def study_page(study: Study, pictures: dict[str, Picture]) -> str:
    return render(study_report(study, pictures))


def study_report(study: Study, pictures: dict[str, Picture]) -> Page:
    chart, people, words = study.chart, study.people, _T.words
    limited = chart.frame["load_limit_kg"].notna().any()
    load = words["limited" if limited else "unlimited"]
    first = [drawn for name, drawn in pictures.items() if name.startswith("people_and")]
    sections = [
        _section(
            "sizes", [EDGE_RULE, load], first, [_table("sizes", chart_words(chart))]
        )
    ]
    if "widths.png" in pictures:
        so = words["widths_given" if study.fitted is None else "widths_fitted"]
        told = [f"{words['widths']} {so}", words["no_trial"]]
        tables = [_width_table(study.sensitivity)]
        sections.append(_section("widths", told, [pictures["widths.png"]], tables))
    if study.fitted is not None:
        found = own_group_shares(study)
        shares = {key: share(one or 0, places=1) for key, one in found.items()}
        sections.append(
            _section("fit", [words["fit"].format(**shares)], [], [_fit_table(study)])
        )
    tables = [_coverage_table(study), _outcome_table(study)]
    sections.append(_section("coverage", [], [pictures["coverage.png"]], tables))
    told, drawn, tables = [words["everyone_fits"]], [], []
    if "who_falls_between.png" in pictures:
        told = [harm_words(study.coverage.harms, **study.weights), words["odds"]]
        drawn = [pictures["who_falls_between.png"]]
        tables = [_miss_table(study), _odds_table(study)]
    row = study.overall()
    rest = ("predicted", "extrapolated", "unsupported")
    sound = words["evidence"].format(
        method=row["method"], **{name: share(row[name]) for name in rest}
    )
    headline = study.sensitivity.headline()
    sections += [
        _section("between", told, drawn, tables),
        _section("each", [words["each"]], [], [_size_table(study)]),
        _section("evidence", [sound], [], [_evidence_table(study)]),
        _section(
            "assumptions",
            [words["assumptions"].format(headline=headline)],
            [pictures["assumptions.png"]],
            [assumption_table(study.sensitivity)],
        ),
    ]
    made_with = ", ".join(f"{name} {number}" for name, number in versions().items())
    return Page(
        title=_T.title.format(chart=chart.name),
        question=_T.question,
        inputs=_T.inputs.format(
            people=people.n,
            name=people.name,
            sizes=len(chart.sizes),
            how=_T.fitted_so if study.fitted else chart.source or _T.given_so,
            draws=people.draws,
            effective=people.n / people.design_effect,
            design=people.design_effect,
        ),
        answer=f"{answer(study)}\n{headline}",
        sections=sections,
        limits=people.limits,
        sources=people.sources,
        footer=_T.footer.format(seed=study.seed, versions=made_with),
    ).for_pattern(study.pattern, chart.measures)


def answer(study: Study) -> str:
    words, row = _T.answer, study.overall()
    covered = words["covered"].format(
        share=in_100(row["estimate"]), probably=probably(row)
    )
    lines = [capital(covered)]
    outcomes = {name: study.overall(name)["estimate"] for name in _T.outcomes}
    parts = [
        f"{share(found, places=1 if found < 0.1 else 0)} {_T.outcomes[name]}"
        for name, found in outcomes.items()
        if found > 0.0005
    ]
    if parts:
        lines.append(f"{', '.join(parts)}.")
    harms = study.coverage.harms.set_index("harm")["estimate"]
    if harms.any():
        told = {str(name): share(found, places=1) for name, found in harms.items()}
        lines.append(words["harms"].format(**told))
    if len(widths := study.sensitivity.widths):
        lines.append(words["widths"].format(**_ends(widths)))
    return invented_first(study.chart.invented, "\n".join(lines))


def _section(
    name: str, words: Sequence[str], figures: Sequence[Picture], tables: Sequence[Table]
) -> Section:
    return Section(_T.headings[name], words, figures, tables)


def _table(name: str, columns: Mapping[str, Any] | pd.DataFrame) -> Table:
    return table(pd.DataFrame(columns), **_T.tables[name])


def _width_table(found: Sensitivity) -> Table:
    scale = found.widths["scale"].map("{:g} times".format)
    shares = found.widths["share"].map(share)
    return _table("widths", {"Width": scale, "With a size": shares})


def _fit_table(study: Study) -> Table:
    rows = []
    for group, fit in study.fitted.fits.items() if study.fitted else ():
        shares = fit.share, fit.upper_bound, fit.rival_held_out
        here, best, rival = (share(one, places=1) for one in shares)
        held = {"estimate": fit.held_out, "low": fit.held_out_low}
        held["high"] = fit.held_out_high
        rows.append([group, here, best, interval(held, places=1), rival])
    heads = ["Group", "Fitted to them", "At best", "People not fitted to"]
    heads.append("Simple bands, same people")
    return _table("fit", pd.DataFrame(rows, columns=heads))


def _coverage_table(study: Study) -> Table:
    rows = covered_rows(study.coverage)
    few = rows["small_group"].map({True: " (few)", False: ""})
    shown = {
        "Group": rows["by"],
        "Level": rows["level"],
        "With a size (95 % interval)": _intervals(rows, places=0),
        "People": rows["n"].map("{:,}".format) + few,
    }
    return _table("coverage", shown)


def _outcome_table(study: Study) -> Table:
    rows = pd.DataFrame([study.overall(outcome) for outcome in OUTCOME_WORDS])
    if study.chart.frame["load_limit_kg"].isna().all():
        rows = rows[rows["outcome"] != "over_load"]
    named, shares = rows["outcome"].map(OUTCOME_WORDS), _intervals(rows)
    return _table("outcomes", {"Outcome": named, "Share (95 % interval)": shares})


def _miss_table(study: Study) -> Table:
    rows = miss_rows(study.misses)
    missed = rows[["measure", "miss_median", "miss_most"]].itertuples(index=False)
    shown = {
        "Measure that fails": rows["measure"].map(labels()),
        "Which way": rows["direction"],
        "Share of everyone": _intervals(rows),
        "By how much": [
            f"half of them by up to {written(half, measure)}, 95 in 100 by up to "
            f"{written(most, measure)}"
            for measure, half, most in missed
        ],
    }
    return _table("misses", shown)


def _levels(odds: pd.DataFrame, column: str, called: dict[str, str]) -> list[str]:
    """Return what each level is called; men and women are none among children."""
    bands = {"adults": ["18 to 39"], "children": ["2 to 4"]}
    return [
        sex_words(level, bands[group])
        if group in bands and level in ("female", "male")
        else called.get(level, level)
        for level, group in odds[[column, "fitted_to"]].to_numpy()
    ]


def _odds_table(study: Study) -> Table:
    odds = study.between.query("level != reference")
    called = level_words(study.people.frame)
    told = odds["estimate"].map("{:.1f}".format) + odds["low"].map(" ({:.1f}".format)
    told += odds["high"].map(" to {:.1f})".format)
    by = odds["term"].replace(BY_WORDS)
    level, reference = (_levels(odds, end, called) for end in ("level", "reference"))
    shown = {
        "Among": odds["fitted_to"],
        "Group": by + ": " + level,
        "Compared with": reference,
        "Times as likely (95 % interval)": told.where(
            odds["estimate"].notna(), odds["message"]
        ),
    }
    return _table("between", shown)


def _size_table(study: Study) -> Table:
    rows = study.coverage.by_size
    shown: dict[str, Any] = {"Size": study.chart.sizes}
    for name, head in (("fits", "Fits it"), ("only_size", "Fits no other")):
        shown[head] = _intervals(rows[rows["share"] == name])
    return _table("each", shown)


def _intervals(rows: pd.DataFrame, *, places: int = 1) -> list[str]:
    return [interval(row, places=places) for row in rows.to_dict("records")]


def _evidence_table(study: Study) -> Table:
    counted = study.people.table.pivot_table("share", "measure", "evidence")
    kinds = [kind for kind in EVIDENCE if kind in counted]
    rows = counted.loc[list(study.people.measures), kinds].fillna(0.0).round(9)
    # Counted, not estimated: none and all are what they are.
    shown = rows.map(lambda part: (given if part == 1 else share)(part) if part else "")
    shown = shown.rename(index=labels()).rename_axis(index="Measure", columns=None)
    return _table("evidence", shown.reset_index())


def assumption_table(found: Sensitivity) -> Table:
    order = found.table["estimate"].abs().sort_values(ascending=False, kind="stable")
    rows = found.table.loc[order.index]
    shown = {
        "Assumption": rows["assumption"],
        "If instead": rows["setting"],
        "With a size": [share(one, places=1) for one in rows["share"]],
        "Change, points": [points_interval(r, places=1) for _, r in rows.iterrows()],
        "Where the setting comes from": rows["source"],
    }
    return _table("assumptions", shown)
