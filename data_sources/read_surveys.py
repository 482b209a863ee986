"""Readers of the files the coefficients were derived from: ANSUR II and Snyder 1977.

No command or page reads them: they serve the scripts here and the tests.
"""

import csv
import io
import warnings
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.reading import file_bytes
from sizing.surveys.nhanes import CM_PER_INCH, KG_PER_LB
from sizing.surveys.survey import (
    AS_PUBLISHED,
    MOST_BYTES,
    Notes,
    PathLike,
    Survey,
    as_numbers,
    check_columns,
    check_keys,
    check_values,
    in_order,
    not_readable,
)


def read_csv(
    path: PathLike, expected: str, *, encoding: str, needed: Iterable[str]
) -> pd.DataFrame:
    """Read a survey's CSV file."""
    content = file_bytes(path, allowed=expected, most=MOST_BYTES)
    reason = "it is no table of comma-separated values"
    if b"\x00" in content:
        raise not_readable(Path(path), expected, reason)
    # pandas would rename the second of two headings without a word. Only what is
    # read matters: a published file has a doubled heading among the rest.
    first = content.split(b"\n", 1)[0].decode("latin-1").strip()
    headings = next(csv.reader([first]), [])
    twice = [name for name in needed if headings.count(name) > 1]
    if twice:
        reason = f"two columns have the heading '{twice[0]}'"
        raise not_readable(Path(path), expected, reason)
    try:
        # A row longer than the heading would otherwise shift its cells silently.
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            how = {"encoding": encoding, "low_memory": False, "index_col": False}
            frame = pd.read_csv(io.BytesIO(content), **how)
    except (ValueError, OSError, pd.errors.ParserWarning) as cause:
        raise not_readable(Path(path), expected, reason) from cause
    return frame


ANSUR_FILE = "a public CSV file of ANSUR II, men or women"

#: Published name -> ours; published in mm, kept in cm.
ANSUR_LENGTHS = {
    "stature": "stature_cm",
    "sittingheight": "sitting_height_cm",
    "buttockpopliteallength": "buttock_popliteal_length_cm",
    "buttockcircumference": "hip_circumference_cm",
    "hipbreadthsitting": "hip_breadth_sitting_cm",
    "thighcircumference": "thigh_circumference_cm",
    "waistcircumference": "waist_circumference_cm",
    "chestcircumference": "chest_circumference_cm",
    "acromialheight": "acromial_height_cm",
    "suprasternaleheight": "suprasternale_height_cm",
    "kneeheightsitting": "knee_height_cm",
    "poplitealheight": "popliteal_height_cm",
    "buttockkneelength": "buttock_knee_length_cm",
    "span": "span_cm",
    "forearmhandlength": "forearm_hand_length_cm",
    "shoulderelbowlength": "shoulder_elbow_length_cm",
    "elbowrestheight": "elbow_rest_height_cm",
    "handlength": "hand_length_cm",
    "bideltoidbreadth": "bideltoid_breadth_cm",
    "abdominalextensiondepthsitting": "abdominal_depth_sitting_cm",
    "calfcircumference": "calf_circumference_cm",
    "waistbacklength": "waist_back_length_cm",
    "waistheightomphalion": "waist_height_cm",
    "cervicaleheight": "cervicale_height_cm",
}
#: Only the back along the body is made of these.
_BACK_PARTS = ("waist_back_length_cm", "waist_height_cm", "cervicale_height_cm")
#: DODRace, code book from memory. For weighting only.
_ETHNIC = {1: "nh_white", 2: "nh_black", 3: "hispanic", 4: "nh_asian"}
_ANSUR_EXTRA = (
    *(name for name in ANSUR_LENGTHS.values() if name not in _BACK_PARTS),
    "half_span_cm",
    "reported_stature_cm",
    "reported_mass_kg",
    "ethnic_group",
)


