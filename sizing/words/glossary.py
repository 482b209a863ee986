"""One meaning for each term, and the terms that a text holds."""

import re

import pandas as pd

from sizing.resources import source_table


def glossary(text: str | None = None) -> pd.DataFrame:
    """Return the kit's terms with their meanings, all or those that a text holds.

    Columns ``term, meaning``, as listed in ``data_sources/glossary.csv``.

    >>> list(glossary("Above the safe working load of the hoist.")["term"])
    ['hoist', 'safe working load']
    """
    table = source_table("glossary.csv")
    if text is not None:
        held = [
            re.search(rf"(?<!\w)(?:{found})(?!\w)", text, re.IGNORECASE) is not None
            for found in table["found_by"]
        ]
        table = table[held]
    return table[["term", "meaning"]].reset_index(drop=True)
