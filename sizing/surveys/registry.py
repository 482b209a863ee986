"""Where every survey and derived table comes from, and that it is unchanged."""

import hashlib

import pandas as pd

from sizing.errors import SizingError, one_of
from sizing.resources import source_file, source_table


def registry() -> pd.DataFrame:
    """Return the register of surveys and of the tables derived from them.

    Returns
    -------
    DataFrame
        One row per file: ``name``, ``title``, ``publisher``, ``year``, ``file``,
        ``role`` (what the kit does with it), ``licence``, ``url``,
        ``retrieved``, ``sha256``, ``ships`` (yes, no, or as a dependency),
        ``n`` (people in the file or behind its figures, 0 where there are
        none), ``population``, ``definitions`` (of the measures, where they
        differ between surveys), ``kind``, ``unit``, ``edits`` (what the reader
        changes). Empty cells are empty strings.

    Examples
    --------
    >>> registry().set_index("name").loc["ansur2_women", "n"].item()
    1986
    """
    return source_table("registry.csv", keep_default_na=False)


def verify(name: str, content: bytes | None = None) -> None:
    """Refuse a registered file whose content is not the registered one.

    >>> verify("survey_summaries")
    """
    table = registry().set_index("name")
    one_of("registered file", name, list(table.index))
    row = table.loc[name]
    file, title, registered = (str(row[key]) for key in ("file", "title", "sha256"))
    if content is None:
        # Text checked out under Windows may end its lines otherwise.
        content = source_file(file).read_bytes().replace(b"\r\n", b"\n")
    if hashlib.sha256(content).hexdigest() != registered:
        raise SizingError(
            "the file is not the registered one (its sha256 differs)",
            allowed=f"'{title}' as registered",
            action="install the kit again, or take the file from its publisher again",
            file=file,
        )