def read_ansur2(path: PathLike | Sequence[PathLike]) -> Survey:
    """Read the public files of ANSUR II: one, several, or those of a folder.

    ``frame``: every measure of ``sizing.measures.MEASURES`` in cm and kg, lengths from
    mm, ``weightkg`` from units of 0.1 kg; hips are buttock circumference, the waist is
    at the level of the navel (omphalion). ``shoulder_height_sitting_cm`` is sitting
    height - (stature - acromial height), and ``back_along_body_cm`` that plus what the
    back's curve adds from waist to nape: waist back length (a tape on the standing
    back) less the height between its ends; what the buttock's curve adds is in neither.
    Further lengths, what people said of weight and height, ``ethnic_group`` (for
    weighting only). ``weight`` is 1.

    Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel: Methods and
    Summary Statistics, NATICK/TR-15/007, December 2014.
    """
    notes = Notes()
    parts = [_read_one(file, notes) for file in _files(path)]
    frame = pd.concat(parts, ignore_index=True)
    frame = notes.drop(
        frame, frame["person"].duplicated(), "a person number seen before"
    )
    frame["shoulder_height_sitting_cm"] = frame["sitting_height_cm"] - (
        frame["stature_cm"] - frame["acromial_height_cm"]
    )
    rule = "sitting height - (height - acromial height)"
    notes.add(rule, "shoulder_height_sitting_cm", len(frame), "converted")
    rise = frame["cervicale_height_cm"] - frame["waist_height_cm"]
    frame["back_along_body_cm"] = (
        frame["shoulder_height_sitting_cm"] + frame["waist_back_length_cm"] - rise
    )
    rule = "shoulder height sitting + waist back length - height from waist to nape"
    notes.add(rule, "back_along_body_cm", len(frame), "converted")
    frame["half_span_cm"] = frame["span_cm"] / 2
    return Survey(
        name="ANSUR II",
        frame=in_order(frame, _ANSUR_EXTRA),
        weight=pd.Series(1.0, index=range(len(frame)), name="weight"),
        report=notes.table,
        sources=(
            "Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel, "
            "NATICK/TR-15/007, December 2014; public data files.",
        ),
        limits=(
            "Fit soldiers aged 17 to 58, almost nobody over 130 kg; no one who is "
            "hoisted. The mix of people is the Army's, not a population's.",
            "Girths were taken standing.",
        ),
    )


def _files(path: PathLike | Sequence[PathLike]) -> list[PathLike]:
    if not isinstance(path, (str, Path)) and isinstance(path, Sequence):
        return list(path)
    folder = Path(str(path))
    if not folder.is_dir():
        return [str(path)]
    names = (file for file in folder.iterdir() if "ansur" in file.name.lower())
    found = sorted(file for file in names if file.suffix.lower() == ".csv")
    if not found:
        raise SizingError(
            "the folder holds no file of ANSUR II",
            allowed="CSV files with 'ansur' in their names",
            action="name the files themselves, or check the folder",
            file=str(path),
        )
    return list(found)


def _read_one(path: PathLike, notes: Notes) -> pd.DataFrame:
    name = Path(path).name
    plain = ["subjectid", "weightkg", "Age", "Heightin", "Weightlbs", "DODRace"]
    needed = [*plain, *ANSUR_LENGTHS, "Gender", "SubjectId"]
    raw = read_csv(path, ANSUR_FILE, encoding="latin-1", needed=needed)
    # The women's file spells it SubjectId, the men's subjectid.
    raw = raw.rename(columns={"SubjectId": "subjectid"})
    check_columns(
        raw, [*plain, *ANSUR_LENGTHS, "Gender"], file=name, survey="the ANSUR II files"
    )
    number = as_numbers(raw, [*plain, *ANSUR_LENGTHS], file=name)
    check_keys(number, ["subjectid"], file=name)
    measured = ["weightkg", *ANSUR_LENGTHS]
    frame = number[list(ANSUR_LENGTHS)].div(10).rename(columns=ANSUR_LENGTHS)
    frame["body_mass_kg"] = number["weightkg"] / 10
    notes.add(
        "mm / 10", f"{len(ANSUR_LENGTHS)} lengths of {name}", len(frame), "converted"
    )
    notes.add("weightkg / 10", f"body_mass_kg of {name}", len(frame), "converted")
    for column, zero in zip(
        ["body_mass_kg", *ANSUR_LENGTHS.values()], measured, strict=True
    ):
        notes.blank(frame, column, number[zero] <= 0, "0 or less")
    check_values(frame, file=name, rows=np.arange(len(frame)) + 2)
    frame["person"] = number["subjectid"].astype("int64")
    frame["age_years"] = number["Age"]
    frame["sex"] = _sex(raw["Gender"], name)
    frame["reported_stature_cm"] = number["Heightin"] * CM_PER_INCH
    frame["reported_mass_kg"] = number["Weightlbs"] * KG_PER_LB
    for column in ("reported_stature_cm", "reported_mass_kg"):
        notes.blank(frame, column, frame[column] <= 0, "0 or less")
    frame["ethnic_group"] = number["DODRace"].map(_ETHNIC).fillna("other_or_several")
    return frame


def _sex(given: pd.Series, file: str) -> pd.Series:
    sex = given.astype("str").str.strip().str.lower()
    unknown = ~sex.isin(["female", "male"]).to_numpy()
    if unknown.any():
        what = "this sex is not one of the survey's", "Female or Male", AS_PUBLISHED
        problems = [
            Problem(*what, file, int(row) + 2, "Gender", given.iloc[row])
            for row in np.flatnonzero(unknown)[:20]
        ]
        raise InputProblems(problems, about=file)
    return sex


