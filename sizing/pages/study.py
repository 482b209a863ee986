"""The study's report page, its pictures and its tables."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import OUTCOME_WORDS
from sizing.coverage import Sensitivity, harm_words
from sizing.measures import EDGE_RULE, EVIDENCE
from sizing.pages.page import Page, Picture, Section, picture, render, table
from sizing.plots import shares as plots
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.style import figure_of
from sizing.resources import invented_first, texts
from sizing.study.study import Study, own_group_shares, versions
from sizing.words import labels as named
from sizing.words import numbers
from sizing.words.client import capital
from sizing.words.numbers import interval, points_interval, share, written

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
#: Sections of two tables; the others have at most the one of their own name.
_TWO = {"coverage": ("coverage", "outcomes"), "between": ("misses", "between")}
#: Pictures that stand in a section of another name.
_DRAWN_IN = {"between": "who_falls_between"}
Frames = Mapping[str, Mapping[str, Any] | pd.DataFrame]


def study_axes(study: Study) -> dict[str, tuple[Axes, str]]:
    """Return each picture's axes by its name, with what it shows in words."""
    people, chart, moved = study.people, study.chart, study.sensitivity
    found, called = {}, named.labels()
    known = set(chart.measures) & set(people.measures)
    pairs = [pair for pair in _PAIRS if set(pair) <= known][:2]

    def add(name: str, ax: Axes, number: str = "", **told: Any) -> None:
        found[name + number] = ax, _T.pictures[name]["alt"].format(**told)

    about = {"people": people.name, "sizes": len(chart.sizes), "chart": chart.name}
    for number, (x, y) in enumerate(pairs, start=1):
        told: dict[str, Any] = {"labels": called, "weight": people.weight}
        ax = plot_people_and_chart(people.frame, chart.frame, x=x, y=y, **told)
        add("people_and_sizes", ax, f"_{number}", x=called[x], y=called[y], **about)
    rows, x_label = named.covered_rows(study.coverage), "Share with at least one size"
    overall = share(study.overall()["estimate"])
    add("coverage", plots.plot_shares(rows, x_label=x_label), overall=overall)
    if len(study.misses):
        rows = named.miss_rows(study.misses)
        add("who_falls_between", plots.plot_misses(rows))
    if len(moved.widths):
        add("widths", plots.plot_widths(moved.widths), **_ends(moved.widths))
    change = numbers.points(moved.biggest["estimate"], places=1)
    longest = {"label": moved.biggest["label"], "change": change}
    add("assumptions", plots.plot_sensitivity(moved.table), **longest)
    return found


def study_pictures(study: Study) -> dict[str, Picture]:
    found = {}
    for name, (ax, alt) in study_axes(study).items():
        caption = _T.pictures[name.rstrip("_12")]["caption"]
        found[f"{name}.png"] = picture(figure_of(ax), alt=alt, caption=caption)
    return found


def _ends(widths: pd.DataFrame) -> dict[str, Any]:
    first, last = widths.iloc[0], widths.iloc[-1]
    ends = {"narrow": first["scale"], "wide": last["scale"]}
    return ends | {"least": share(first["share"]), "most": share(last["share"])}


def study_page(study: Study, pictures: dict[str, Picture]) -> str:
    return render(study_report(study, pictures))


def study_report(study: Study, pictures: dict[str, Picture]) -> Page:
    chart, people = study.chart, study.people
    frames, sections = _frames(study), []
    for name, said in _said(study).items():
        drawn = _DRAWN_IN.get(name, "people_and" if name == "sizes" else name)
        figures = [one for key, one in pictures.items() if key.startswith(drawn)]
        tables = [
            table(pd.DataFrame(frames[key]), **_T.tables[key])
            for key in _TWO.get(name, (name,))
            if key in frames
        ]
        sections.append(Section(_T.headings[name], said, figures, tables))
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
        answer=f"{answer(study)}\n{study.sensitivity.headline()}",
        sections=sections,
        limits=people.limits,
        sources=people.sources,
        footer=_T.footer.format(seed=study.seed, versions=made_with),
    ).for_pattern(study.pattern, chart.measures)


def _said(study: Study) -> dict[str, list[str]]:
    """Return what is said in each section that this study has, in their order."""
    words, row = _T.words, study.overall()
    limited = study.chart.frame["load_limit_kg"].notna().any()
    said = {"sizes": [EDGE_RULE, words["limited" if limited else "unlimited"]]}
    if len(study.sensitivity.widths):
        so = words["widths_given" if study.fitted is None else "widths_fitted"]
        said["widths"] = [f"{words['widths']} {so}", words["no_trial"]]
    if study.fitted is not None:
        own = own_group_shares(study).items()
        shares = {key: share(one or 0, places=1) for key, one in own}
        said["fit"] = [words["fit"].format(**shares)]
    said |= {"coverage": [], "between": [words["everyone_fits"]]}
    if len(study.misses):
        harms = harm_words(study.coverage.harms, **study.weights)
        said["between"] = [harms, words["odds"]]
    rest = ("predicted", "extrapolated", "unsupported")
    sound = {"method": row["method"], **{name: share(row[name]) for name in rest}}
    headline = study.sensitivity.headline()
    return said | {
        "each": [words["each"]],
        "evidence": [words["evidence"].format(**sound)],
        "assumptions": [words["assumptions"].format(headline=headline)],
    }


