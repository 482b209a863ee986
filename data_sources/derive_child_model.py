"""Derive data_sources/child_model.json from survey files.

Run: python -m data_sources.derive_child_model FOLDER

FOLDER holds snyder1977_children.csv, for hip girth from 12 nhanes_2017_2018/ and,
for the two bony conversions, the ANSUR II files. Waist girth comes from the embedded
people. Only summary figures are written.
"""

import copy
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from data_sources.derive_adult_model import read_army
from data_sources.model_fitting import add_forms, fit_mean_and_sd, terms_of, write_json
from data_sources.read_surveys import read_snyder1977
from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.model import BMI_CENTRE, STATURE_CENTRE_CM, predictors
from sizing.stats.formulas import Floats
from sizing.surveys import read_embedded

AGE_CENTRE = 11.0
CHILD_TERMS = "1 q s a qq qs ss aa qa sa"
#: Hip girth is fitted on today's youths from 12 and on those of 1977 below 10: cubes
#: of age let the two meet, the years between being nobody's.
HIP = "hip_circumference_cm"
HIP_TERMS = "1 q s a qq qs ss aa qa sa aaa qaa saa aaaa"
HIP_FROM_1977_BELOW = 10.0
AGES = np.arange(2.0, 21.0, 2.0)
#: Beyond these quantiles of BMI for age the curve goes on as its tangent.
TAIL = (0.02, 0.98)
WAIST = "waist_circumference_cm"
SHOULDER, BACK = "shoulder_height_sitting_cm", "back_along_body_cm"
#: The measures that Snyder 1977 holds or that are converted one by one.
SEEN = tuple(name for name in SEATED_AND_GIRTHS if name != BACK)
#: Stature and age of typical children, for whom the forms are compared.
TYPICAL = [(110.0, 5.0), (138.0, 10.0), (165.0, 15.0)]
#: A residual this many SDs out is a slip of the pen, not a child.
OUTLIER_SD = 5.0


def read_children(folder: Path) -> pd.DataFrame:
    """Snyder 1977 children with age, body mass and stature."""
    frame = read_snyder1977(folder / "snyder1977_children.csv").frame
    needed = ["sex", "age_years", "body_mass_kg", "stature_cm"]
    return frame.dropna(subset=needed).reset_index(drop=True)


def conversions(folder: Path, sex: str) -> dict[str, float]:
    """What turns the children's landmarks into the kit's, from young adults.

    Shoulder height sitting needs the acromion, Snyder has the suprasternale:
    their difference as a share of stature. Buttock-popliteal length as a share
    of buttock-knee length; the back along the body as a share of shoulder height
    sitting. All assume that the share holds in childhood.
    """
    adults = read_army(folder, sex)
    young = adults[adults["age_years"] <= 25]
    rise = young["acromial_height_cm"] - young["suprasternale_height_cm"]
    share = young["buttock_popliteal_length_cm"] / young["buttock_knee_length_cm"]
    curve = np.log(young[BACK] / young[SHOULDER])
    return {
        "acromion_above_suprasternale_per_stature": float(
            (rise / young["stature_cm"]).mean()
        ),
        "buttock_popliteal_per_buttock_knee": float(share.mean()),
        "sd_of_ln_share": float(np.log(share).std()),
        "mean_ln_back_over_shoulder": float(curve.mean()),
        "sd_ln_back_over_shoulder": float(curve.std()),
    }


def in_kit_terms(children: pd.DataFrame, factor: dict[str, float]) -> pd.DataFrame:
    """Add shoulder height sitting (acromion) and buttock-popliteal length."""
    rise = factor["acromion_above_suprasternale_per_stature"] * children["stature_cm"]
    return children.assign(
        shoulder_height_sitting_cm=children["shoulder_height_sitting_cm"] + rise,
        buttock_popliteal_length_cm=children["buttock_knee_length_cm"]
        * factor["buttock_popliteal_per_buttock_knee"],
    )


def predictors_of(frame: pd.DataFrame) -> Floats:
    """The predictors q, s, a of a frame of children."""
    return predictors(
        frame["body_mass_kg"], frame["stature_cm"], frame["age_years"], AGE_CENTRE
    )


def range_by_age(q: Floats, age: Floats) -> Floats:
    """Low and high ``q`` at each of AGES, from the 150 people nearest in age."""
    nearest = [np.argsort(np.abs(age - at), kind="stable")[:150] for at in AGES]
    return np.array([np.quantile(q[rows], TAIL) for rows in nearest])


def fit_measure(
    frame: pd.DataFrame, name: str, terms: str = CHILD_TERMS
) -> tuple[dict[str, Any], pd.Series]:
    """Coefficients of one measure; residuals by the frame's index."""
    powers = terms_of(terms)
    keep = frame.dropna(subset=[name])
    while True:
        x = predictors_of(keep)
        y = np.log(keep[name].to_numpy(dtype=float))
        beta, covariance, gamma, e = fit_mean_and_sd(
            x, y, powers, np.ones(len(x)), sd_age=True
        )
        wild = np.abs(e) > OUTLIER_SD
        if not wild.any():
            break
        keep = keep[~wild]
    entry = {
        "terms": powers,
        "beta": beta,
        "covariance": covariance,
        "gamma": gamma,
        "range_age": AGES,
        "range_q": range_by_age(x[:, 0], keep["age_years"].to_numpy()),
        "range_s": [float(x[:, 1].min()), float(x[:, 1].max())],
        "range_a": [float(x[:, 2].min()), float(x[:, 2].max())],
        "shift": 0.0,
        "spread": 0.0,
        "n": len(keep),
        "outliers_left_out": len(frame.dropna(subset=[name])) - len(keep),
    }
    return entry, pd.Series(e, index=keep.index)


