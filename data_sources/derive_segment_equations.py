"""Derive data_sources/segment_equations.csv: stature from one segment of the body.

Run: python -m data_sources.derive_segment_equations FOLDER

FOLDER holds ansur2_men.csv, ansur2_women.csv, snyder1977_children.csv and
nhanes_2015_2016/. By sex and survey, ``stature = constant + slope x segment +
age_slope x age`` by (weighted) least squares, with the residual SD.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.read_surveys import read_ansur2, read_snyder1977
from sizing.measures import SEXES
from sizing.surveys import read_nhanes_files

ARMY = "ANSUR II, United States Army 2012 (Gordon et al. 2014, NATICK/TR-15/007)"
CHILDREN = "US children measured by 1977 (Snyder et al. 1977, UM-HSRI-77-17)"
CIVILIANS = (
    "US adults at home, NHANES 2015-2016, examination weights (US National Center "
    "for Health Statistics)"
)
FROM_SURVEY = {
    ARMY: (
        *("knee_height_cm", "popliteal_height_cm", "span_cm", "half_span_cm"),
        *("forearm_hand_length_cm", "shoulder_elbow_length_cm"),
    ),
    CHILDREN: ("knee_height_cm", "forearm_hand_length_cm", "shoulder_elbow_length_cm"),
    CIVILIANS: ("upper_leg_length_cm", "upper_arm_length_cm"),
}


def read(folder: Path) -> dict[str, pd.DataFrame]:
    """The three surveys, each with a column ``weight``."""
    army = pd.concat(
        [read_ansur2(folder / f"ansur2_{name}.csv").frame for name in ("men", "women")]
    ).assign(weight=1.0)
    children = read_snyder1977(folder / "snyder1977_children.csv").frame
    place = folder / "nhanes_2015_2016"
    survey = read_nhanes_files(place / "DEMO_I.XPT", place / "BMX_I.XPT")
    civilians = survey.frame.assign(weight=survey.weight.to_numpy())
    return {
        ARMY: army,
        CHILDREN: children.assign(weight=1.0),
        CIVILIANS: civilians[civilians["age_years"] >= 20],
    }


def equation(frame: pd.DataFrame, segment: str) -> dict[str, float]:
    """Weighted least squares of stature on segment and age."""
    people = frame[["stature_cm", segment, "age_years", "weight"]].dropna()
    people = people[people["weight"] > 0].astype(float)
    y, x, age, weight = people.to_numpy().T
    design = np.column_stack([np.ones(len(x)), x, age])
    root = np.sqrt(weight / weight.mean())
    beta = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
    gap = (y - design @ beta) * root
    found = dict(zip(("constant", "slope", "age_slope"), beta, strict=True))
    ages = {"age_from": np.floor(age.min()), "age_to": np.ceil(age.max())}
    sd = np.sqrt(np.square(gap).sum() / (len(y) - 3))
    return {**ages, **found, "sd_cm": sd, "n": len(y)}


def main(folder: str) -> None:
    surveys = read(Path(folder))
    rows = [
        {"segment": segment, "sex": sex}
        | equation(frame[frame["sex"] == sex], segment)
        | {"source": source}
        for source, frame in surveys.items()
        for segment in FROM_SURVEY[source]
        for sex in SEXES
    ]
    table = pd.DataFrame(rows)
    table["n"] = table["n"].astype(int)
    out = Path(__file__).with_name("segment_equations.csv")
    table.round(4).to_csv(out, index=False, lineterminator="\n")


if __name__ == "__main__":
    main(sys.argv[1])