def answer(study: Study) -> str:
    words, row = _T.answer, study.overall()
    told = {"share": numbers.in_100(row["estimate"]), "probably": numbers.probably(row)}
    lines = [capital(words["covered"].format(**told))]
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


def _frames(study: Study) -> Frames:
    """Return what each table shows, written out for people."""
    chart, found, moved = study.chart, study.coverage, study.sensitivity
    found_rows, sizes = named.covered_rows(found), found.by_size
    few = found_rows["small_group"].map({True: " (few)", False: ""})
    outcomes = pd.DataFrame([study.overall(outcome) for outcome in OUTCOME_WORDS])
    if chart.frame["load_limit_kg"].isna().all():
        outcomes = outcomes[outcomes["outcome"] != "over_load"]
    frames: dict[str, Mapping[str, Any] | pd.DataFrame] = {
        "sizes": named.chart_words(chart),
        "coverage": {
            "Group": found_rows["by"],
            "Level": found_rows["level"],
            "With a size (95 % interval)": _intervals(found_rows, places=0),
            "People": found_rows["n"].map("{:,}".format) + few,
        },
        "outcomes": {
            "Outcome": outcomes["outcome"].map(OUTCOME_WORDS),
            "Share (95 % interval)": _intervals(outcomes),
        },
        "each": {
            "Size": chart.sizes,
            "Fits it": _intervals(sizes[sizes["share"] == "fits"]),
            "Fits no other": _intervals(sizes[sizes["share"] == "only_size"]),
        },
        "evidence": _evidence(study),
        "assumptions": assumption_rows(moved),
    }
    if len(study.misses):
        frames |= {"misses": _misses(study.misses), "between": _odds(study)}
    if len(moved.widths):
        scale = moved.widths["scale"].map("{:g} times".format)
        shares = moved.widths["share"].map(share)
        frames["widths"] = {"Width": scale, "With a size": shares}
    if study.fitted is not None:
        frames["fit"] = pd.DataFrame(
            {
                "Group": group,
                "Fitted to them": share(fit.share, places=1),
                "At best": share(fit.upper_bound, places=1),
                "People not fitted to": interval(fit.table.iloc[3], places=1),
                "Simple bands, same people": share(fit.rival_held_out, places=1),
            }
            for group, fit in study.fitted.fits.items()
        )
    return frames


def _misses(misses: pd.DataFrame) -> dict[str, Any]:
    rows = named.miss_rows(misses)
    missed = rows[["measure", "miss_median", "miss_most"]].itertuples(index=False)
    return {
        "Measure that fails": rows["measure"].map(named.labels()),
        "Which way": rows["direction"],
        "Share of everyone": _intervals(rows),
        "By how much": [
            f"half of them by up to {written(half, measure)}, 95 in 100 by up to "
            f"{written(most, measure)}"
            for measure, half, most in missed
        ],
    }


def _odds(study: Study) -> dict[str, Any]:
    odds = study.between.query("level != reference")
    called = named.level_words(study.people.frame)
    bands = {"adults": ["18 to 39"], "children": ["2 to 4"]}

    def levels(column: str) -> list[str]:
        """Return what each level is called; men and women are none among children."""
        return [
            named.sex_words(level, bands[group])
            if group in bands and level in ("female", "male")
            else called.get(level, level)
            for level, group in odds[[column, "fitted_to"]].to_numpy()
        ]

    told = odds["estimate"].map("{:.1f}".format) + odds["low"].map(" ({:.1f}".format)
    told += odds["high"].map(" to {:.1f})".format)
    return {
        "Among": odds["fitted_to"],
        "Group": odds["term"].replace(named.BY_WORDS) + ": " + levels("level"),
        "Compared with": levels("reference"),
        "Times as likely (95 % interval)": told.where(
            odds["estimate"].notna(), odds["message"]
        ),
    }


def _intervals(rows: pd.DataFrame, *, places: int = 1) -> list[str]:
    return [interval(row, places=places) for row in rows.to_dict("records")]


def _evidence(study: Study) -> pd.DataFrame:
    counted = study.people.table.pivot_table("share", "measure", "evidence")
    kinds = [kind for kind in EVIDENCE if kind in counted]
    rows = counted.loc[list(study.people.measures), kinds].fillna(0.0).round(9)
    # Counted, not estimated: none and all are what they are.
    shown = rows.map(
        lambda part: (numbers.given if part == 1 else share)(part) if part else ""
    )
    shown = shown.rename(index=named.labels())
    return shown.rename_axis(index="Measure", columns=None).reset_index()


def assumption_rows(found: Sensitivity) -> pd.DataFrame:
    order = found.table["estimate"].abs().sort_values(ascending=False, kind="stable")
    rows = found.table.loc[order.index]
    shown = {
        "Assumption": rows["assumption"],
        "If instead": rows["setting"],
        "With a size": [share(one, places=1) for one in rows["share"]],
        "Change, points": [points_interval(r, places=1) for _, r in rows.iterrows()],
        "Where the setting comes from": rows["source"],
    }
    return pd.DataFrame(shown)
