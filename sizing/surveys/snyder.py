"""Reader of the individual records of Snyder et al. 1977 (US children)."""

from pathlib import Path

import numpy as np
import pandas as pd

from sizing.surveys.dataset import Notes, Survey, in_order
from sizing.surveys.files import (
    PathLike,
    as_numbers,
    check_columns,
    check_values,
    read_csv,
)

EXPECTED = "the CSV file of individual records of Snyder 1977 (UM-HSRI-77-17)"

#: Published name -> ours; published in mm, kept in cm.
_LENGTHS = {
    "STATURE": "stature_cm",
    "ERECT SITTING HEIGHT": "sitting_height_cm",
    "HIP CIRCUMFERENCE": "hip_circumference_cm",
    "MAXIMUM HIP BREADTH (SEATED)": "hip_breadth_sitting_cm",
    "UPPER THIGH CIRCUMFERENCE": "thigh_circumference_cm",
    "WAIST CIRCUMFERENCE": "waist_circumference_cm",
    "CHEST CIRCUMFERENCE": "chest_circumference_cm",
    "SUPRASTERNALE HEIGHT": "suprasternale_height_cm",
    "BUTTOCK-KNEE LENGTH": "buttock_knee_length_cm",
    "KNEE HEIGHT": "knee_height_cm",
    "SHOULDER-ELBOW LENGTH": "shoulder_elbow_length_cm",
    "ELBOW-HAND LENGTH": "forearm_hand_length_cm",
}
_EXTRA = tuple(_LENGTHS.values())

#: A value this many robust SDs from what the rest of the body says is taken
#: for a slip of reading or typing. Common practice, no source: fat tails reach
#: 5 in these data, the slips begin at 6.
OUTLYING = 6.0


