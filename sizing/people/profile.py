"""Who a population is: its sex, ages and build, beside what is published of it."""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.measures import EVIDENCE, SEATED_AND_GIRTHS
from sizing.people.body.model import adult_share, model_age, model_bias
from sizing.people.classes import ADULT_AGE, AGE_BANDS, age_band
from sizing.people.margins import to_margins
from sizing.people.people import People, layout
from sizing.resources import source_table
from sizing.stats.estimates import design_df, group_means, join_influences
from sizing.stats.formulas import Floats, student, weighted_quantile
from sizing.words.numbers import given

#: Populations beside which the means of the whole country may stand.
_COUNTRY = ("everyone", "children", "adults")
_SURVEY = "NHANES 2015-16"
#: The percentiles of a full table, and those that say at a glance who people are.
_PERCENTILES = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
_FEW_PERCENTILES = (0.05, 0.5, 0.95)
_COLUMNS = ["estimate", "low", "high", "n", "n_effective", "method"]
Groups: TypeAlias = dict[tuple[str, str], npt.NDArray[np.bool_]]


def profile(people: People) -> pd.DataFrame:
    """Intervals of ``percentiles``; of the share of women the score interval."""
    groups = _groups(people.frame, bands=False)
    women = (people.frame["sex"] == "female").to_numpy().astype(float)
    place = layout(people, judged=())
    column = [women[rows][:, None] for rows in place.rows]
    all_of_them = [np.ones_like(one) for one in column]
    means = group_means(place, column, all_of_them, replicates=200, seed=1)
    ends = [float(end[0, 0]) for end in (means.estimate, *means.shares())]
    method = f"score interval, {place.how}{place.joined}"
    first = ("everyone", "female", "share", *ends, people.n, people.effective_n, method)
    names = ["group", "variable", "statistic", *_COLUMNS]
    build = ("age_years", "body_mass_kg", "stature_cm", "bmi")
    parts = [_figures(people, name, groups, _FEW_PERCENTILES) for name in build]
    found = pd.concat(parts).rename(columns={"sex": "group"})[names]
    found = found[found["statistic"].str.startswith("p")]
    by_group = [found[found["group"] == sex] for sex, _ in groups]
    women_first = pd.DataFrame([first], columns=names)
    return pd.concat([women_first, *by_group], ignore_index=True)


def percentiles(people: People) -> pd.DataFrame:
    """Return percentiles, mean and SD of every measure, by sex and by age band.

    A percentile's interval is Woodruff's: q -+ t SE of the share at or under it, read
    back through the weighted distribution (J Am Stat Assoc 1952;47:635-646, from
    memory), and the SD's comes from its square. Where less than one person of equal
    weight is beyond, a percentile is left out and an end open (NaN): it would be the
    last person found, whoever that is (our choice). The model's typical bias in other
    populations scales all that was drawn.
    """
    groups = _groups(people.frame, bands=True)
    parts = [_figures(people, name, groups, _PERCENTILES) for name in people.measures]
    return pd.concat(parts, ignore_index=True)


def bodies(people: People) -> pd.DataFrame:
    """Return the people as drawn, how each measure is known, weights that sum to n."""
    measures = list(people.measures)
    frame = people.frame[["person", "draw", "sex", "age_years", *measures]].copy()
    frame.insert(2, "weight", (people.weight / people.draws).round(6))
    frame[measures] = frame[measures].round(2)
    kinds = people.evidence[measures].add_suffix("_evidence")
    return pd.concat([frame, kinds], axis=1)


def _groups(frame: pd.DataFrame, *, bands: bool) -> Groups:
    everyone = np.ones(len(frame), dtype=bool)
    sexes = {s: (frame["sex"] == s).to_numpy() for s in ("female", "male")}
    found = {("everyone", "everyone"): everyone}
    found |= {(sex, "everyone"): inside for sex, inside in sexes.items()}
    if bands:
        band = np.asarray(age_band(frame["age_years"]), dtype=object)
        named = [b for b in AGE_BANDS.values() if (band == b).any()]
        by_band = ((s, b, sexes[s] & (band == b)) for s in sexes for b in named)
        found |= {(s, b): inside for s, b, inside in by_band}
    return {key: inside for key, inside in found.items() if inside.any()}


