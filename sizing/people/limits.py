"""Where the evidence stops, in plain sentences."""

from sizing.resources import texts

_T = texts("people")
#: Each limit in words, by its name.
SAID: dict[str, str] = _T.limits
MODEL_SOURCES: tuple[str, ...] = tuple(_T.model_sources)
TOTALS_SOURCE: str = _T.totals_source
_OF: dict[str, list[str]] = _T.limits_of


def said(*names: str) -> tuple[str, ...]:
    """Return limits in words; the name of a kind of people stands for all of theirs."""
    return tuple(SAID[one] for name in names for one in _OF.get(name, [name]))


def model_limits(youngest: float, oldest: float) -> tuple[str, ...]:
    """Return the limits of drawn measures for people of these ages.

    >>> soldiers, seam = said("soldiers", "seam")
    >>> soldiers in model_limits(2, 15), seam in model_limits(30, 80)
    (False, False)
    """
    young = ("children",) if youngest < 18 else ("seam",) if youngest < 20 else ()
    return said(*(("adults",) if oldest >= 16 else ()), *young, "back")
