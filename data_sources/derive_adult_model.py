"""Derive data_sources/adult_model.json from survey files.

Run: python -m data_sources.derive_adult_model FOLDER

FOLDER holds ansur2_men.csv, ansur2_women.csv, nhanes_2015_2016/ and
nhanes_2017_2020_adults/. Only summary figures are written.
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from data_sources.model_fitting import (
    add_forms,
    fit_mean_and_sd,
    kish,
    quantile_range,
    terms_of,
    weighted_correlation,
    write_json,
)
from data_sources.read_surveys import read_ansur2
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.people.body.model import BMI_CENTRE, STATURE_CENTRE_CM, predictors
from sizing.stats.formulas import Floats
from sizing.surveys import read_embedded, read_nhanes_files

AGE_CENTRE = 45.0
ARMY_TERMS = "1 q s a qq qs ss qa"
CIVILIAN_TERMS = "1 q s a qq qs ss aa qa qqq qqa aaa"
CIVILIAN = ("hip_circumference_cm", "waist_circumference_cm")
ARMY = tuple(name for name in SEATED_AND_GIRTHS if name not in CIVILIAN)
FILES = {"female": "women", "male": "men"}
#: Evidence ends at these quantiles of BMI among those measured; the few people
#: beyond them cannot carry a curve.
ARMY_TAIL, CIVILIAN_TAIL = 0.995, 0.9975
#: SDs of hip and waist are widened by this much: 90 % intervals read from a
#: hundred draws miss 1 to 2 points of their tails, and the residuals' tails are
#: heavier than normal. Checked on people left out (model_checks.csv). Our choice.
WIDENING = 1.03
#: How far the mix of groups of descent moves from the army's to the country's.
#: All the way, women's buttock-popliteal length falls 1.1 cm short of the
#: civilians' of 1960-62; not at all, their sitting height 0.6 cm. Our choice.
GROUP_STEP = 0.5
#: A typical adult, for whom the forms beyond the range are compared.
TYPICAL = {"female": [(162.0, 40.0)], "male": [(176.0, 40.0)]}
GROUPS = {
    "nh_white": "white",
    "nh_black": "black",
    "nh_asian": "asian",
    "hispanic": "hispanic",
    "mexican_american": "hispanic",
    "other_hispanic": "hispanic",
}


def read_army(folder: Path, sex: str) -> pd.DataFrame:
    """ANSUR II people of one sex."""
    frame = read_ansur2(folder / f"ansur2_{FILES[sex]}.csv").frame
    frame["group"] = frame["ethnic_group"].map(GROUPS).fillna("other")
    return frame.dropna(subset=list(MEASURES)).reset_index(drop=True)


def read_target(folder: Path, sex: str) -> pd.DataFrame:
    """US adults aged 18-59 by NHANES 2015-16, with examination weights."""
    place = folder / "nhanes_2015_2016"
    survey = read_nhanes_files(place / "DEMO_I.XPT", place / "BMX_I.XPT")
    frame = survey.frame.assign(weight=survey.weight)
    frame["group"] = frame["ethnic_group"].map(GROUPS).fillna("other")
    frame = frame[(frame["sex"] == sex) & frame["age_years"].between(18, 59)]
    needed = ["age_years", "body_mass_kg", "stature_cm", "weight", "group"]
    return frame[needed].dropna()


def army_weights(army: pd.DataFrame, target: pd.DataFrame) -> Floats:
    """Weights that move ANSUR II's mix of groups of descent to the country's.

    Limbs and trunk differ between groups of descent at the same stature, and
    the army's mix is not the country's. Age, BMI and stature need no weights:
    they are predictors. Raking on them as well moved the predictions of a
    typical body by 0.3 cm at most and raised the design effect from 1.05 to 4.
    """
    now = army["group"].value_counts(normalize=True)
    country = target.groupby("group")["weight"].sum() / target["weight"].sum()
    goal = GROUP_STEP * country + (1 - GROUP_STEP) * now
    weights: Floats = army["group"].map(goal / now).to_numpy(dtype=float)
    return weights / weights.mean()


def read_civilians(folder: Path, sex: str) -> pd.DataFrame:
    """NHANES 2017-20 adults with hip girth; age by joining back the 2017-18 part.

    The extract has no age. Its people of 2017-18 are also among the embedded
    people; body mass, stature and waist girth to 0.1 find them.
    """
    place = folder / "nhanes_2017_2020_adults" / f"{FILES[sex]}.csv"
    frame = pd.read_csv(place)
    known = read_embedded().frame
    known = known[(known["sex"] == sex) & (known["age_years"] >= 18)]
    keys = ["body_mass_kg", "stature_cm", "waist_circumference_cm"]
    left = (frame[keys] * 10).round()
    right = (known[keys].dropna() * 10).round()
    right["age_years"] = known["age_years"]
    right = right.drop_duplicates(keys, keep=False)
    frame["age_years"] = left.merge(right, on=keys, how="left")["age_years"].to_numpy()
    return frame


def impute_age(people: pd.DataFrame, *, copies: int, seed: int) -> pd.DataFrame:
    """Give people without age the ages of others built like them.

    Hot deck: each takes the age of ``copies`` of her 20 nearest neighbours in
    standardised ln mass, stature, waist and hip, drawn at random; each copy
    weighs ``1 / copies``. People with a known age weigh 1.
    """
    rng = np.random.default_rng(seed)
    columns = [*("body_mass_kg", "stature_cm"), *CIVILIAN]
    z = np.log(people[columns])
    # Girths matter for age by their excess over what the build explains.
    build = np.column_stack([np.ones(len(z)), z["body_mass_kg"], z["stature_cm"]])
    for name in CIVILIAN:
        fit = np.linalg.lstsq(build, z[name], rcond=None)[0]
        z[name] = z[name] - build @ fit
    z = ((z - z.mean()) / z.std()).to_numpy()
    known = people["age_years"].notna().to_numpy()
    parts = [people[known].assign(weight=1.0)]
    distance = ((z[~known][:, None, :] - z[known][None, :, :]) ** 2).sum(axis=2)
    near = np.argsort(distance, axis=1)[:, :20]
    ages = people.loc[known, "age_years"].to_numpy()
    pick = np.argsort(rng.random(near.shape), axis=1)[:, :copies]
    for copy in range(copies):
        chosen = near[np.arange(len(near)), pick[:, copy]]
        parts.append(people[~known].assign(age_years=ages[chosen], weight=1.0 / copies))
    return pd.concat(parts, ignore_index=True)


def predictors_of(frame: pd.DataFrame) -> Floats:
    """The predictors q, s, a of a frame of adults."""
    return predictors(
        frame["body_mass_kg"], frame["stature_cm"], frame["age_years"], AGE_CENTRE
    )


def fit_measure(
    frame: pd.DataFrame, name: str, terms: str, weights: Floats, tail: float
) -> tuple[dict[str, Any], Floats]:
    """Coefficients of one measure, and its standardised residuals."""
    x = predictors_of(frame)
    powers = terms_of(terms)
    beta, covariance, gamma, e = fit_mean_and_sd(
        x, np.log(frame[name].to_numpy(dtype=float)), powers, weights
    )
    entry = {
        "terms": powers,
        "beta": beta,
        "covariance": covariance,
        "gamma": gamma,
        "range_age": [AGE_CENTRE],
        "range_q": [quantile_range(x[:, 0], 1 - tail, tail)],
        "range_s": quantile_range(x[:, 1], 0.001, 0.999),
        "range_a": [float(x[:, 2].min()), float(x[:, 2].max())],
        "shift": 0.0,
        "spread": 0.0,
        "n": len(frame),
    }
    return entry, e


def fit_civilian(people: pd.DataFrame, name: str) -> tuple[dict[str, Any], Floats]:
    """Hip or waist of NHANES adults: coefficients and standardised residuals."""
    weights = people["weight"].to_numpy()
    entry, e = fit_measure(people, name, CIVILIAN_TERMS, weights, CIVILIAN_TAIL)
    entry["gamma"][0] += np.log(WIDENING)
    return entry, e


def fit_sex(folder: Path, sex: str) -> dict[str, Any]:
    """All coefficients of one sex."""
    army = read_army(folder, sex)
    target = read_target(folder, sex)
    weights = army_weights(army, target)
    civilians = impute_age(read_civilians(folder, sex), copies=5, seed=20)
    entries: dict[str, Any] = {}
    residuals = {}
    how = ARMY_TERMS, weights, ARMY_TAIL
    for name in SEATED_AND_GIRTHS:
        entries[name], residuals[name] = fit_measure(army, name, *how)
    w = civilians["weight"].to_numpy()
    pair = {}
    for name in CIVILIAN:
        entries[name], pair[name] = fit_civilian(civilians, name)
    hip = entries["hip_circumference_cm"]
    for name in ARMY:
        add_forms(entries[name], army, name, weights, TYPICAL[sex], AGE_CENTRE, via=hip)
    for name in CIVILIAN:
        add_forms(entries[name], civilians, name, w, TYPICAL[sex], AGE_CENTRE)
    correlation = combined_correlation(
        weighted_correlation(np.column_stack(list(residuals.values())), weights),
        weighted_correlation(np.column_stack(list(pair.values())), w)[0, 1],
    )
    return {
        "measures": entries,
        "correlation": correlation,
        "design_effect": kish(weights),
    }


def combined_correlation(army: Floats, civilian_pair: float) -> Floats:
    """Correlation of all residuals, with hip and waist as NHANES has them.

    ANSUR II gives the regression of every residual on those of hip and waist
    and what is left over; the pair itself has the correlation of NHANES.
    """
    given = [SEATED_AND_GIRTHS.index(name) for name in CIVILIAN]
    rest = [i for i in range(len(army)) if i not in given]
    slope = np.linalg.solve(army[np.ix_(given, given)], army[np.ix_(given, rest)]).T
    left_over = army[np.ix_(rest, rest)] - slope @ army[np.ix_(given, rest)]
    pair = np.array([[1.0, civilian_pair], [civilian_pair, 1.0]])
    out = np.empty_like(army)
    out[np.ix_(given, given)] = pair
    out[np.ix_(rest, given)] = slope @ pair
    out[np.ix_(given, rest)] = (slope @ pair).T
    out[np.ix_(rest, rest)] = left_over + slope @ pair @ slope.T
    sd = np.sqrt(np.diag(out))
    return out / np.outer(sd, sd)


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    content = {
        "about": "ln y = beta'phi(q,s,a) + exp(gamma'(1,q,s,a)) e; see derive script",
        "bmi_centre": BMI_CENTRE,
        "stature_centre_cm": STATURE_CENTRE_CM,
        "age_centre": AGE_CENTRE,
        "sexes": {sex: fit_sex(folder, sex) for sex in SEXES},
    }
    write_json(content, Path(__file__).with_name("adult_model.json"))
