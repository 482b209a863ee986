"""Reader of the official SAS transport files of NHANES."""

import re
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import Problem, SizingError, warn
from sizing.resources import texts
from sizing.surveys.dataset import Notes, Survey, in_order
from sizing.surveys.embedded import ETHNIC_GROUPS
from sizing.surveys.files import (
    PathLike,
    as_numbers,
    check_columns,
    check_keys,
    check_values,
    read_transport,
)

_T = texts("surveys")
#: Weights of the examined sample, by release; the first one present is used.
EXAM_WEIGHTS = ("WTMEC2YR", "WTMECPRP")

_DEMOGRAPHIC = ("SEQN", "RIDSTATR", "RIAGENDR", "RIDAGEYR", "SDMVSTRA", "SDMVPSU")
_MEASURED = {
    "BMXWT": "body_mass_kg",
    "BMXHT": "stature_cm",
    "BMXWAIST": "waist_circumference_cm",
}
#: Not in every release.
_OPTIONAL = {
    "BMXHIP": "hip_circumference_cm",
    "BMXLEG": "upper_leg_length_cm",
    "BMXARML": "upper_arm_length_cm",
    "BMXARMC": "arm_circumference_cm",
}
_EXTRA = (
    "upper_leg_length_cm",
    "upper_arm_length_cm",
    "arm_circumference_cm",
    "ethnic_group",
    "pregnant",
    "age_top_coded",
    "stratum",
    "unit",
)
#: RIDRETH3 codes; 5 is not used by the survey.
_ETHNIC = dict(zip((1, 2, 3, 4, 6, 7), ETHNIC_GROUPS, strict=True))
_EXAMINED = 2
_PREGNANT, _NOT_PREGNANT = 1, 2
_COULD_NOT_OBTAIN = 1


def read_nhanes_files(demographics: PathLike, body_measures: PathLike) -> Survey:
    """Read the demographics and body measures of one NHANES release.

    Parameters
    ----------
    demographics : path
        SAS transport file such as ``DEMO_I.XPT`` or ``P_DEMO.XPT``.
    body_measures : path
        SAS transport file of the same release, such as ``BMX_I.XPT``.

    Returns
    -------
    Survey
        People examined (RIDSTATR 2) aged 2 and over. ``frame`` columns:
        ``person`` (SEQN), ``sex``, ``age_years`` (80 stands for 80 and over),
        ``body_mass_kg``, ``stature_cm``, ``waist_circumference_cm``,
        ``hip_circumference_cm`` where the release has it,
        ``upper_leg_length_cm``, ``upper_arm_length_cm``,
        ``arm_circumference_cm``, ``ethnic_group`` (for weighting only),
        ``pregnant`` (nullable boolean), ``age_top_coded``, ``stratum``
        (SDMVSTRA) and ``unit`` (SDMVPSU). ``weight`` is the examination weight
        WTMEC2YR, or WTMECPRP of the 2017-March 2020 release.

    Raises
    ------
    SizingError, InputProblems
        If a file is absent, of another kind, cut short or lacks a column, or
        the two files share nobody.

    Warns
    -----
    SizingWarning
        If examined people have no row of body measures.

    References
    ----------
    US National Center for Health Statistics, National Health and Nutrition
    Examination Survey. Public domain.

    Examples
    --------
    >>> from sizing.surveys import read_nhanes_files
    >>> survey = read_nhanes_files("DEMO_I.XPT", "BMX_I.XPT")  # doctest: +SKIP
    >>> survey.measures  # doctest: +SKIP
    ('body_mass_kg', 'stature_cm', 'waist_circumference_cm')
    """
    notes = Notes()
    people = _demographics(demographics)
    body = _body_measures(body_measures, notes)
    shared = people["SEQN"].isin(body["SEQN"])
    if not shared.any():
        of = {"demographics": Path(demographics).name}
        one = Problem.of(_T.nhanes["nobody"], Path(body_measures).name, **of)
        raise SizingError(str(one))
    weight = next(name for name in EXAM_WEIGHTS if name in people)
    frame = notes.drop(
        people, people["RIDSTATR"] != _EXAMINED, "interviewed only, not examined"
    )
    frame = notes.drop(frame, frame["RIDAGEYR"] < 2, "younger than 2 years")
    frame = notes.drop(frame, ~(frame[weight] > 0), "no examination weight")
    absent = int((~frame["SEQN"].isin(body["SEQN"])).sum())
    rule = "examined, but without a row of body measures"
    notes.add(rule, "(all measures)", absent, "kept")
    if absent:
        # A transport file cut at the end of a record looks whole by itself.
        said = {"file": Path(body_measures).name, "absent": absent, "rule": rule}
        warn(_T.nhanes["cut"].format(**said))
    frame = frame.merge(body, on="SEQN", how="left", validate="one_to_one")
    frame = frame.rename(columns={"SEQN": "person", "RIDAGEYR": "age_years"})
    frame["person"] = frame["person"].astype("int64")
    frame["sex"] = frame["RIAGENDR"].map({1: "male", 2: "female"})
    frame["stratum"] = frame["SDMVSTRA"].astype("int64")
    frame["unit"] = frame["SDMVPSU"].astype("int64")
    frame["age_top_coded"] = frame["age_years"] >= 80
    notes.add(_T.top_coded, "age_years", int(frame["age_top_coded"].sum()), "kept")
    if "RIDRETH3" in frame:
        frame["ethnic_group"] = frame["RIDRETH3"].map(_ETHNIC)
    if "RIDEXPRG" in frame:
        answers = {_PREGNANT: True, _NOT_PREGNANT: False}
        frame["pregnant"] = frame["RIDEXPRG"].map(answers).astype("boolean")
        pregnant = int(frame["pregnant"].fillna(False).sum())
        notes.add(_T.nhanes["pregnant"], "pregnant", pregnant, "kept")
    return Survey(
        name=f"NHANES ({Path(demographics).name}, {Path(body_measures).name})",
        frame=in_order(frame, _EXTRA),
        weight=frame[weight].rename("weight").reset_index(drop=True),
        report=notes.table,
        sources=(_T.nhanes["source"],),
        limits=tuple(_T.limits),
    )


