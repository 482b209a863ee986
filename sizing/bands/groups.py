"""The three groups' sizes: fitted, judged together, and what more would cover."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from tqdm.auto import tqdm

from sizing.bands.cells import Width
from sizing.bands.fit import BandFit, fit_bands, group_of
from sizing.bands.fitter import Fitter
from sizing.bands.goal import chart_of
from sizing.charts import GROUPS, SizeChart, assign
from sizing.coverage import estimate_coverage
from sizing.coverage.coverage import figures
from sizing.errors import SizingError
from sizing.measures import PATTERNS, pattern_parts
from sizing.people import People
from sizing.people.people import layout
from sizing.resources import source_table
from sizing.stats.estimates import group_means
from sizing.words.numbers import share as written
from sizing.words.numbers import sizes_fit

#: What can become of a person of a group, judged on all groups' sizes.
JUDGEMENTS: dict[str, str] = {
    "own": "fits a size of their own group",
    "other": "fits only a size of another group",
    "other_over_load": "would fit only another group's size, but is over its load",
    "none": "fits no size",
}
FIGURES = ("estimate", "low", "high", "method", "n")
T = TypeVar("T")
#: Nine sizes of three measures on a finer grid than this take more than a minute
#: (our choice, no source).
FINEST_CM = 0.5


def by_group(people: People, groups: pd.Series) -> dict[str, People]:
    """Split people by group; a group without anybody is left out."""
    found = {}
    for group in GROUPS:
        rows = (groups == group).to_numpy()
        if rows.any():
            found[group] = replace(
                people,
                name=f"{people.name}, {group}",
                frame=people.frame[rows].reset_index(drop=True),
                weight=people.weight[rows].reset_index(drop=True),
                evidence=people.evidence[rows].reset_index(drop=True),
            )
    return found


def judge_groups(people: People, chart: SizeChart, groups: pd.Series) -> pd.DataFrame:
    """Judge people of all groups on all sizes; the first in the chart counts."""
    of_person = groups.to_numpy()
    kinds = [g for g in GROUPS if (chart.frame["group"] == g).any()]
    outcome, whose = _outcomes(people, chart, of_person, kinds)
    cases = [("own", g) for g in kinds]
    cases += [(label, g) for label in ("other", "other_over_load") for g in kinds]
    cases.append(("none", ""))
    place = layout(people, chart.measures)
    hits = np.column_stack([(outcome == o) & (whose == w) for o, w in cases])
    present = [g for g in GROUPS if (of_person == g).any()]
    everyone = np.ones(len(of_person), bool)
    belongs = np.column_stack([everyone, *[of_person == g for g in present]])
    columns, members = (
        [one[rows].astype(float) for rows in place.rows] for one in (hits, belongs)
    )
    means = group_means(place, columns, members, replicates=200, seed=1)
    rows = [(people.name, g, *case) for g in ["everyone", *present] for case in cases]
    table = pd.DataFrame(rows, columns=["people", "group", "outcome", "size_group"])
    told = figures(means, means.shares(), place, "score interval")
    table = table.join(told.iloc[:, :5])
    # A size of the own group is one of the others' only for those others.
    mine = table["size_group"] == table["group"]
    kept = (table["group"] == "everyone") | (table["outcome"] == "none")
    kept |= (table["outcome"] == "own") == mine
    return table[kept].reset_index(drop=True)


def _outcomes(
    people: People, chart: SizeChart, of_person: np.ndarray, kinds: list[str]
) -> tuple[np.ndarray, np.ndarray]:
    """Return what becomes of each row, and whose size it is that fits."""
    fits = assign(people, chart).fits
    by_measures = fits
    if chart.frame["load_limit_kg"].notna().any():
        unlimited = replace(chart, frame=chart.frame.assign(load_limit_kg=np.nan))
        by_measures = assign(people, unlimited).fits
    size_group = chart.frame["group"].astype(str).to_numpy()
    outcome = np.full(len(of_person), "none", dtype=object)
    whose = np.full(len(of_person), "", dtype=object)
    # Later ones overrule earlier ones.
    tables = {"other_over_load": by_measures, "other": fits, "own": fits}
    for label, table in tables.items():
        for kind in reversed(kinds):
            some = table[:, size_group == kind].any(axis=1)
            rows = some & ((of_person == kind) == (label == "own"))
            outcome[rows], whose[rows] = label, kind
    return outcome, whose


@dataclass(frozen=True)
class GroupsFit:
    """Charts of several groups, fitted one by one and judged together."""

    chart: SizeChart
    fits: Mapping[str, BandFit]
    judged: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """The fits' figures, one row each, with the group in front."""
        parts = [fit.table.assign(group=group) for group, fit in self.fits.items()]
        table = pd.concat(parts, ignore_index=True)
        return table[["group", *[c for c in table if c != "group"]]]

    def summary(self) -> str:
        """Say in plain words how well the groups do, apart and together."""
        whole = self.judged[self.judged["group"] == "everyone"]
        fits = whole.loc[whole["outcome"].isin(["own", "other"]), "estimate"].sum()
        said = f"{sizes_fit(len(self.chart.sizes), fits)}."
        parts = [said] if len(self.fits) > 1 else []
        parts += [f"{group}: {fit.summary()}" for group, fit in self.fits.items()]
        for outcome, words in JUDGEMENTS.items():
            share = whole.loc[whole["outcome"] == outcome, "estimate"].sum()
            # Of a chart without a load limit nobody is over it.
            if share > 0:
                parts.append(f"Of everyone, {written(share, places=1)} {words}.")
        return "\n".join(parts)


