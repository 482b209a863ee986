"""The cautions that every screen, report and notebook carries."""

from functools import cache

from sizing.resources import source_table


@cache
def cautions(*keys: str) -> tuple[str, ...]:
    """Return the usual cautions as sentences, all of them or those named.

    Parameters
    ----------
    *keys : str
        ``label``, ``load``, ``policy``, ``assessment``, ``body``,
        ``wrong_size``; none means all, in that order.

    Returns
    -------
    tuple of str
        Their source is common practice: see ``data_sources/cautions.csv``.

    Examples
    --------
    >>> len(cautions("load"))
    1
    """
    table = source_table("cautions.csv").set_index("key")["text"]
    chosen = list(keys) if keys else list(table.index)
    return tuple(str(table[key]) for key in chosen)