def read_nhanes_folder(folder: PathLike) -> Survey:
    """Read the one NHANES release whose files lie in a folder.

    It holds one demographics file (``DEMO_I.XPT``, ``P_DEMO.XPT``) and one of body
    measures (``BMX_I.XPT``, ``P_BMX.XPT``), under their official names.

    As ``read_nhanes_files``.

    >>> read_nhanes_folder("no_such_folder")
    Traceback (most recent call last):
    sizing.errors.SizingError: no_such_folder: there is no such folder. Allowed: a \
folder with DEMO_*.XPT and BMX_*.XPT of one NHANES release. What to do: name the \
folder the files were downloaded to.
    """
    place = Path(folder)
    if not place.is_dir():
        raise SizingError(str(Problem.of(_T.nhanes["no_folder"], str(folder))))
    found = []
    for stem, title in (("DEMO", "demographics"), ("BMX", "body measures")):
        own = re.compile(rf"(P_)?{stem}(_[A-Z])?\.XPT", re.IGNORECASE)
        files = sorted(one for one in place.iterdir() if own.fullmatch(one.name))
        if len(files) != 1:
            named = ", ".join(one.name for one in files)
            of = {"count": len(files), "title": title}
            of |= {"named": f" ({named})" if files else ""}
            raise SizingError(str(Problem.of(_T.nhanes["not_one"], str(folder), **of)))
        found += files
    return read_nhanes_files(*found)


def _demographics(path: PathLike) -> pd.DataFrame:
    name = Path(path).name
    raw = read_transport(path, "the demographics file of NHANES, SAS transport (.XPT)")
    weight = next((w for w in EXAM_WEIGHTS if w in raw), EXAM_WEIGHTS[0])
    needed = [*_DEMOGRAPHIC, weight]
    check_columns(raw, needed, file=name, survey="the NHANES demographics file")
    extra = [column for column in ("RIDRETH3", "RIDEXPRG") if column in raw]
    number = as_numbers(raw, [*needed, *extra], file=name)
    check_keys(number, ["SEQN", "SDMVSTRA", "SDMVPSU"], file=name, once="SEQN")
    return number


def _body_measures(path: PathLike, notes: Notes) -> pd.DataFrame:
    name = Path(path).name
    raw = read_transport(path, "the body measures file of NHANES, SAS transport (.XPT)")
    check_columns(
        raw, ["SEQN", *_MEASURED], file=name, survey="the NHANES body measures file"
    )
    optional = {code: ours for code, ours in _OPTIONAL.items() if code in raw}
    columns = _MEASURED | optional
    number = as_numbers(raw, ["SEQN", *columns], file=name)
    check_keys(number, ["SEQN"], file=name, once="SEQN")
    frame = number.rename(columns=columns)
    for code, column in columns.items():
        notes.blank(frame, column, number[code] <= 0, "0 or less")
        flag = code.replace("BMX", "BMI")
        if flag in raw:
            comment = pd.to_numeric(raw[flag], errors="coerce").to_numpy(dtype=float)
            known = np.isfinite(comment)
            for which, hit, action in (
                ("not_obtained", comment == _COULD_NOT_OBTAIN, "missing as published"),
                ("noted", comment != _COULD_NOT_OBTAIN, "kept"),
            ):
                count = int((known & hit).sum())
                notes.add(_T.nhanes[which], column, count, action)
    check_values(frame, file=name, rows=np.arange(len(frame)) + 2)
    return frame
