"""Fit the three groups' sizes and judge them together."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding.axis import Width
from sizing.banding.fit import fit_bands
from sizing.banding.result import BandFit
from sizing.chart.size_chart import GROUPS, SizeChart
from sizing.coverage.layout import layout
from sizing.coverage.shares import group_means, wilson
from sizing.errors import Problem, SizingError, check_number
from sizing.fit.assign import assign
from sizing.population.people import People

#: What can become of a person of a group, judged on all groups' sizes.
JUDGEMENTS: dict[str, str] = {
    "own": "fits a size of the own group",
    "other": "fits only a size of another group",
    "other_over_load": "would fit only another group's size, but is over its load",
    "none": "fits no size",
}


def group_of(
    people: People, *, adult_age: float = 18.0, bmi_threshold: float = 40.0
) -> pd.Series:
    """Say to which group of sizes each person belongs.

    Parameters
    ----------
    people : People
        With age, body mass and stature.
    adult_age : float
        Below this age a person is in the paediatric group.
    bmi_threshold : float
        From this body-mass index an adult is in the bariatric group. There is
        no one threshold; 40 is one that published health-service policies use.

    Returns
    -------
    Series of str
        One of ``GROUPS`` per row; the same in every draw of a person (her
        draws' mean body mass and stature decide). Adults without either are in
        the adult group.

    Examples
    --------
    >>> frame = pd.DataFrame(
    ...     {"person": [0, 1, 2], "draw": 0, "sex": "male",
    ...      "age_years": [9.0, 50.0, 50.0],
    ...      "body_mass_kg": [30.0, 80.0, 140.0], "stature_cm": [130.0, 180.0, 180.0]}
    ... )
    >>> group_of(People("three", frame, pd.Series([1.0] * 3), frame)).tolist()
    ['paediatric', 'adult', 'bariatric']
    """
    check_number("the age of an adult", adult_age, least=0)
    check_number("the body mass index of the bariatric", bmi_threshold, above=0)
    frame = people.frame
    needed = ["age_years", "body_mass_kg", "stature_cm"]
    lacking = [name for name in needed if name not in frame]
    if lacking:
        raise SizingError(
            str(
                Problem(
                    "cannot tell the people's groups",
                    "people with " + ", ".join(needed),
                    "add the column",
                    column=lacking[0],
                )
            )
        )
    mean = frame.groupby("person")[needed].transform("mean")
    bmi = mean["body_mass_kg"] / (mean["stature_cm"] / 100) ** 2
    group = np.select(
        [mean["age_years"] < adult_age, bmi >= bmi_threshold],
        ["paediatric", "bariatric"],
        "adult",
    )
    return pd.Series(group, index=frame.index, name="group")


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


@dataclass(frozen=True)
class GroupsFit:
    """Charts of several groups, fitted one by one and judged together.

    Attributes
    ----------
    chart : SizeChart
        All sizes, group by group.
    fits : mapping of str to BandFit
        Each group's own fit.
    judged : DataFrame
        One row per group of people (and ``everyone``), outcome (see
        ``JUDGEMENTS``) and ``size_group`` (the group whose size fits): columns
        people, group, outcome, size_group, estimate, low, high, method, n.
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
        parts = [f"{group}: {fit.summary()}" for group, fit in self.fits.items()]
        whole = self.judged[self.judged["group"] == "everyone"]
        for outcome, words in JUDGEMENTS.items():
            share = whole.loc[whole["outcome"] == outcome, "estimate"].sum()
            parts.append(f"Of everyone, {100 * share:.1f} % {words}.")
        return "\n".join(parts)


def fit_groups(
    people: People | Mapping[str, People],
    *,
    widths: Mapping[str, Any],
    sizes: int | Mapping[str, int] = 3,
    load_limits_kg: Mapping[str, float] | None = None,
    everyone: People | None = None,
    adult_age: float = 18.0,
    bmi_threshold: float = 40.0,
    name: str = "fitted chart",
    **settings: Any,
) -> GroupsFit:
    """Fit each group's sizes to its own people, then judge all on everyone.

    Parameters
    ----------
    people : People or mapping of group to People
        Everyone, to be split by ``group_of``; or each group's people.
    widths : mapping
        Measure to width, or group to such a mapping.
    sizes : int or mapping of group to int
        Number of sizes of each group.
    load_limits_kg : mapping of group to float, optional
        Load limit of a group's sizes; a group left out has none stated.
    everyone : People, optional
        The people to judge all sizes on. By default those given, if given as
        one; with groups given apart nothing is judged without it, because the
        groups may overlap.
    adult_age, bmi_threshold : float
        See ``group_of``.
    name : str
        Name of the chart.
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
    """
    if isinstance(people, People):
        everyone = people if everyone is None else everyone
        groups = group_of(people, adult_age=adult_age, bmi_threshold=bmi_threshold)
        people = by_group(people, groups)
    check_groups(people, "people")
    fits = {}
    for group in (g for g in GROUPS if g in people):
        count = sizes.get(group, 0) if isinstance(sizes, Mapping) else sizes
        if count == 0:
            continue
        fits[group] = fit_bands(
            people[group],
            widths=widths_of(widths, group),
            sizes=count,
            group=group,
            load_limit_kg=(load_limits_kg or {}).get(group),
            **settings,
        )
    if not fits:
        raise SizingError(
            str(Problem("no group has both people and sizes", ", ".join(GROUPS)))
        )
    frame = pd.concat([fit.chart.frame for fit in fits.values()], ignore_index=True)
    names = ", ".join(f"'{fit.people}'" for fit in fits.values())
    chart = SizeChart(frame, name=name, source=f"fitted to {names}")
    judged = pd.DataFrame(
        columns=["people", "group", "outcome", "size_group", *_FIGURES]
    )
    if everyone is not None:
        groups = group_of(everyone, adult_age=adult_age, bmi_threshold=bmi_threshold)
        judged = judge_groups(everyone, chart, groups)
    return GroupsFit(chart, fits, judged)


_FIGURES = ["estimate", "low", "high", "method", "n"]


def judge_groups(
    people: People, chart: SizeChart, groups: pd.Series, *, seed: int = 1
) -> pd.DataFrame:
    """Judge people of all groups on the sizes of all groups.

    Parameters
    ----------
    people : People
        Everyone.
    chart : SizeChart
        Sizes of several groups, with their load limits.
    groups : Series of str
        Each row's group; see ``group_of``.
    seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    DataFrame
        people, group (of the people; ``everyone`` for all), outcome (one of
        ``JUDGEMENTS``), size_group (whose size fits; empty for "none"; if
        sizes of two other groups fit, the first in the chart), estimate
        (share of the group's people), low, high, method, n (persons).
    """
    fits = assign(people, chart).fits
    unlimited = replace(chart, frame=chart.frame.assign(load_limit_kg=np.nan))
    by_measures = assign(people, unlimited).fits
    size_group = chart.frame["group"].astype(str).to_numpy()
    kinds = [g for g in GROUPS if g in size_group]
    own = groups.to_numpy()
    outcome = np.full(len(own), "none", dtype=object)
    whose = np.full(len(own), "", dtype=object)
    # Later lines overrule earlier ones.
    for label, table in (("other_over_load", by_measures), ("other", fits)):
        for kind in reversed(kinds):
            rows = table[:, size_group == kind].any(axis=1) & (own != kind)
            outcome[rows], whose[rows] = label, kind
    for kind in kinds:
        rows = fits[:, size_group == kind].any(axis=1) & (own == kind)
        outcome[rows], whose[rows] = "own", kind
    cases = [("own", g) for g in kinds]
    cases += [(label, g) for label in ("other", "other_over_load") for g in kinds]
    cases.append(("none", ""))
    place = layout(people)
    hits = np.column_stack([(outcome == o) & (whose == w) for o, w in cases])
    present = [g for g in GROUPS if (own == g).any()]
    belongs = np.column_stack([np.ones(len(own), bool), *[own == g for g in present]])
    means = group_means(
        place,
        [hits[rows].astype(float) for rows in place.rows],
        [belongs[rows].astype(float) for rows in place.rows],
        replicates=200,
        seed=seed,
    )
    low, high = wilson(
        means.estimate, means.variance, means.df, means.n_effective[:, None]
    )
    rows = []
    for g, group in enumerate(["everyone", *present]):
        for c, (label, kind) in enumerate(cases):
            mine = group in ("everyone", kind)
            if group != "everyone" and label != "none" and (label == "own") != mine:
                continue
            rows.append(
                {
                    "people": people.name,
                    "group": group,
                    "outcome": label,
                    "size_group": kind,
                    "estimate": means.estimate[g, c],
                    "low": low[g, c],
                    "high": high[g, c],
                    "method": f"score interval; {place.how}{place.joined}",
                    "n": round(float(means.n[g])),
                }
            )
    return pd.DataFrame(rows)


def widths_of(widths: Mapping[str, Any], group: str) -> Mapping[str, Width]:
    """Return a group's widths from widths for all or widths by group."""
    if not any(key in GROUPS for key in widths):
        return widths
    check_groups(widths, "widths")
    if group not in widths:
        raise SizingError(
            str(
                Problem(
                    "a group has no widths",
                    "widths for every group that has people",
                    "add them",
                    value=group,
                )
            )
        )
    found: Mapping[str, Width] = widths[group]
    return found


def check_groups(given: Mapping[str, Any], what: str) -> None:
    """Refuse groups that are not among ``GROUPS``."""
    unknown = [key for key in given if key not in GROUPS]
    if unknown:
        raise SizingError(
            str(
                Problem(
                    f"unknown group among the {what}",
                    ", ".join(GROUPS),
                    "use these names",
                    value=unknown[0],
                )
            )
        )
