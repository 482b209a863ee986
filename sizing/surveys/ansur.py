"""Reader of the public files of ANSUR II (US Army, 2010-2012)."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError
from sizing.surveys.dataset import Notes, Survey, in_order
from sizing.surveys.embedded import CM_PER_INCH, KG_PER_LB
from sizing.surveys.files import (
    PathLike,
    as_numbers,
    check_columns,
    check_keys,
    check_values,
    read_csv,
)

EXPECTED = "a public CSV file of ANSUR II, men or women"

#: Published name -> ours; published in mm, kept in cm.
_LENGTHS = {
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
}
#: DODRace, code book from memory. For weighting only.
_ETHNIC = {1: "nh_white", 2: "nh_black", 3: "hispanic", 4: "nh_asian"}
_EXTRA = (
    *(name for name in _LENGTHS.values()),
    "half_span_cm",
    "reported_stature_cm",
    "reported_mass_kg",
    "ethnic_group",
)


def read_ansur2(path: PathLike | Sequence[PathLike]) -> Survey:
    """Read the public files of ANSUR II.

    Parameters
    ----------
    path : path or sequence of paths
        One file (men or women), several files, or a folder: in a folder every
        CSV file with ``ansur`` in its name is read.

    Returns
    -------
    Survey
        ``frame``: every measure of ``sizing.measures.MEASURES``, in cm and kg.
        Millimetres are divided by 10, and ``weightkg`` too (it is published in
        units of 0.1 kg). ``hip_circumference_cm`` is buttock circumference;
        ``waist_circumference_cm`` is taken at the level of the navel
        (omphalion); ``shoulder_height_sitting_cm`` is not measured but equals
        sitting height - (stature - acromial height).
        Extra columns: ``acromial_height_cm``, ``suprasternale_height_cm``,
        ``knee_height_cm``, ``popliteal_height_cm``, ``buttock_knee_length_cm``,
        ``span_cm``, ``half_span_cm`` (span / 2), ``forearm_hand_length_cm``,
        ``shoulder_elbow_length_cm``, ``elbow_rest_height_cm``,
        ``hand_length_cm``, ``bideltoid_breadth_cm``,
        ``abdominal_depth_sitting_cm``, ``calf_circumference_cm``,
        ``reported_stature_cm``, ``reported_mass_kg`` (what people said) and
        ``ethnic_group`` (for weighting only). ``weight`` is 1.

    Raises
    ------
    SizingError, InputProblems
        If a file is absent, of another kind, cut short, lacks a column or
        holds text where numbers belong.

    References
    ----------
    Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel: Methods
    and Summary Statistics, NATICK/TR-15/007, December 2014.

    Examples
    --------
    >>> from sizing.surveys import read_ansur2
    >>> read_ansur2("no_such_folder/ansur2_men.csv")
    Traceback (most recent call last):
    ...
    sizing.errors.InputProblems: 1 problem in 'ansur2_men.csv':
    - ansur2_men.csv: there is no such file. Allowed: a public CSV file of \
ANSUR II, men or women. What to do: check the name and the folder.
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
    notes.add(
        "sitting height - (height - acromial height)",
        "shoulder_height_sitting_cm",
        len(frame),
        "converted",
    )
    frame["half_span_cm"] = frame["span_cm"] / 2
    return Survey(
        name="ANSUR II",
        frame=in_order(frame, _EXTRA),
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
    found = sorted(
        file
        for file in folder.iterdir()
        if "ansur" in file.name.lower() and file.suffix.lower() == ".csv"
    )
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
    needed = [*plain, *_LENGTHS, "Gender", "SubjectId"]
    raw = read_csv(path, EXPECTED, encoding="latin-1", needed=needed)
    # The women's file spells it SubjectId, the men's subjectid.
    raw = raw.rename(columns={"SubjectId": "subjectid"})
    check_columns(
        raw, [*plain, *_LENGTHS, "Gender"], file=name, survey="the ANSUR II files"
    )
    number = as_numbers(raw, [*plain, *_LENGTHS], file=name)
    check_keys(number, ["subjectid"], file=name)
    measured = ["weightkg", *_LENGTHS]
    frame = number[list(_LENGTHS)].div(10).rename(columns=_LENGTHS)
    frame["body_mass_kg"] = number["weightkg"] / 10
    notes.add("mm / 10", f"{len(_LENGTHS)} lengths of {name}", len(frame), "converted")
    notes.add("weightkg / 10", f"body_mass_kg of {name}", len(frame), "converted")
    for column, zero in zip(
        ["body_mass_kg", *_LENGTHS.values()], measured, strict=True
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
        raise InputProblems(
            [
                Problem(
                    "this sex is not one of the survey's",
                    "Female or Male",
                    "use the file as published",
                    file=file,
                    row=int(row) + 2,
                    column="Gender",
                    value=given.iloc[row],
                )
                for row in np.flatnonzero(unknown)[:20]
            ],
            about=file,
        )
    return sex
