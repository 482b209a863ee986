"""A user's own people, a caseload's and a survey's, in the kit's form."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError, warn
from sizing.measures import EVIDENCE, MEASURES, to_standard_units
from sizing.measures.headings import Table, plain
from sizing.measures.tables import CASELOAD, ROW, Taken, say, take
from sizing.people.body import Drawn, draw_measures
from sizing.people.body.draw import check_draws
from sizing.people.classes import age_band, bmi_class, body_mass_index
from sizing.people.files import read_table
from sizing.people.people import MODEL_SOURCES, People, limits_said, model_limits
from sizing.people.weights import checked_weight
from sizing.resources import texts
from sizing.stats.formulas import Floats
from sizing.surveys import Survey

_T = texts("people")
_W: dict[str, str] = _T.own
_P: dict[str, list[str]] = _T.own_problems
#: Headings under which people write what tells who a client is.
_PERSONAL = re.compile(
    r"(^|_)(name|names|surname|forename|initials|nickname|address|street|postcode|"
    r"post_code|zip|zipcode|phone|telephone|mobile|email|e_mail|dob|birth|birthdate|"
    r"birthday|nhs|nhs_number|ssn|mrn|hospital_number|patient_number|next_of_kin|"
    r"photo)(_|$)"
)


def people_from(
    frame: pd.DataFrame,
    *,
    weight: str | npt.ArrayLike | None = None,
    draws: int | None = None,
    seed: int = 1,
    name: str = "own people",
) -> People:
    """Make ``People`` of a table of the user's own.

    Parameters
    ----------
    frame : DataFrame
        One row per person (or per person and draw, if it has both columns). Measures
        are named with their unit, such as ``body_mass_lb``, and converted once, by
        ``to_standard_units``. ``sex`` and ``age_years`` are needed only where measures
        are to be drawn. Other columns are kept.
    weight : str or array-like, optional
        A column of ``frame``, which then leaves it, or one number per row, 0 or more;
        1 each if not given.
    draws, seed : int, optional
        What is missing is drawn so often, jointly, from what is known; without
        ``draws`` it stays missing.
    name : str
        What the people are called.

    Returns
    -------
    People
        ``frame`` with ``person`` and ``draw`` first, index 0, 1, ....
        ``evidence``: measured, missing, or what the draws say.

    Raises
    ------
    InputProblems, SizingError
        Naming everything the unit gate refuses, persons standing twice, or, with
        draws, people without a sex; or if there are no rows or no measure, the weights
        cannot weigh people, or ``draws`` or ``seed`` is not a whole number.

    Examples
    --------
    >>> own = people_from(pd.DataFrame({"hip_circumference_in": [40.0, None]}))
    >>> hips = "hip_circumference_cm"
    >>> own.frame[hips].tolist(), own.evidence[hips].tolist()
    ([101.6, nan], ['measured', 'missing'])
    """
    if draws is not None:
        check_draws(draws, seed)
    if frame.empty:
        raise SizingError(_W["no_rows"])
    standard = to_standard_units(frame).reset_index(drop=True)
    if isinstance(weight, str):
        if weight not in standard:
            columns = ", ".join(map(str, standard.columns))
            raise SizingError(_W["no_weights"].format(weight=weight, columns=columns))
        weight = standard.pop(weight).to_numpy()
    w = checked_weight(weight, len(standard), zeros=True)
    measures = [measure for measure in MEASURES if measure in standard]
    if not measures and draws is None:
        raise SizingError(_W["no_measure"].format(measures=", ".join(MEASURES)))
    standard = _with_keys(standard, drawing=draws is not None)
    about: dict[str, Any] = {"name": name, "settings": {"draws": draws, "seed": seed}}
    about |= {"sources": (_W["source"],)}
    if draws is not None:
        if "sex" not in standard:
            raise SizingError(_W["no_sex"])
        table = standard.drop(columns="draw")
        out, evidence = draw_measures(table, draws=draws, seed=seed)
        return drawn_people(out, evidence, w, seed, limits_said("own"), **about)
    # Taking from two words is ten times faster than writing a million.
    words = np.array([EVIDENCE[0], EVIDENCE[-1]], dtype=object)
    missing = standard[measures].isna().to_numpy().astype(int)
    return People(
        frame=standard,
        weight=pd.Series(w, index=standard.index, name="weight"),
        evidence=pd.DataFrame(words[missing], columns=measures),
        limits=limits_said("own", "no_posture"),
        **about,
    )


def drawn_people(
    frame: pd.DataFrame,
    evidence: pd.DataFrame,
    weight: Floats,
    drawn: Drawn | int,
    stops: tuple[str, ...],
    last: tuple[str, ...] = ("no_posture",),
    *,
    sources: tuple[str, ...],
    **about: Any,
) -> People:
    """Return people whose missing measures were drawn, with the model's own limits.

    With the seed for ``drawn``, ``weight`` is that of each person, drawn in turn.
    """
    if isinstance(drawn, int):
        drawn = Drawn(drawn, frame["draw"].to_numpy(dtype=np.int64))
        weight = np.tile(weight, len(frame) // len(weight))
    ages = frame["age_years"]
    own = model_limits(float(ages.min()), float(ages.max()))
    return People(
        frame=frame,
        weight=pd.Series(weight, index=frame.index, name="weight"),
        evidence=evidence,
        sources=(*sources, *MODEL_SOURCES),
        limits=tuple(dict.fromkeys((*stops, *own, *limits_said(*last)))),
        drawn=drawn,
        **about,
    )


def people_of_survey(survey: Survey, *, draws: int = 5, seed: int = 1) -> People:
    """Return a survey's people, what nobody measured of them being drawn."""
    frame, evidence = draw_measures(survey.frame, draws=draws, seed=seed)
    classify(frame)
    weight = survey.weight.to_numpy(dtype=float)
    settings = {"name": survey.name, "draws": draws, "seed": seed}
    about: dict[str, Any] = {"name": survey.name, "sources": survey.sources}
    given = frame, evidence, weight, seed, survey.limits
    return drawn_people(*given, settings=settings, **about)


