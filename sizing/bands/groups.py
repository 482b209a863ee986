"""Which group of sizes people belong to, and how all groups' sizes serve them."""

from dataclasses import replace

import numpy as np
import pandas as pd

from sizing.charts import GROUPS, SizeChart
from sizing.charts.assign import assign
from sizing.coverage.coverage import figures
from sizing.errors import SizingError, check_number
from sizing.people.people import People, layout
from sizing.stats.estimates import group_means

#: What can become of a person of a group, judged on all groups' sizes.
JUDGEMENTS: dict[str, str] = {
    "own": "fits a size of their own group",
    "other": "fits only a size of another group",
    "other_over_load": "would fit only another group's size, but is over its load",
    "none": "fits no size",
}
#: What tells a person's group.
NEEDED = ("age_years", "body_mass_kg", "stature_cm")


def group_of(
    people: People, *, adult_age: float = 18.0, bmi_threshold: float = 40.0
) -> pd.Series:
    """Say to which group of sizes each person belongs.

    There is no one threshold of body mass index; 40 is one that published
    health-service policies use.

    One of ``GROUPS`` per row; the same in every draw of a person (her draws' mean body
    mass and stature decide). Adults without either are in the adult group.

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
    if lacking := [name for name in NEEDED if name not in frame]:
        raise SizingError(
            "cannot work out the people's groups",
            allowed="people with " + ", ".join(NEEDED),
            action="add the column",
            column=lacking[0],
        )
    mean = frame.groupby("person")[list(NEEDED)].transform("mean")
    bmi = mean["body_mass_kg"] / (mean["stature_cm"] / 100) ** 2
    apart = [mean["age_years"] < adult_age, bmi >= bmi_threshold]
    group = np.select(apart, ["paediatric", "bariatric"], "adult")
    return pd.Series(group, index=frame.index, name="group")


def common_group(people: People) -> str:
    """Return the group that all people can share; empty text where there is none.

    Adults share the adult one, the heavy among them too. Children and adults together
    have none, nor have people whose ages are not known.
    """
    frame = people.frame
    if "age_years" not in frame or frame["age_years"].isna().any():
        return ""
    lacking = {name: np.nan for name in NEEDED if name not in frame}
    kinds = set(group_of(replace(people, frame=frame.assign(**lacking))))
    if "paediatric" in kinds:
        return "paediatric" if len(kinds) == 1 else ""
    return "bariatric" if kinds == {"bariatric"} else "adult"


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


def judge_groups(
    people: People, chart: SizeChart, groups: pd.Series, *, seed: int = 1
) -> pd.DataFrame:
    """Judge people of all groups on the sizes of all groups, with their load limits.

    ``groups`` are those of ``group_of``; see ``GroupsFit.judged`` for what comes back.
    If sizes of two other groups fit someone, the first in the chart counts.
    """
    of_person = groups.to_numpy()
    outcome, whose = _outcomes(people, chart, of_person)
    kinds = _kinds(chart)
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
    means = group_means(place, columns, members, replicates=200, seed=seed)
    names = ["everyone", *present]
    table = pd.DataFrame(
        [(people.name, group, *case) for group in names for case in cases],
        columns=["people", "group", "outcome", "size_group"],
    )
    told = figures(means, means.shares(), place, "score interval")
    table = table.join(told.iloc[:, :5])
    # A size of the own group is one of the others' only for those others.
    mine = table["size_group"] == table["group"]
    kept = (table["group"] == "everyone") | (table["outcome"] == "none")
    kept |= (table["outcome"] == "own") == mine
    return table[kept].reset_index(drop=True)


def _kinds(chart: SizeChart) -> list[str]:
    return [g for g in GROUPS if (chart.frame["group"] == g).any()]


def _outcomes(
    people: People, chart: SizeChart, of_person: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return what becomes of each row, and whose size it is that fits."""
    fits = assign(people, chart).fits
    unlimited = replace(chart, frame=chart.frame.assign(load_limit_kg=np.nan))
    by_measures = assign(people, unlimited).fits
    size_group = chart.frame["group"].astype(str).to_numpy()
    outcome = np.full(len(of_person), "none", dtype=object)
    whose = np.full(len(of_person), "", dtype=object)
    # Later ones overrule earlier ones.
    tables = {"other_over_load": by_measures, "other": fits, "own": fits}
    for label, table in tables.items():
        for kind in reversed(_kinds(chart)):
            some = table[:, size_group == kind].any(axis=1)
            rows = some & ((of_person == kind) == (label == "own"))
            outcome[rows], whose[rows] = label, kind
    return outcome, whose