def nearest_correlation(matrix: Floats) -> Floats:
    """Pairwise correlations made positive definite by raising eigenvalues."""
    values, vectors = np.linalg.eigh(matrix)
    out = (vectors * np.maximum(values, 0.01)) @ vectors.T
    sd = np.sqrt(np.diag(out))
    return out / np.outer(sd, sd)


def embedded_children(sex: str) -> pd.DataFrame:
    """The embedded people of 2-20 years whose waist was measured."""
    people = read_embedded().frame
    young = people[(people["sex"] == sex) & (people["age_years"] <= 20)]
    needed = ["body_mass_kg", "stature_cm", WAIST]
    young = young.dropna(subset=needed)
    # Completed years: the middle of the year of life.
    return young.assign(age_years=young["age_years"] + 0.5).reset_index(drop=True)


def read_youths(folder: Path) -> pd.DataFrame:
    """People of 12 to 19 whose hips NHANES 2017-18 measured, none pregnant."""
    own = pd.read_csv(folder / "nhanes_2017_2018" / "body_weights_design.csv")
    known = own[["BMXHIP", "BMXWT", "BMXHT"]].notna().all(axis=1)
    own = own[known & (own["RIDEXPRG"] != 1)]
    return pd.DataFrame(
        {
            "sex": own["RIAGENDR"].map({1: "male", 2: "female"}),
            # Completed years: the middle of the year of life.
            "age_years": own["RIDAGEYR"] + 0.5,
            "body_mass_kg": own["BMXWT"],
            "stature_cm": own["BMXHT"],
            HIP: own["BMXHIP"],
        }
    ).reset_index(drop=True)


def with_youths(children: pd.DataFrame, youths: pd.DataFrame) -> pd.DataFrame:
    """The children of 1977 below ten and today's youths, for hip girth."""
    young = children[children["age_years"] < HIP_FROM_1977_BELOW]
    both = pd.concat([young, youths], ignore_index=True)
    return both.dropna(subset=[HIP]).reset_index(drop=True)


def back_of(
    shoulder: dict[str, Any], factor: dict[str, float]
) -> tuple[dict[str, Any], float]:
    """The back along the body as a share of shoulder height; their correlation."""
    back = copy.deepcopy(shoulder)
    back["beta"][0] += factor["mean_ln_back_over_shoulder"]
    own = factor["sd_ln_back_over_shoulder"] ** 2
    back["gamma"][0] = 0.5 * np.log(np.exp(2 * shoulder["gamma"][0]) + own)
    return back, float(np.exp(shoulder["gamma"][0] - back["gamma"][0]))


def in_order_of(wanted: Sequence[str], matrix: Floats, names: Sequence[str]) -> Floats:
    """The matrix of these names in the order in which the model is read."""
    place = [names.index(name) for name in wanted]
    return matrix[np.ix_(place, place)]


def fit_sex(folder: Path, sex: str) -> dict[str, Any]:
    """All coefficients of one sex."""
    factor = conversions(folder, sex)
    children = in_kit_terms(read_children(folder), factor)
    children = children[children["sex"] == sex].reset_index(drop=True)
    entries: dict[str, Any] = {}
    residuals: dict[str, pd.Series] = {}
    for name in SEEN:
        entries[name], residuals[name] = fit_measure(children, name)
    # Children's shares differ from one another at least as adults' do.
    gamma = entries["buttock_popliteal_length_cm"]["gamma"]
    gamma[0] = 0.5 * np.log(np.exp(2 * gamma[0]) + factor["sd_of_ln_share"] ** 2)
    # Waist as measured today, on today's heavier children.
    modern = embedded_children(sex)
    entries[WAIST], _ = fit_measure(modern, WAIST)
    youths = read_youths(folder)
    both = with_youths(children, youths[youths["sex"] == sex])
    entries[HIP], _ = fit_measure(both, HIP, HIP_TERMS)
    known = {WAIST: modern, HIP: both}
    for name, entry in entries.items():
        source = known.get(name, children.dropna(subset=[name]))
        add_forms(entry, source, name, np.ones(len(source)), TYPICAL, AGE_CENTRE)
    pairwise = nearest_correlation(pd.DataFrame(residuals).corr().to_numpy())
    entries[BACK], like_shoulder = back_of(entries[SHOULDER], factor)
    row = like_shoulder * pairwise[SEEN.index(SHOULDER)]
    every = np.block([[pairwise, row[:, None]], [row, np.ones(1)]])
    return {
        "measures": entries,
        "correlation": in_order_of(SEATED_AND_GIRTHS, every, (*SEEN, BACK)),
        "conversions": factor,
    }


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    content = {
        "about": "ln y = beta'phi(q,s,a) + exp(gamma'(1,q,s,a)) e; see derive script",
        "bmi_centre": BMI_CENTRE,
        "stature_centre_cm": STATURE_CENTRE_CM,
        "age_centre": AGE_CENTRE,
        "sexes": {sex: fit_sex(folder, sex) for sex in SEXES},
    }
    write_json(content, Path(__file__).with_name("child_model.json"))
