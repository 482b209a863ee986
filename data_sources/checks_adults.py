"""Checks of the adults' body model, each a row of model_checks.csv."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from data_sources.derive_adult_model import (
    ARMY_TAIL,
    ARMY_TERMS,
    army_weights,
    fit_civilian,
    fit_measure,
    impute_age,
    read_army,
    read_civilians,
    read_target,
)
from data_sources.prediction import predict_measures
from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body import draw_measures
from sizing.people.body.chance import keys_of
from sizing.people.body.donors import candidates
from sizing.people.body.model import MeasureModel, group_models, measure_model
from sizing.stats.formulas import Floats

HIP, WAIST = "hip_circumference_cm", "waist_circumference_cm"
LENGTHS = SEATED_AND_GIRTHS[:3]
BUILD = ["body_mass_kg", "stature_cm"]
Row = dict[str, Any]


def row(
    check: str,
    people: str,
    measure: str,
    quantity: str,
    estimate: float,
    target: tuple[float, float] | None = None,
    *,
    n: int,
    source: str,
    unit: str = "cm",
) -> Row:
    """One row of the table; the target is a closed interval."""
    low, high = target if target is not None else (np.nan, np.nan)
    reached = "no target" if target is None else str(low <= estimate <= high).lower()
    who = {"check": check, "people": people, "measure": measure, "quantity": quantity}
    found = {"estimate": round(float(estimate), 3), "unit": unit}
    asked = {"target_low": low, "target_high": high, "reached": reached}
    return {**who, **found, **asked, "n": n, "source": source}


def spread_rows(
    check: str,
    people: str,
    measure: str,
    gap: Floats,
    covered: Floats | None,
    *,
    targets: dict[str, tuple[float, float]],
    source: str,
) -> Iterator[Row]:
    """Bias, RMSE and coverage as rows; ``gap`` is truth minus estimate."""
    figures = {
        "bias (model minus truth)": (-gap.mean(), "cm"),
        "RMSE": (np.sqrt(np.mean(gap**2)), "cm"),
    }
    if covered is not None:
        figures["90 % interval covers"] = (covered.mean(), "share")
    for quantity, (value, unit) in figures.items():
        of = {"unit": unit, "n": len(gap), "source": source}
        about = check, people, measure, quantity
        yield row(*about, float(value), targets.get(quantity), **of)


def folds(n: int, k: int, seed: int) -> Floats:
    """A random fold for each of n people, of equal sizes."""
    return np.random.default_rng(seed).permutation(np.arange(n) % k)


def hip_left_out(folder: Path) -> Iterator[Row]:
    """Hip girth of NHANES adults left out of the fit, without their age.

    Five folds. Age comes from embedded people built alike, as for any person
    without one; hip from coefficients fitted on the other folds; 400 draws.
    """
    source = "NHANES 2017-March 2020 adults, the half of the extract we have"
    for sex in SEXES:
        people = read_civilians(folder, sex).assign(sex=sex)
        fold = folds(len(people), 5, seed=5)
        for with_waist in (False, True):
            drawn = np.empty((len(people), 400))
            for k in range(5):
                rest, part = (
                    people[rows].reset_index(drop=True)
                    for rows in (fold != k, fold == k)
                )
                rest = impute_age(rest, copies=5, seed=k)
                fits = {name: fit_civilian(rest, name) for name in (HIP, WAIST)}
                models = {name: measure_model(fit[0]) for name, fit in fits.items()}
                how = {"with_waist": with_waist, "draws": 400, "seed": k}
                drawn[fold == k] = _draw_hip(part, models, **how)
            what = "mass, stature" + (", waist" if with_waist else "")
            yield from _hip_rows(people, drawn, sex, what, source)


def _draw_hip(
    people: pd.DataFrame,
    models: dict[str, MeasureModel],
    *,
    with_waist: bool,
    draws: int,
    seed: int,
) -> Floats:
    rng = np.random.default_rng(seed)
    sex = people["sex"].iloc[0]
    n = len(people)
    known = np.full((n, len(SEATED_AND_GIRTHS)), np.nan)
    if with_waist:
        known[:, SEATED_AND_GIRTHS.index(WAIST)] = people[WAIST]
    built = people[["sex", *BUILD]].assign(age_years=np.nan)
    found = candidates(built, seed=seed, keys=keys_of(range(n)), known=known)
    group = group_models("adult")[sex]
    place = [SEATED_AND_GIRTHS.index(name) for name in (HIP, WAIST)]
    r = group.correlation[place[0], place[1]]
    total = np.cumsum(found.weight, axis=1)
    out = np.empty((n, draws))
    for d in range(draws):
        at = (total < rng.random(n)[:, None]).sum(axis=1)
        build = found.build[np.arange(n), np.minimum(at, total.shape[1] - 1)]
        x = group.predictors(*build.T)
        mean, sd = {}, {}
        for name, one in models.items():
            terms, log_sd, above = one.design(x, build[:, 2])
            beta = one.beta + one.root @ rng.normal(size=len(one.beta))
            mean[name], sd[name] = terms @ beta + one.shift * above, np.exp(log_sd)
        e = rng.normal(size=n)
        if with_waist:
            waist = (np.log(people[WAIST]) - mean[WAIST]) / sd[WAIST]
            e = r * waist + np.sqrt(1 - r**2) * e
        out[:, d] = np.exp(mean[HIP] + sd[HIP] * e)
    return out


def _hip_rows(
    people: pd.DataFrame, drawn: Floats, sex: str, what: str, source: str
) -> Iterator[Row]:
    truth = people[HIP].to_numpy()
    low, high = np.quantile(drawn, [0.05, 0.95], axis=1)
    covered = (truth >= low) & (truth <= high)
    gap = truth - drawn.mean(axis=1)
    check = f"hip of adults left out, from {what}"
    best = {"female": 4.5, "male": 3.8}[sex]
    asked = {"RMSE": (0, best), "90 % interval covers": (0.88, 0.92)}
    of = {"targets": asked, "source": source}
    yield from spread_rows(check, sex, HIP, gap, covered, **of)
    mass = people["body_mass_kg"].to_numpy()
    for low_kg, high_kg in ((80, 100), (100, 130), (130, 145), (145, 160), (160, 250)):
        inside = (mass >= low_kg) & (mass < high_kg)
        who, quantity = f"{sex}, {low_kg} to {high_kg} kg", "bias (model minus truth)"
        target = (-2.5, 2.5) if low_kg in (130, 145) else None
        figure, n = float(-gap[inside].mean()), int(inside.sum())
        yield row(check, who, HIP, quantity, figure, target, n=n, source=source)


def army_left_out(folder: Path) -> Iterator[Row]:
    """Ten folds of ANSUR II: RMSE of what it alone provides."""
    for sex in SEXES:
        army = read_army(folder, sex).assign(sex=sex)
        target = read_target(folder, sex)
        weights = army_weights(army, target)
        fold = folds(len(army), 10, seed=10)
        for name in (n for n in SEATED_AND_GIRTHS if n not in (HIP, WAIST)):
            gap = np.empty(len(army))
            covered = np.empty(len(army), dtype=bool)
            for k in range(10):
                rest, part = army[fold != k], army[fold == k]
                of = ARMY_TERMS, weights[fold != k], ARMY_TAIL
                one = measure_model(fit_measure(rest, name, *of)[0])
                gap[fold == k], covered[fold == k] = left_out(one, part, name, "adult")
            targets = {"RMSE": (0, 2.3)} if name in LENGTHS else {}
            about = "ANSUR II, ten folds", sex, name, gap, covered
            yield from spread_rows(*about, targets=targets, source="ANSUR II")


def left_out(
    one: MeasureModel, part: pd.DataFrame, name: str, group: str
) -> tuple[Floats, Floats]:
    """Truth less estimate of people of one sex, and whether 90 % hold the truth."""
    age = part["age_years"].to_numpy()
    model = group_models(group)[part["sex"].iloc[0]]
    x = model.predictors(*part[BUILD].to_numpy().T, age)
    terms, log_sd, _ = one.design(x, age)
    truth, mean = part[name].to_numpy(), terms @ one.beta
    z = (np.log(truth) - mean) / np.exp(log_sd)
    return truth - np.exp(mean), np.abs(z) < 1.6449


def boxes_of_two(folder: Path) -> Iterator[Row]:
    """Share of people inside random boxes of two measures, drawn against true.

    Half of ANSUR II by lot; the model is given sex, age, body mass and stature.
    400 boxes: two measures at random, each a band of 1 to 3 SDs around a random
    person. The other half of the survey is the yardstick.
    """
    rng = np.random.default_rng(2)
    army = pd.concat(
        [read_army(folder, sex).assign(sex=sex) for sex in SEXES], ignore_index=True
    )
    army["person"] = np.arange(len(army))
    first = folds(len(army), 2, seed=2) == 0
    half, other = army[first], army[~first]
    given = half[["person", "sex", "age_years", *BUILD]]
    drawn, _ = draw_measures(given, draws=5, seed=2)
    means = predict_measures(given).mean
    mean_frame = pd.DataFrame(np.exp(means[:, 2:]), columns=list(SEATED_AND_GIRTHS))
    gaps: dict[str, list[float]] = {"draws": [], "the other half": [], "means": []}
    for _ in range(400):
        truth, rivals = [], {key: [] for key in gaps}
        for name in rng.choice(SEATED_AND_GIRTHS, 2, replace=False):
            width = half[name].std() * rng.uniform(1, 3)
            middle = rng.choice(half[name])
            band = (middle - width / 2, middle + width / 2)
            truth.append(half[name].between(*band))
            for key, frame in zip(gaps, (drawn, other, mean_frame), strict=True):
                rivals[key].append(frame[name].between(*band))
        share = (truth[0] & truth[1]).mean()
        for key, (a, b) in rivals.items():
            gaps[key].append(100 * abs((a & b).mean() - share))
    of = {"unit": "percentage points", "n": len(half), "source": "ANSUR II"}
    told = "any two", "mean absolute difference of the share inside"
    for key, values in gaps.items():
        about = "boxes of two measures", f"ANSUR II, {key} against one half", *told
        target = (0, 1.5) if key == "draws" else None
        yield row(*about, float(np.mean(values)), target, **of)


def heavy_forms(_: Path) -> Iterator[Row]:
    """How far the reasonable forms disagree where nobody was measured."""
    for sex, stature in (("female", 162.0), ("male", 176.0)):
        for mass in (130.0, 160.0, 200.0):
            group = group_models("adult")[sex]
            age = np.array([40.0])
            x = group.predictors(np.array([mass]), np.array([stature]), age)
            for name in ("hip_breadth_sitting_cm", "thigh_circumference_cm", HIP):
                one = group.measures[name]
                terms, _log_sd, above = one.design(x, age)
                mean = terms @ one.beta + one.shift * above
                half = 1.6449 * one.spread * above
                width = np.exp(mean + half) - np.exp(mean - half)
                who = f"{sex}, {mass:g} kg, {stature:g} cm, 40 years"
                about = "width of the forms' 90 % range", who, name, "high minus low"
                source = "five forms, see data_sources/model_fitting.py"
                yield row(*about, float(width[0]), n=5, source=source)


def adult_rows(folder: Path) -> list[Row]:
    """All checks of the adults' model."""
    checks: Iterable[Any] = (hip_left_out, army_left_out, boxes_of_two, heavy_forms)
    return [line for check in checks for line in check(folder)]