def fit_groups(
    people: People,
    *,
    widths: Mapping[str, Width | Mapping[str, Width]],
    sizes: int | Mapping[str, int] = 3,
    load_limits_kg: Mapping[str, float] | None = None,
    name: str = "fitted chart",
    progress: bool = False,
    **settings: Any,
) -> GroupsFit:
    """Fit each group's sizes to its own people, then judge all on everyone.

    Parameters
    ----------
    people : People
        Everyone, to be split by ``group_of``.
    widths : mapping
        Measure to width, or group to such a mapping.
    sizes : int or mapping of group to int
        Number of sizes of each group.
    load_limits_kg : mapping of group to float, optional
        Load limit of a group's sizes; a group left out has none stated.
    name : str
        Name of the chart.
    progress : bool
        Whether a bar shows which group is being fitted.
    **settings
        Further settings of ``fit_bands``.

    Returns
    -------
    GroupsFit
        ``.chart`` with all sizes; ``.fits``, each group's own; ``.judged``: people,
        group (of the people; ``everyone`` for all), outcome (own, other,
        other_over_load, none), size_group (whose size fits), estimate (share of the
        group's people), low, high, method, n (persons). Groups are not ordered
        against each other: a bariatric size is wider, not taller, than an adult one.

    Raises
    ------
    SizingError
        As ``fit_bands``; or if a group is unknown or has no widths.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people, widths = load_people("bariatric", draws=1), {"hip_circumference_cm": 25}
    >>> fit_groups(people, widths=widths, sizes=2, splits=0).chart.sizes
    ('bariatric 1', 'bariatric 2')
    """
    groups = group_of(people)
    asked = _asked(by_group(people, groups), widths, sizes, load_limits_kg)
    fits = {
        group: fit_bands(**own, group=group, **settings)
        for group, own in _shown(asked.items(), "Fitting the groups", progress)
    }
    if not fits:
        raise SizingError(
            "no group has both people and sizes", allowed=", ".join(GROUPS)
        )
    frame = pd.concat([fit.chart.frame for fit in fits.values()], ignore_index=True)
    names = ", ".join(f"'{fit.people}'" for fit in fits.values())
    chart = SizeChart(frame, name=name, source=f"fitted to {names}")
    return GroupsFit(chart, fits, judge_groups(people, chart, groups))


def _asked(
    parts: Mapping[str, People],
    widths: Mapping[str, Any],
    sizes: int | Mapping[str, int],
    load_limits_kg: Mapping[str, float] | None,
) -> dict[str, dict[str, Any]]:
    """Return what is asked of a fit for each group that has people and sizes."""
    found = {}
    for group, part in parts.items():
        count = sizes.get(group, 0) if isinstance(sizes, Mapping) else sizes
        if count:
            own = {"widths": widths_of(widths, group), "sizes": count}
            own["load_limit_kg"] = (load_limits_kg or {}).get(group)
            found[group] = {"people": part, **own}
    return found