def classify(frame: pd.DataFrame) -> None:
    frame["bmi"] = body_mass_index(frame)
    frame["age_band"] = age_band(frame["age_years"])
    frame["bmi_class"] = bmi_class(frame)


def _with_keys(frame: pd.DataFrame, *, drawing: bool) -> pd.DataFrame:
    """Return the frame with ``person`` and ``draw`` first, each pair once."""
    out = frame.copy()
    if "person" not in out:
        if "draw" in out:
            raise SizingError(_W["draw_alone"])
        out.insert(0, "person", np.arange(len(out)))
    if "draw" not in out:
        out.insert(1, "draw", 0)
    elif drawing and (out["draw"] != out["draw"].iloc[0]).any():
        raise SizingError(_W["drawn_before"])
    nobody, person = out["person"].isna(), out["person"]
    places = np.flatnonzero(nobody)[:10].tolist()
    problems = [Problem.of(_P["no_person"], None, row + 2) for row in places]
    places = np.flatnonzero(out.duplicated(["person", "draw"]))[:10].tolist()
    problems += [
        Problem.of(_P["twice"], None, row + 2, "person", person.iloc[row])
        for row in places
    ]
    if problems:
        raise InputProblems(problems, about="the people")
    rest = [c for c in out.columns if c not in ("person", "draw")]
    return out[["person", "draw", *rest]]


def read_caseload(
    path: str | Path, *, draws: int = 5, seed: int = 1, called: str = ""
) -> People:
    """Read a caseload from a CSV or XLSX file.

    Parameters
    ----------
    path : str or Path
        One client per row. Columns: ``sex`` and as many as are known of ``age_years``
        and the measures, each with its unit, such as ``body_mass_kg`` or ``Hip girth
        (in)``; empty cells where not measured. Other columns (a ward, a diagnosis)
        are kept and named as not used, but those that tell who a client is (a name,
        an address, a date of birth) are not.
    draws, seed : int
        How often missing measures are drawn, jointly, for each client; and the seed.
    called : str
        The sheet of a workbook that holds the list, where it is not the first.

    Returns
    -------
    People
        ``person`` is the client's row in the file (the heading is row 1).

    Raises
    ------
    InputProblems, SizingError
        Naming every problem at once, by row and column; or if it is no table.

    Warns
    -----
    SizingWarning, ReadingNote
        If a column was left out for privacy, or a value is unusual; and how many
        clients were read, what is known of how many, and what not used.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "clients.csv"
    >>> _ = file.write_text("sex,age_years,body_mass_kg,hip_circumference_cm\\n"
    ...                     "f,82,51.5,92\\nm,47,,\\n")
    >>> clients = read_caseload(file, draws=2)
    >>> clients.n, clients.draws, clients.frame["person"].tolist()
    (2, 2, [2, 3, 2, 3])
    """
    file = Path(path)
    rows = client_rows(file, CASELOAD, called)
    taken = take(rows, CASELOAD, note=False, collect=True)
    standard = taken.frame
    with taken.told():
        problems = _faults(taken)
        try:
            numbered = taken.frame.set_axis(pd.Index(taken.rows[1:], name=ROW))
            standard = to_standard_units(numbered, file=file.name)
            standard = standard.reset_index(drop=True)
        except InputProblems as found:
            problems = [*problems, *found.problems]
        if problems:
            raise InputProblems(problems)
    say(file.name, taken.read())
    standard = standard.drop(columns=["person", "draw"], errors="ignore")
    standard.insert(0, "person", taken.rows[1:])
    return people_from(standard, draws=draws, seed=seed, name=f"caseload {file.stem}")


def client_rows(file: Path, kind: Table, called: str = "") -> pd.DataFrame:
    """Read a list of clients as it stands, without what says who they are."""
    table = unnamed(read_table(file, kind, called=called), file.name)
    if table.empty:
        raise SizingError(
            "there is no client in it", allowed="one per row", file=file.name
        )
    return table


def unnamed(table: pd.DataFrame, about: str) -> pd.DataFrame:
    """Leave out empty rows at the end, and with a warning what says who people are."""
    filled = np.flatnonzero(table.notna().any(axis=1))
    personal = [c for c in table.columns if _PERSONAL.search(plain(c))]
    if personal:
        named = ", ".join(map(repr, personal))
        warn(_W["personal"].format(about=about, personal=named))
    return table.iloc[: filled[-1] + 1 if len(filled) else 0].drop(columns=personal)


def _faults(taken: Taken) -> list[Problem]:
    table = taken.frame
    filled = table.notna().any(axis=1)
    sexless = filled & (table["sex"].isna() if "sex" in table else False)
    faults = ("empty", ~filled, None), ("no_sex", sexless, "sex")
    problems = [
        Problem.of(_P[words], None, row + 2, column)
        for words, where, column in faults
        for row in np.flatnonzero(where).tolist()
    ]
    if not taken.problems and not any(one.measure in MEASURES for one in taken.found):
        found = ", ".join(f"'{one.given}'" for one in taken.found)
        said = {"measures": ", ".join(MEASURES), "found": found}
        problems.append(Problem.of(_P["no_measure"], None, 1, **said))
    return problems