def _figures(
    people: People, name: str, groups: Groups, quantiles: tuple[float, ...]
) -> pd.DataFrame:
    # Where the body model did not draw it, its error would only add noise.
    drawn = name in SEATED_AND_GIRTHS
    place = layout(people, (name,) if drawn else (), bias=False)
    bias = np.zeros(len(people.frame))
    if place.model is not None and drawn:
        share = adult_share(model_age(people.frame["age_years"]))
        bias = model_bias(share)[:, SEATED_AND_GIRTHS.index(name)] * student(np.inf)
    how = place.how + place.joined * drawn
    how += ", its bias counted" * bool(bias.any())
    value = people.frame[name].to_numpy(dtype=float)
    weight = people.weight.to_numpy(dtype=float)
    known = np.isfinite(value) & (weight > 0)
    kinds = people.evidence[name].to_numpy(object) if name in people.evidence else None
    rows, columns, members = [], [], []
    for group, inside in groups.items():
        here = inside & known
        if not here.any():
            continue
        v, w = value[here], weight[here]
        n = len(np.unique(people.frame["person"].to_numpy()[here]))
        n_effective = w.sum() ** 2 / np.square(w).sum() / people.draws
        told, off = "", 0.0
        if kinds is not None:
            told = _kinds_of(kinds[here], w)
            off = np.average(bias[here] * (kinds[here] != EVIDENCE[0]), weights=w)
        around = np.square(value - float(np.average(v, weights=w)))
        figures = [
            (f"p{100 * q:02.0f}", q, value <= _at(v, q, w))
            for q in quantiles
            if min(q, 1 - q) * n_effective >= 1
        ]
        figures += [("mean", np.nan, value), ("sd", np.nan, around)]
        for statistic, q, column in figures:
            rows.append((group, statistic, q, n, n_effective, told, off, v, w))
            columns.append(np.where(known, column, 0.0))
            members.append(here)
    x, member = np.column_stack(columns), np.column_stack(members)
    shares = member * weight[:, None]
    of_draw = [shares[at] / shares[at].sum(axis=0) for at in place.rows]
    each = list(zip(of_draw, place.rows, strict=True))
    means = np.array([(s * x[at]).sum(0) for s, at in each])
    parts = (s * (x[at] - m) for (s, at), m in zip(each, means, strict=True))
    complete = np.maximum(np.array([row[4] for row in rows]) - 1, 1.0)
    if place.unit is not None and place.stratum is not None:
        complete = design_df(place.unit, place.stratum, shares[place.rows[0]])[:, 0]
    centre, variance, df = join_influences(place, means, parts, complete)
    reach = student(df) * np.sqrt(variance)
    table = []
    for row, middle, by in zip(rows, centre.tolist(), reach.tolist(), strict=True):
        (sex, band), statistic, q, n, n_effective, told, off, v, w = row
        ends = [middle, middle - by, middle + by]
        method = f"{'Woodruff' if np.isfinite(q) else 't'}, {how}"
        if statistic == "sd":
            ends = np.sqrt(np.maximum(ends, 0)).tolist()
        elif np.isfinite(q):
            least, asked = min(1 / n_effective, q, 1 - q), (q, q - by, q + by)
            ends = [_at(v, p, w) if least <= p <= 1 - least else np.nan for p in asked]
            method += "; left open where nobody stands beyond" * bool(
                np.isnan(ends).any()
            )
        at, *far = ends
        # On the scale of the measure: far out few people stand beyond a percentile,
        # and a bias read back through their shares would reach to the largest of them.
        down, up = (float(np.hypot(end - at, off * at)) for end in far)
        figure = (at, at - down, at + up, n, n_effective, method, told)
        table.append((sex, band, name, statistic, *figure))
    names = ["sex", "age_band", "variable", "statistic", *_COLUMNS, "evidence"]
    return pd.DataFrame(table, columns=names)


def _at(value: Floats, q: float, weight: Floats) -> float:
    return float(weighted_quantile(value, q, weights=weight))


def _kinds_of(kinds: npt.NDArray[np.object_], weight: Floats) -> str:
    """Return the kinds of evidence by weight, such as ``predicted 93 %``."""
    part = pd.Series(weight).groupby(kinds).sum() / weight.sum()
    return ", ".join(f"{k} {given(round(part[k], 2))}" for k in EVIDENCE if k in part)


def beside(people: People) -> pd.DataFrame:
    """Return published figures beside ours; ``use``: weighted to it, so no check."""
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
    names = ["what", "statistic", "published", "here"]
    return pd.DataFrame(rows, columns=[*names, "source", "standing", "basis", "use"])


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