def _shown(items: Collection[T], words: str, progress: bool) -> Iterable[T]:
    """Go through something with a bar, once it takes more than two seconds."""
    bar: Iterable[T] = tqdm(items, desc=words, delay=2, disable=not progress)
    return bar


def widths_of(widths: Mapping[str, Any], group: str) -> Mapping[str, Width]:
    """Return a group's widths from widths for all or widths by group."""
    if not any(key in GROUPS for key in widths):
        return widths
    if unknown := [key for key in widths if key not in GROUPS]:
        raise SizingError(
            "unknown group among the widths",
            allowed=", ".join(GROUPS),
            value=unknown[0],
        )
    if group not in widths:
        raise SizingError(
            "a group has no widths",
            allowed="widths for every group that has people",
            action="add them",
            value=group,
        )
    found: Mapping[str, Width] = widths[group]
    return found


def default_widths(pattern: str | None = None) -> dict[str, dict[str, float]]:
    """Return the widths of ``data_sources/default_widths.csv``, by group and measure.

    Of each part that a chart must limit for the pattern of sling (the first of
    ``PATTERNS`` unless named) the first measure that has a width.
    """
    table = source_table("default_widths.csv")
    have = set(table["measure"])
    parts = pattern_parts(pattern or PATTERNS[0]).values()
    used = [next(name for name in names if name in have) for names in parts]
    table = table[table["measure"].isin(used)]
    return {
        str(group): dict(zip(part["measure"], part["width"].astype(float), strict=True))
        for group, part in table.groupby("group")
    }


def fit_nine_sizes(people: People, *, sizes: int = 3, **settings: Any) -> GroupsFit:
    """Fit three sizes to each group by the default widths."""
    step = settings.get("step_cm", 1.0)
    if isinstance(step, (int, float)) and 0 < step < FINEST_CM:
        raise SizingError(
            f"all groups' sizes in steps of {step:g} cm would take very long, and "
            "mostly fit this sample more closely, not people at large",
            allowed=f"steps of {FINEST_CM:g} cm or more",
            action="take a larger --step, or fit one group's sizes with --widths",
        )
    settings = {"widths": default_widths(), "name": "nine fitted sizes", **settings}
    return fit_groups(people, sizes=sizes, **settings)


def fitted_chart(
    parts: Mapping[str, People],
    *,
    widths: Mapping[str, Width | Mapping[str, Width]],
    sizes: int = 3,
    load_limits_kg: Mapping[str, float] | None = None,
    **settings: Any,
) -> SizeChart:
    """Return the best chart of all groups (``by_group``), without its certificate."""
    frames = []
    asked = _asked(parts, widths, sizes, load_limits_kg)
    for group, own in asked.items():
        fitter = Fitter.of(**own, **settings)
        named: dict[str, Any] = {"group": group, "name": "", "source": ""}
        frames.append(chart_of(fitter.measured, fitter.fit(), **named).frame)
    return SizeChart(pd.concat(frames, ignore_index=True))


def coverage_by_sizes(
    people: People,
    *,
    numbers: Iterable[int] = (2, 3, 4),
    widths: Mapping[str, Width | Mapping[str, Width]] | None = None,
    seed: int = 1,
    progress: bool = False,
    **settings: Any,
) -> pd.DataFrame:
    """Say what two, three and four sizes in each group cover, a row per number.

    sizes (of all groups), each_group; the share of everyone who fits one, with its
    interval for the chart as it is; not_served; too_large, too_small, both (harms).
    """
    rows, wide = [], widths or default_widths()
    parts = by_group(people, group_of(people))
    for number in _shown(list(numbers), "Trying fewer and more sizes", progress):
        chart = fitted_chart(parts, widths=wide, sizes=number, **settings)
        judged = estimate_coverage(people, chart, seed=seed)
        told = judged.table
        (covered,) = told[told["outcome"] == "covered"].to_dict("records")
        row = {"sizes": len(chart.sizes), "each_group": number}
        row |= {name: covered[name] for name in FIGURES}
        row["not_served"] = 1 - covered["estimate"]
        rows.append(row | judged.harms.set_index("harm")["estimate"].to_dict())
    return pd.DataFrame(rows)
