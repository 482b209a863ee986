"""A user's caseload from a file: one client per row, no name needed."""

import re
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError, warn
from sizing.measures import MEASURES, to_standard_units
from sizing.measures.headings import Table, plain
from sizing.measures.tables import CASELOAD, ROW, Taken, say, take
from sizing.people.files import read_table
from sizing.people.own import check_draws, people_from
from sizing.people.people import People
from sizing.resources import texts

_T = texts("people")
_P: dict[str, list[str]] = _T.own_problems
#: Headings under which people write what tells who a client is.
_PERSONAL = re.compile(
    r"(^|_)(name|names|surname|forename|initials|nickname|address|street|postcode|"
    r"post_code|zip|zipcode|phone|telephone|mobile|email|e_mail|dob|birth|birthdate|"
    r"birthday|nhs|nhs_number|ssn|mrn|hospital_number|patient_number|next_of_kin|"
    r"photo)(_|$)"
)


def read_caseload(
    path: str | Path, *, draws: int = 5, seed: int = 1, called: str = ""
) -> People:
    """Read a caseload from a CSV or XLSX file.

    Parameters
    ----------
    path : str or Path
        One client per row. Columns: ``sex`` and as many as are known of
        ``age_years`` and the measures, each with its unit in its name, such as
        ``body_mass_kg`` or ``Hip girth (in)``; empty cells where not measured.
        Other columns (a ward, a diagnosis) are kept and named as not used, but
        those whose heading says they tell who a client is (a name, an address, a
        date of birth) are not.
    draws : int
        How often missing measures are drawn, jointly, for each client.
    seed : int
        Seed of the draws.
    called : str
        The sheet of a workbook that holds the list, where it is not the first.

    Returns
    -------
    People
        ``person`` is the client's row in the file (the heading is row 1).

    Raises
    ------
    InputProblems
        Naming every problem of the file at once, with row and column.
    SizingError
        If the file is missing or is not a table.

    Warns
    -----
    SizingWarning
        If a column was left out for privacy, or a value is unusual.
    ReadingNote
        How many clients were read, what is known of how many, and what not used.

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
    check_draws(draws, seed)
    file = Path(path)
    taken = take(
        client_rows(file, CASELOAD, called), CASELOAD, note=False, collect=True
    )
    standard = taken.frame
    with taken.told():
        problems = _faults(taken)
        try:
            rows = pd.Index(taken.rows[1:], name=ROW)
            standard = to_standard_units(taken.frame.set_axis(rows), file=file.name)
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
        warn(_T.own["personal"].format(about=about, personal=named))
    return table.iloc[: filled[-1] + 1 if len(filled) else 0].drop(columns=personal)


def _faults(taken: Taken) -> list[Problem]:
    table = taken.frame
    filled = table.notna().any(axis=1)
    sexless = filled & (table["sex"].isna() if "sex" in table else False)
    problems = [
        Problem.of(_P[words], None, row + 2, column)
        for words, where, column in (
            ("empty", ~filled, None),
            ("no_sex", sexless, "sex"),
        )
        for row in np.flatnonzero(where).tolist()
    ]
    if not taken.problems and not any(one.measure in MEASURES for one in taken.found):
        found = ", ".join(f"'{one.given}'" for one in taken.found)
        said = {"measures": ", ".join(MEASURES), "found": found}
        problems.append(Problem.of(_P["no_measure"], None, 1, **said))
    return problems
