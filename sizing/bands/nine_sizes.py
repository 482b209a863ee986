"""Fit the three groups' sizes, judge them together, and count what more would cover."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import pandas as pd
from tqdm.auto import tqdm

from sizing.bands.axis import Width
from sizing.bands.fit import BandFit, fit_bands
from sizing.bands.fitter import Fitter
from sizing.bands.groups import JUDGEMENTS, by_group, group_of, judge_groups
from sizing.bands.measured import chart_of
from sizing.charts import GROUPS, SizeChart
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.measures import PATTERNS, pattern_parts
from sizing.people.people import People
from sizing.resources import source_table
from sizing.words.numbers import share as written
from sizing.words.numbers import sizes_fit

FIGURES = ("estimate", "low", "high", "method", "n")
T = TypeVar("T")
#: Nine sizes of three measures on a finer grid than this take more than a minute
#: (our choice, no source).
FINEST_CM = 0.5


@dataclass(frozen=True)
class GroupsFit:
    """Charts of several groups, fitted one by one and judged together.

    ``chart`` holds all sizes, ``fits`` each group's own fit. ``judged``: people, group
    (of the people; ``everyone`` for all), outcome (own, other, other_over_load, none),
    size_group (whose size fits; empty for "none"), estimate (share of the group's
    people), low, high, method, n (persons).
    """

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
    adult_age: float = 18.0,
    bmi_threshold: float = 40.0,
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
    adult_age, bmi_threshold : float
        See ``group_of``.
    name : str
        Name of the chart.
    progress : bool
        Whether a bar shows which group is being fitted.
    **settings
        Further settings of ``fit_bands``.

    Returns
    -------
    GroupsFit
        Chart with all sizes, each group's fit, and the joint judgement.

    Raises
    ------
    SizingError
        As ``fit_bands``; or if a group is unknown or has no widths.

    Notes
    -----
    Groups are not ordered against each other: a bariatric size is wider, not
    taller, than an adult one. Each chain is the best for its own people; a
    person of one group may well fit a size of another, which ``judged`` tells,
    and whether that size may lift her.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = fit_groups(people, widths={"hip_circumference_cm": 25}, sizes=2,
    ...     splits=0)
    >>> found.chart.sizes
    ('bariatric 1', 'bariatric 2')
    """
    groups = group_of(people, adult_age=adult_age, bmi_threshold=bmi_threshold)
    fits = {}
    parts = by_group(people, groups).items()
    for group, part in _shown(parts, "Fitting the groups", progress):
        count = sizes.get(group, 0) if isinstance(sizes, Mapping) else sizes
        if count == 0:
            continue
        fits[group] = fit_bands(
            part,
            widths=widths_of(widths, group),
            sizes=count,
            group=group,
            load_limit_kg=(load_limits_kg or {}).get(group),
            **settings,
        )
    if not fits:
        raise SizingError(
            "no group has both people and sizes", allowed=", ".join(GROUPS)
        )
    frame = pd.concat([fit.chart.frame for fit in fits.values()], ignore_index=True)
    names = ", ".join(f"'{fit.people}'" for fit in fits.values())
    chart = SizeChart(frame, name=name, source=f"fitted to {names}")
    return GroupsFit(chart, fits, judge_groups(people, chart, groups))


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
    """Return the widths of the nine sizes' bands, by group and measure.

    From ``data_sources/default_widths.csv``, with their source. Of each part that a
    chart must limit for the pattern of sling (the first of ``PATTERNS`` unless named)
    the first measure that has a width.

    >>> sorted(default_widths())
    ['adult', 'bariatric', 'paediatric']
    >>> [name.split("_")[0] for name in default_widths("toileting or access")["adult"]]
    ['shoulder', 'thigh', 'waist']
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
    people: People,
    *,
    widths: Mapping[str, Width | Mapping[str, Width]],
    sizes: int = 3,
    load_limits_kg: Mapping[str, float] | None = None,
    **settings: Any,
) -> SizeChart:
    """Return the best chart of all groups, without its certificate and rivals."""
    frames = []
    for group, part in by_group(people, group_of(people)).items():
        own = {"widths": widths_of(widths, group), "sizes": sizes, **settings}
        limit = (load_limits_kg or {}).get(group)
        fitter = Fitter.of(part, load_limit_kg=limit, **own)
        boxes, measured = fitter.fit(), fitter.measured
        made = chart_of(measured, *boxes, group=group, name="", source="")
        frames.append(made.frame)
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
    """Say what two, three and four sizes in each group cover.

    One row per number: sizes (of all groups together), each_group, estimate (share of
    everyone who fits a size of any group), low, high (95 %), method, n; not_served
    (share of everyone without a size) and, of these, too_large, too_small, both (whose
    nearest size is wrong which way). The best charts on the grid, without their
    certificates; the intervals hold the charts as they are.
    """
    rows, wide = [], widths or default_widths()
    for number in _shown(list(numbers), "Trying fewer and more sizes", progress):
        chart = fitted_chart(people, widths=wide, sizes=number, **settings)
        judged = estimate_coverage(people, chart, seed=seed)
        told = judged.table
        (covered,) = told[told["outcome"] == "covered"].to_dict("records")
        row = {"sizes": len(chart.sizes), "each_group": number}
        row |= {name: covered[name] for name in FIGURES}
        row["not_served"] = 1 - covered["estimate"]
        rows.append(row | judged.harms.set_index("harm")["estimate"].to_dict())
    return pd.DataFrame(rows)
