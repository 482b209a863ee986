"""Weights of the people who come with the kit: raked to the survey's own totals."""

from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError
from sizing.people.classes import ADULT_AGE, bmi_class, body_mass_index
from sizing.resources import source_table
from sizing.surveys import read_embedded

SOURCE = (
    "Totals by age, sex, ethnic group, class of body mass index and difficulty "
    "walking: US National Center for Health Statistics, NHANES 2017-2018, sums of "
    "examination weights (public domain)."
)
#: What a cell of the totals may be of.
KEYS = (
    "age_years_from",
    "sex",
    "ethnic_group",
    "build",
    "mass",
    "walking_difficulty",
)
#: Lower ends of the ages, by kind of cell: as fine as leaves three people in each.
_AGES = {
    "descent": (2, 6, 12, 20, 30, 40, 50, 60, 70, 80),
    "build": (2, 6, 18, 40, 60),
    "walking": (18, 60),
}
#: Classes of adults' body mass index as the cells of walking know them.
_COARSE = {
    "obesity class 1": "30 to 39",
    "obesity class 2": "30 to 39",
    "obesity class 3": "40 and over",
    "50 and over": "40 and over",
    "not measured": "not measured",
}
#: Where the tails of body mass index and of body mass begin.
_HEAVIEST, _HEAVY_KG = 50.0, 127.0
#: Rounds of raking, and how little a last one changes: totals are whole persons.
_ROUNDS, _NEAR = 500, 1e-5


def cells(frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Return the cell of each person, by kind of cell; missing keys are all.

    Examples
    --------
    >>> {kind: list(cell) for kind, cell in cells(read_embedded().frame[:5]).items()}
    {'descent': ['age_years_from', 'sex', 'ethnic_group'], \
'build': ['age_years_from', 'sex', 'build'], \
'walking': ['age_years_from', 'sex', 'build', 'walking_difficulty'], \
'mass': ['sex', 'mass', 'walking_difficulty']}
    """
    sex, age = frame["sex"].to_numpy(), frame["age_years"].to_numpy(dtype=float)
    bmi = body_mass_index(frame)
    build = pd.Series(np.asarray(bmi_class(frame), dtype=object), frame.index)
    build = build.mask(bmi.ge(_HEAVIEST) & (age >= ADULT_AGE), "50 and over")
    build = build.fillna("not measured")

    def ages(kind: str) -> npt.NDArray[np.int64]:
        ends = np.array(_AGES[kind])
        return ends[np.maximum(np.searchsorted(ends, age, side="right") - 1, 0)]

    coarse = build.map(_COARSE).fillna("under 30")
    answer = frame["walking_difficulty"].astype("object").map({True: "yes"})
    adult = age >= ADULT_AGE
    heavy = frame["body_mass_kg"] > _HEAVY_KG
    mass = heavy.map({True: "over 127 kg", False: "up to 127 kg"})
    mass = mass.mask(frame["body_mass_kg"].isna(), "not measured")
    walking = {
        "age_years_from": np.where(adult, ages("walking"), 0),
        "sex": sex,
        "build": coarse.where(adult, "all"),
        "walking_difficulty": answer.where(adult).fillna("no"),
    }
    own = frame["ethnic_group"].to_numpy()
    found: dict[str, dict[str, Any]] = {
        "descent": {"age_years_from": ages("descent"), "sex": sex, "ethnic_group": own},
        "build": {"age_years_from": ages("build"), "sex": sex, "build": build},
        "walking": walking,
        "mass": {
            "sex": sex,
            "mass": mass.where(adult, "all"),
            "walking_difficulty": walking["walking_difficulty"],
        },
    }
    return {kind: pd.DataFrame(cell, frame.index) for kind, cell in found.items()}


@cache
def weighted_embedded() -> tuple[pd.DataFrame, npt.NDArray[np.float64]]:
    """Return the embedded people and their weights.

    Raking (iterative proportional fitting: Deming and Stephan, Ann Math Stat
    1940;11:427-444, from memory) to every kind of cell in turn.
    """
    frame = read_embedded().frame
    table = source_table("nhanes_2017_2018_totals.csv", keep_default_na=False)
    wanted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.float64]]] = []
    for kind, cell in cells(frame).items():
        by = list(cell)
        total = table[table["kind"] == kind].set_index(by)["total"]
        codes, levels = pd.MultiIndex.from_frame(cell.astype(str)).factorize()
        wanted.append((codes, total.reindex(levels).to_numpy(dtype=float)))
    weight: npt.NDArray[np.float64] = np.ones(len(frame))
    for _ in range(_ROUNDS):
        before = weight
        for codes, goal in wanted:
            weight = weight * (goal / np.bincount(codes, weight))[codes]
        if np.abs(weight / before - 1).max() < _NEAR:
            return frame, weight
    raise SizingError("the totals that come with the kit contradict one another")