SNYDER_FILE = "the CSV file of individual records of Snyder 1977 (UM-HSRI-77-17)"

#: Published name -> ours; published in mm, kept in cm.
SNYDER_LENGTHS = {
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
_SNYDER_EXTRA = tuple(SNYDER_LENGTHS.values())

#: A value this many robust SDs from what the rest of the body says is taken
#: for a slip of reading or typing. Common practice, no source: fat tails reach
#: 5 in these data, the slips begin at 6.
OUTLYING = 6.0


def read_snyder1977(path: PathLike) -> Survey:
    """Read the individual records of Snyder et al. 1977, children aged 2-19.

    Published are lengths in mm, body mass in 0.1 kg, age in thousandths of a year, 0
    where not measured, sex 1 male and 2 female. ``person`` is the row of the file: the
    published numbers repeat. ``shoulder_height_sitting_cm`` is suprasternale height -
    (stature - sitting height): the notch above the breastbone stands in for the
    acromion. Buttock-popliteal length and the back along the body were not measured.

    Dropped: a row that repeats an earlier one or has no age. Blanked: 0, and lengths or
    girths more than OUTLYING robust SDs from what log stature, log mass, age and sex
    lead to (Huber regression of the logarithm).

    Snyder, Schneider, Owings, Reynolds, Golomb, Schork, Anthropometry of Infants,
    Children and Youths to Age 18 for Product Safety Design, UM-HSRI-77-17, May 1977.
    """
    notes = Notes()
    file = Path(path).name
    plain = ["WEIGHT", "AGE IN YEARS", "SEX"]
    needed = [*plain, *SNYDER_LENGTHS]
    raw = read_csv(path, SNYDER_FILE, encoding="latin-1", needed=needed)
    check_columns(raw, needed, file=file, survey="the Snyder 1977 records")
    repeated = raw.duplicated().to_numpy()
    number = as_numbers(raw, needed, file=file)
    number["person"] = np.arange(2, len(number) + 2)
    number = notes.drop(number, repeated, "repeats an earlier row")
    number = notes.drop(number, ~(number["AGE IN YEARS"] > 0), "no age (0)")
    number = notes.drop(number, ~number["SEX"].isin([1, 2]), "sex neither 1 nor 2")

    frame = number[list(SNYDER_LENGTHS)].div(10).rename(columns=SNYDER_LENGTHS)
    frame["body_mass_kg"] = number["WEIGHT"] / 10
    for column in ("body_mass_kg", *SNYDER_LENGTHS.values()):
        notes.blank(frame, column, frame[column] <= 0, "0 stands for not measured")
    check_values(frame, file=file, rows=number["person"])
    notes.add("mm / 10", f"{len(SNYDER_LENGTHS)} lengths", len(frame), "converted")
    notes.add("WEIGHT / 10", "body_mass_kg", len(frame), "converted")
    frame["person"] = number["person"]
    frame["age_years"] = number["AGE IN YEARS"] / 1000
    frame["sex"] = number["SEX"].map({1: "male", 2: "female"})
    for column in SNYDER_LENGTHS.values():
        if column != "stature_cm":
            rule = f"over {OUTLYING:g} robust SDs from what height, mass, age and "
            notes.blank(frame, column, _outlying(frame, column), rule + "sex lead to")
    frame["shoulder_height_sitting_cm"] = frame["suprasternale_height_cm"] - (
        frame["stature_cm"] - frame["sitting_height_cm"]
    )
    rule, column = "suprasternale height - (height - sitting height)", "shoulder_height"
    column += "_sitting_cm"
    notes.add(rule, column, int(frame[column].notna().sum()), "converted")
    for absent in ("buttock_popliteal_length_cm", "back_along_body_cm"):
        frame[absent] = np.nan
        notes.add(
            "not measured in this survey", absent, len(frame), "missing as published"
        )
    return Survey(
        name="Snyder 1977",
        frame=in_order(frame, _SNYDER_EXTRA),
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
            "Buttock-popliteal length and the back along the body were not measured.",
        ),
    )


def _outlying(frame: pd.DataFrame, column: str) -> np.ndarray:
    """Mark values far from what stature, mass, age and sex lead to."""
    known = frame[["stature_cm", "body_mass_kg", column]].notna().all(axis=1)
    part = frame[known]
    age = part["age_years"].to_numpy(dtype=float)
    built = [np.log(part[name]) for name in ("stature_cm", "body_mass_kg")]
    women = part["sex"] == "female"
    design = np.column_stack([np.ones(len(part)), *built, age, age**2, women])
    design = design.astype(float)
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
    """Return the coefficients of a Huber regression (threshold 1.345)."""
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
