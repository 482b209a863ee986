"""Who falls between sizes, by odds ratios; and which measure leaves people without."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import DIRECTIONS, SizeChart, assign
from sizing.coverage.coverage import NOT_KNOWN, figures, grouping
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.people.classes import ADULT_AGE
from sizing.people.people import People, layout
from sizing.resources import texts
from sizing.stats.estimates import (
    SMALL_GROUP,
    Layout,
    group_means,
    join_influences,
    log_odds_ratios,
    variance_of_sum,
)
from sizing.stats.formulas import LEVEL, Floats, student, weighted_quantile

COLUMNS = ["fitted_to", "term", "level", "reference", "estimate", "low", "high"]
COLUMNS += ["method", "n", "n_between", "small_group", "message"]
MISSES = ["measure", "direction", "estimate", "low", "high", "method", "n"]
MISSES += ["miss_median", "miss_most"]
#: Groups with whom the others are compared, if people are in them; otherwise
#: the level with most people.
REFERENCES = {"sex": "female", "age_band": "40 to 59", "bmi_class": "healthy weight"}
#: A log odds ratio or its error beyond this is the mark of separation, not a
#: finding: exp(12) is over 100,000 (our choice).
_SEPARATED = 12.0
_T = texts("study")


def who_falls_between(
    people: People,
    chart: SizeChart,
    *,
    terms: Sequence[str] = ("sex", "age_band", "bmi_class"),
) -> pd.DataFrame:
    """Estimate which people more often fall between sizes.

    Adults and children (under 18) are modelled apart, because the classes of body mass
    index mean different things for them. People with the outcome ``not_measured``, or
    whose age or level is not known, are left out.

    Parameters
    ----------
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, in cm and kg.
    terms : sequence of str
        Groupings as in ``estimate_coverage``, all entered together.

    Returns
    -------
    DataFrame
        One row per level: fitted_to (adults, children), term, level, reference;
        estimate, low, high (odds ratio of falling between, against the reference level,
        the other terms being equal); method; n and n_between (persons, mean over the
        draws); small_group (n under 30); message: empty, or that this is the reference,
        or why there is no estimate: where nobody or everybody of a level falls between
        in some draw, it is left out of the model.

    Raises
    ------
    SizingError
        If a term does not exist, or none is given.

    Notes
    -----
    Logistic regression with the people's weights in each draw; robust (sandwich) errors
    by person, or by stratum and sampling unit (``sizing.stats.estimates``); joined over
    draws on the log scale as ``estimate_coverage`` joins them, with t intervals.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> who_falls_between(people, demo_chart(), terms=["sex"])["reference"].tolist()
    ['female', 'female']
    """
    if not terms:
        raise SizingError(
            "there is nothing to compare",
            allowed="at least one term, such as sex",
            action="name one",
        )
    place = layout(people, chart.measures)
    outcome = assign(people, chart).table["outcome"]
    between = (outcome == "between").to_numpy()[place.rows]
    asked = (outcome != "not_measured").to_numpy()[place.rows]
    age = people.frame["age_years"].to_numpy(float, na_value=np.nan)[place.rows]
    levels = {
        term: np.asarray(grouping(people.frame, term), dtype=object)[place.rows]
        for term in dict.fromkeys(terms)
    }
    parts = []
    for name, inside in (("adults", age >= ADULT_AGE), ("children", age < ADULT_AGE)):
        keep = asked & inside & (place.weight > 0)
        for level in levels.values():
            keep &= level != NOT_KNOWN
        if keep.any():
            parts.append(_model(name, levels, between, keep, place, people))
    if not parts:
        return pd.DataFrame(columns=COLUMNS)
    return pd.concat(parts, ignore_index=True)


def _model(
    name: str,
    levels: dict[str, npt.NDArray[Any]],
    between: npt.NDArray[np.bool_],
    keep: npt.NDArray[np.bool_],
    place: Layout,
    people: People,
) -> pd.DataFrame:
    rows = [
        _level(name, term, str(label), keep & (level == label), between)
        for term, level in levels.items()
        for label in grouping(people.frame, term).categories
        if (keep & (level == label)).any()
    ]
    for row in rows:
        # A level without both outcomes predicts perfectly: its people tell
        # nothing of the other terms either, and leave the model with it.
        if row["message"]:
            keep = keep & (levels[row["term"]] != row["level"])
    _set_references(rows)
    entered = [r for r in rows if not r["message"] and r["level"] != r["reference"]]
    draws = range(len(between))
    if entered and all(np.unique(between[d][keep[d]]).size == 2 for d in draws):
        _join(entered, _fits(entered, levels, between, keep, place), place)
    how = "linearisation by person" if place.unit is None else place.how
    method = f"{100 * LEVEL:.0f} % t interval, logistic regression, {how}{place.joined}"
    for row in rows:
        row["method"] = method
        if row["level"] == row["reference"] and not row["message"]:
            row |= dict.fromkeys(("estimate", "low", "high"), 1.0)
            row["message"] = _T.barred["reference"]
        elif not row["message"] and np.isnan(row["estimate"]):
            row["message"] = _T.barred["apart"]
    return pd.DataFrame(rows, columns=COLUMNS)


def _level(
    name: str,
    term: str,
    label: str,
    here: npt.NDArray[np.bool_],
    between: npt.NDArray[np.bool_],
) -> dict[str, Any]:
    n, yes = here.sum(axis=1), (here & between).sum(axis=1)
    bars = {"nobody_there": n == 0, "nobody": yes == 0, "everybody": yes == n}
    message = next((_T.barred[bar] for bar, where in bars.items() if where.any()), "")
    if message:
        message = _T.barred["no_odds"].format(why=message)
        if len(between) > 1:
            message += _T.barred["some_draw"].format(draws=len(between))
    row: dict[str, Any] = {"fitted_to": name, "term": term, "level": label}
    row |= dict.fromkeys(("estimate", "low", "high"), np.nan)
    row |= {"n": round(n.mean()), "n_between": round(yes.mean()), "message": message}
    return row | {"small_group": bool(n.mean() < SMALL_GROUP)}


def _set_references(rows: list[dict[str, Any]]) -> None:
    for term in dict.fromkeys(row["term"] for row in rows):
        same = [row for row in rows if row["term"] == term]
        usable = {row["level"]: row["n"] for row in same if not row["message"]}
        most = max(usable, key=lambda level: usable[level], default="")
        usual = REFERENCES.get(term, "")
        for row in same:
            row["reference"] = usual if usual in usable else most


def _fits(
    entered: list[dict[str, Any]],
    levels: dict[str, npt.NDArray[Any]],
    between: npt.NDArray[np.bool_],
    keep: npt.NDArray[np.bool_],
    place: Layout,
) -> list[tuple[Floats, Floats]]:
    """Return each draw's log odds ratios, and what each person adds to them."""
    terms = list(dict.fromkeys(row["term"] for row in entered))
    codes = np.zeros((*between.shape, len(terms)), dtype=np.int64)
    columns = [(terms.index(row["term"]), k) for k, row in enumerate(entered, start=1)]
    for (term, k), row in zip(columns, entered, strict=True):
        codes[:, :, term][levels[row["term"]] == row["level"]] = k
    found = []
    for draw, inside in enumerate(keep):
        rows = np.flatnonzero(inside)
        at, weight = (draw, rows), place.weight[rows]
        beta, influence = log_odds_ratios(
            codes[at], np.array(columns), between[at], weight, place, rows
        )
        error = np.sqrt(variance_of_sum(place, influence))
        wild = (np.abs(beta) > _SEPARATED) | ~(error < _SEPARATED)
        found.append((np.where(wild, np.nan, beta), influence))
    return found


