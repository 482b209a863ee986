"""Ten named cases: a fit never loses to the simple rival on people held out."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from sizing.bands import fit_bands
from sizing.bands.fit import LOOSE
from sizing.people import load_people
from sizing.people.people import People

BACK = "shoulder_height_sitting_cm"
HIP = "hip_circumference_cm"
SEAT = "buttock_popliteal_length_cm"
MASS = "body_mass_kg"

#: Name of the population, widths, number of sizes.
CASES: dict[str, tuple[str, dict[str, float], int]] = {
    "adults by back and hip, 4 sizes": ("adults", {BACK: 10, HIP: 20}, 4),
    "adults by three measures, 3 sizes": ("adults", {BACK: 10, HIP: 20, SEAT: 8}, 3),
    "adults by three measures, 4 sizes": ("adults", {BACK: 10, HIP: 20, SEAT: 8}, 4),
    "adults, wide bands": ("adults", {BACK: 12, HIP: 25, SEAT: 10}, 3),
    "adults by hip and body mass": ("adults", {HIP: 20, MASS: 30}, 3),
    "children by back and hip": ("children", {BACK: 12, HIP: 18}, 3),
    "children by three measures": ("children", {BACK: 12, HIP: 18, SEAT: 10}, 3),
    "bariatric, three measures": ("bariatric", {BACK: 12, HIP: 25, SEAT: 10}, 3),
    "walking difficulty": ("walking_difficulty", {BACK: 10, HIP: 20, SEAT: 8}, 3),
    "care home": ("care_home_nordic", {BACK: 10, HIP: 20, SEAT: 8}, 3),
}


@cache
def population(name: str) -> People:
    return load_people(name, draws=3)


@pytest.mark.parametrize("case", CASES)
def test_never_below_the_rival(case):
    name, widths, sizes = CASES[case]
    fit = fit_bands(population(name), widths=widths, sizes=sizes, splits=4)
    assert fit.held_out >= fit.rival_held_out - 0.002
    assert fit.rival_value <= fit.share <= fit.upper_bound
    held, low, high = fit.held_out_splits.told()
    assert low <= held == fit.held_out <= high
    assert "rival" not in fit.summary()
    # Proved to a point on whole mm by default, as a rule; "loose" says where not.
    assert fit.gap <= 0.016
    assert ("loose" in fit.summary()) == (fit.gap > LOOSE)


@pytest.mark.surveys
def test_unsmoothed_soldiers_need_smoothing(survey_folder):
    """One row per person, three measures: the fit follows chance, and says so.

    The first prototype held out 88.4 to 88.5 % here against the rival's 88.7 %
    (half-open bands), and 88.66 % with smoothing by 1 cm.
    """
    people = soldiers(survey_folder)
    settings = {"widths": {BACK: 10, HIP: 20, SEAT: 8}, "sizes": 4, "splits": 10}
    rough = fit_bands(people, **settings, smooth_cm=0)
    assert rough.share > rough.rival_value + 0.003
    # Measured: 89.05 % held out against the rival's 89.33 %.
    assert rough.held_out < rough.rival_held_out - 0.002
    assert "smooth_cm" in rough.summary()
    # Smoothing by 0.5, 0.8, 1.0 or 1.2 cm brings it within 0.2 points; 2 cm is
    # too much (88.1 %).
    smooth = fit_bands(people, **settings, smooth_cm=0.5)
    assert smooth.held_out >= smooth.rival_held_out - 0.002
    assert "as good" in smooth.summary()
    two = fit_bands(people, widths={BACK: 10, HIP: 20}, sizes=4)
    assert two.held_out >= two.rival_held_out + 0.01


def soldiers(folder) -> People:
    """ANSUR II, men and women, one row each, in cm."""
    parts = [
        pd.read_csv(folder / f"ansur2_{name}.csv", encoding="latin1")
        for name in ("men", "women")
    ]
    raw = pd.concat(parts, ignore_index=True).rename(columns=str.lower)
    acromion = raw["stature"] - raw["acromialheight"]
    frame = pd.DataFrame(
        {
            "person": np.arange(len(raw)),
            "draw": 0,
            "sex": raw["gender"].str.lower(),
            "age_years": raw["age"].astype(float),
            BACK: (raw["sittingheight"] - acromion) / 10,
            HIP: raw["buttockcircumference"] / 10,
            SEAT: raw["buttockpopliteallength"] / 10,
            MASS: raw["weightkg"] / 10,
        }
    )
    evidence = pd.DataFrame("measured", index=frame.index, columns=[BACK, HIP, SEAT])
    return People("soldiers", frame, pd.Series(np.ones(len(frame))), evidence)
