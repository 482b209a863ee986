"""Who a population is: its sex, ages and build, beside what is published of it."""

import numpy as np
import pandas as pd

from sizing.people.classes import ADULT_AGE
from sizing.people.layout import layout
from sizing.people.margins import to_margins
from sizing.people.people import People
from sizing.resources import source_table
from sizing.stats.intervals import student
from sizing.stats.shares import group_means
from sizing.stats.weighted import weighted_quantile

#: Populations beside which the means of the whole country may stand.
_COUNTRY = ("everyone", "children", "adults")
_SURVEY = "NHANES 2015-16"


def profile(people: People, *, seed: int = 1) -> pd.DataFrame:
    """Return the share of women and girls, and percentiles of age and build by sex.

    The interval of a percentile is Woodruff's: q -+ t SE of the share at or under it,
    read back through the weighted distribution (J Am Stat Assoc 1952;47:635-646,
    from memory).
    """
    # Age and build depend on no measure that the body model judges: its error has no
    # part in them, and would only add noise.
    frame, place = people.frame, layout(people, judged=())
    weight = people.weight.to_numpy(dtype=float)
    members = {sex: (frame["sex"] == sex).to_numpy() for sex in ("female", "male")}
    members = {"everyone": np.ones(len(frame), dtype=bool), **members}
    flags, figures = [members["female"]], []
    for g, (group, inside) in enumerate(members.items()):
        for name in ("age_years", "body_mass_kg", "stature_cm", "bmi"):
            value = frame[name].to_numpy(dtype=float)
            for q in (0.05, 0.5, 0.95):
                found = weighted_quantile(value[inside], q, weights=weight[inside])
                figures.append((g, group, name, q, float(found)))
                flags.append(value <= found)
    columns, groups = (
        [np.column_stack(one)[rows].astype(float) for rows in place.rows]
        for one in (flags, list(members.values()))
    )
    means = group_means(place, columns, groups, replicates=200, seed=seed)
    how = place.how
    ends = [float(end[0, 0]) for end in (means.estimate, *means.shares())]
    first = ("everyone", "female", "share", *ends)
    table = [(*first, f"score interval, {how}", people.n)]
    for j, (g, group, name, q, middle) in enumerate(figures, start=1):
        reach = student(means.df[g, j]) * np.sqrt(means.variance[g, j])
        near, inside = np.clip([q - reach, q + reach], 0, 1), members[group]
        value = frame[name].to_numpy(dtype=float)[inside]
        ends = weighted_quantile(value, near, weights=weight[inside]).tolist()
        row = (group, name, f"p{100 * q:02.0f}", middle, *ends)
        table.append((*row, f"Woodruff, {how}", round(means.n[g])))
    names = ["group", "variable", "statistic", "estimate", "low", "high", "method", "n"]
    return pd.DataFrame(table, columns=names)


def beside(people: People) -> pd.DataFrame:
    """Return what is published of these people, beside what they come to.

    ``use`` says whether they were weighted to the figure, which is then no check.
    """
    table = source_table("margins.csv").fillna({"level": "", "within": ""})
    table = table[table["population"] == people.name].assign(use="weighted to it")
    if people.name in _COUNTRY:
        table = _of_country(people.frame["age_years"])
    rows = []
    weight = people.weight.to_numpy(dtype=float)
    told = table[["source", "standing", "basis", "use"]].to_numpy()
    for margin, words in zip(to_margins(table), told, strict=True):
        inside, value = margin.group(people.frame), margin.value(people.frame)
        here = float(np.average(value[inside], weights=weight[inside]))
        rows.append((str(margin), margin.statistic, margin.target, here, *words))
    names = [
        "what",
        "statistic",
        "published",
        "here",
        "source",
        "standing",
        "basis",
        "use",
    ]
    return pd.DataFrame(rows, columns=names)


def _of_country(ages: pd.Series) -> pd.DataFrame:
    """Return the survey's mean weights and heights of people of these ages."""
    table = source_table("survey_summaries.csv")
    # The oldest of the survey stand at 80.
    most = 121 if ages.max() >= 80 else ages.max() + 1
    table = table[
        (table["survey"] == _SURVEY)
        & (table["statistic"] == "mean")
        & table["name"].isin(["body_mass_kg", "stature_cm"])
        & (table["age_years_from"] >= ages.min())
        & (table["age_years_below"] <= most)
    ]
    low, high = (table[f"age_years_{end}"].astype(str) for end in ("from", "below"))
    until = (";age_years<" + high).where(table["age_years_below"] < 121, "")
    made: pd.DataFrame = table.assign(
        variable=table["name"],
        target=table["estimate"],
        within="sex=" + table["sex"] + ";age_years>=" + low + until,
        level="",
        low=np.nan,
        high=np.nan,
        source=f"{_SURVEY}, data_sources/survey_summaries.csv",
        standing="derived by this kit",
        basis="measured",
        use="compared",
    )
    return made


def checks(people: People) -> pd.DataFrame:
    """Return how the model did on published populations of adults; children: none."""
    table = source_table("model_checks.csv")
    table = table[table["quantity"] == "mean, model minus published"]
    if people.frame["age_years"].max() < ADULT_AGE:
        table = table.iloc[:0]
    reached = table["reached"].astype(str).str.lower() == "true"
    found = table.assign(reached=reached).groupby("measure", sort=False)
    counted: pd.DataFrame = found.agg(
        populations=("people", "nunique"),
        reached=("reached", "sum"),
        lowest_cm=("estimate", "min"),
        highest_cm=("estimate", "max"),
        source=("source", lambda said: " | ".join(dict.fromkeys(said))),
    )
    return counted.reset_index()