def read_snyder1977(path: PathLike) -> Survey:
    """Read the individual records of Snyder et al. 1977, children aged 2-19.

    Parameters
    ----------
    path : path
        The CSV file as published: lengths in mm, body mass in 0.1 kg, age in
        thousandths of a year, 0 where not measured, sex 1 male and 2 female.

    Returns
    -------
    Survey
        ``frame``: ``person`` (row of the file; the published person numbers
        repeat), ``sex``, ``age_years`` and the measures in cm and kg.
        ``shoulder_height_sitting_cm`` is suprasternale height - (stature -
        sitting height), where suprasternale height was measured: the notch
        above the breastbone, not the acromion, so it stands in for shoulder
        height. Buttock-popliteal length was not measured and stays missing.
        Extra columns: ``suprasternale_height_cm``, ``buttock_knee_length_cm``,
        ``knee_height_cm``, ``shoulder_elbow_length_cm``,
        ``forearm_hand_length_cm``. ``weight`` is 1.

        Dropped: a row that repeats an earlier one, a row without an age.
        Blanked: 0, and lengths or girths more than 6 robust SDs from the value
        that log stature, log mass, age and sex lead to (Huber regression of
        the logarithm).

    Raises
    ------
    SizingError, InputProblems
        If the file is absent, of another kind, cut short, lacks a column or
        holds text where numbers belong.

    References
    ----------
    Snyder, Schneider, Owings, Reynolds, Golomb, Schork, Anthropometry of
    Infants, Children and Youths to Age 18 for Product Safety Design,
    UM-HSRI-77-17, May 1977.

    Examples
    --------
    >>> from sizing.surveys import read_snyder1977
    >>> survey = read_snyder1977("snyder1977_children.csv")  # doctest: +SKIP
    >>> survey.report["rule"].iloc[0]  # doctest: +SKIP
    'repeats an earlier row'
    """
    notes = Notes()
    file = Path(path).name
    plain = ["WEIGHT", "AGE IN YEARS", "SEX"]
    needed = [*plain, *_LENGTHS]
    raw = read_csv(path, EXPECTED, encoding="latin-1", needed=needed)
    check_columns(raw, needed, file=file, survey="the Snyder 1977 records")
    repeated = raw.duplicated().to_numpy()
    number = as_numbers(raw, needed, file=file)
    number["person"] = np.arange(2, len(number) + 2)
    number = notes.drop(number, repeated, "repeats an earlier row")
    number = notes.drop(number, ~(number["AGE IN YEARS"] > 0), "no age (0)")
    number = notes.drop(number, ~number["SEX"].isin([1, 2]), "sex neither 1 nor 2")

    frame = number[list(_LENGTHS)].div(10).rename(columns=_LENGTHS)
    frame["body_mass_kg"] = number["WEIGHT"] / 10
    for column in ("body_mass_kg", *_LENGTHS.values()):
        notes.blank(frame, column, frame[column] <= 0, "0 stands for not measured")
    check_values(frame, file=file, rows=number["person"])
    notes.add("mm / 10", f"{len(_LENGTHS)} lengths", len(frame), "converted")
    notes.add("WEIGHT / 10", "body_mass_kg", len(frame), "converted")
    frame["person"] = number["person"]
    frame["age_years"] = number["AGE IN YEARS"] / 1000
    frame["sex"] = number["SEX"].map({1: "male", 2: "female"})
    for column in _LENGTHS.values():
        if column != "stature_cm":
            notes.blank(
                frame,
                column,
                _outlying(frame, column),
                f"over {OUTLYING:g} robust SDs from what height, mass, age and "
                "sex lead to",
            )
    frame["shoulder_height_sitting_cm"] = frame["suprasternale_height_cm"] - (
        frame["stature_cm"] - frame["sitting_height_cm"]
    )
    notes.add(
        "suprasternale height - (height - sitting height)",
        "shoulder_height_sitting_cm",
        int(frame["shoulder_height_sitting_cm"].notna().sum()),
        "converted",
    )
    frame["buttock_popliteal_length_cm"] = np.nan
    notes.add(
        "not measured in this survey",
        "buttock_popliteal_length_cm",
        len(frame),
        "missing as published",
    )
    return Survey(
        name="Snyder 1977",
        frame=in_order(frame, _EXTRA),
        weight=pd.Series(1.0, index=range(len(frame)), name="weight"),
        report=notes.table,
        sources=(
            "Snyder et al., Anthropometry of Infants, Children and Youths to Age "
            "18 for Product Safety Design, UM-HSRI-77-17, May 1977.",
        ),
        limits=(
            "US children of the 1970s: lighter than today's; 14 to 17 % of "
            "today's exceed these children's 98th percentile of BMI.",
            "Shoulder height is taken from the notch above the breastbone.",
            "Buttock-popliteal length was not measured.",
        ),
    )


def _outlying(frame: pd.DataFrame, column: str) -> np.ndarray:
    """Mark values far from what stature, mass, age and sex lead to."""
    known = frame[["stature_cm", "body_mass_kg", column]].notna().all(axis=1)
    part = frame[known]
    age = part["age_years"].to_numpy(dtype=float)
    design = np.column_stack(
        [
            np.ones(len(part)),
            np.log(part["stature_cm"]),
            np.log(part["body_mass_kg"]),
            age,
            age**2,
            part["sex"] == "female",
        ]
    ).astype(float)
    y = np.log(part[column].to_numpy(dtype=float))
    far = np.zeros(len(frame), dtype=bool)
    # Too few children measured to say what is usual.
    if len(y) < 10 * design.shape[1]:
        return far
    residual = y - design @ _huber(design, y)
    spread = 1.4826 * np.median(np.abs(residual))
    far[known.to_numpy()] = np.abs(residual) > OUTLYING * max(spread, 1e-9)
    return far


def _huber(design: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the coefficients of a Huber regression (threshold 1.345).

    By reweighting with the small normal equations: many times quicker than the
    general routine of statsmodels, which a test holds it to.
    """
    weight = np.ones(len(y))
    beta = np.zeros(design.shape[1])
    for _ in range(50):
        weighted = design * weight[:, None]
        new = np.linalg.solve(weighted.T @ design, weighted.T @ y)
        size = np.abs(y - design @ new)
        scale = max(1.4826 * float(np.median(size)), 1e-12)
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(size, 1e-12))
        if np.abs(new - beta).max() < 1e-9:
            break
        beta = new
    return new