def _join(
    entered: list[dict[str, Any]], fits: list[tuple[Floats, Floats]], place: Layout
) -> None:
    complete = float(len(place.weight) - len(entered) - 1)
    if place.stratum is not None:
        complete = float(len(place.stratum) - len(np.unique(place.stratum)))
    mean, total, df = join_influences(
        place,
        np.array([beta for beta, _ in fits]),
        (influence for _, influence in fits),
        np.full(len(entered), max(complete, 1.0)),
    )
    half = student(df) * np.sqrt(total)
    for row, b, h in zip(entered, mean, half, strict=True):
        row["estimate"] = float(np.exp(b))
        row["low"], row["high"] = float(np.exp(b - h)), float(np.exp(b + h))


def why_none(
    people: People, chart: SizeChart, *, replicates: int = 400, seed: int = 1
) -> pd.DataFrame:
    """Estimate which measure keeps people from their nearest size.

    Parameters
    ----------
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, in cm and kg.
    replicates, seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    DataFrame
        One row per measure and direction that occurs, in the order of the measures:
        measure (the one that fails most at the nearest size), direction (one of
        ``sizing.charts.DIRECTIONS``); estimate, low, high (share of all people, as in
        ``estimate_coverage``, with its errors); method; n (all persons); miss_median
        and miss_most (in the measure's unit, weighted median and 95th percentile of the
        miss over those concerned; NaN where it was not measured). A person counts once,
        so the shares add up to the share without a size.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> misses = why_none(load_people("bariatric", draws=1), demo_chart())
    >>> bool((misses["miss_median"] <= misses["miss_most"]).all())
    True
    """
    place = layout(people, chart.measures)
    found = assign(people, chart).table
    # As columns: of a frame of two rows, two lists would be taken for its keys.
    kinds = {"failing_measure": MEASURES, "direction": DIRECTIONS}
    named = {name: pd.Categorical(found[name], kind) for name, kind in kinds.items()}
    pairs = found.assign(**named).groupby(list(kinds), observed=True).indices
    if not pairs:
        return pd.DataFrame(columns=MISSES)
    each = np.zeros((len(found), len(pairs)), dtype=bool)
    for own, rows in zip(each.T, pairs.values(), strict=True):
        own[rows] = True
    columns = list(each[place.rows].astype(float))
    everyone = [np.ones((place.rows.shape[1], 1))] * len(columns)
    means = group_means(place, columns, everyone, replicates=replicates, seed=seed)
    miss = found["miss"].to_numpy(dtype=float)
    weight = people.weight.to_numpy(dtype=float)
    table = pd.DataFrame(list(pairs), columns=MISSES[:2])
    table = table.join(figures(means, means.shares(), place).iloc[:, :5])
    middles = [_middle_and_most(miss[own], weight[own]) for own in each.T]
    return table.join(pd.DataFrame(middles, columns=MISSES[-2:]))


def _middle_and_most(miss: Floats, weight: Floats) -> tuple[float, float]:
    """Return median and 95th percentile; NaN where no miss is known."""
    if not (np.isfinite(miss) & (weight > 0)).any():
        return np.nan, np.nan
    middle, most = weighted_quantile(miss, [0.5, 0.95], weights=weight)
    return float(middle), float(most)
