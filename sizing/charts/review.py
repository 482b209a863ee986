"""Findings about a valid chart that a practitioner should look at."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts.fits import GROUPS, SizeChart, misfits
from sizing.measures import (
    MEASURES,
    NO_HIGH,
    Amount,
    Said,
    plain,
    plausible_range,
    to_tenths,
)
from sizing.measures.typed import like_pounds
from sizing.people.people import People
from sizing.resources import texts

_T = texts("charts")
Row = dict[str, Any]
COLUMNS = ["kind", "size", "other_size", "measure", "low", "high", "words"]
#: A high edge beyond this multiple of the largest plausible value is doubted
#: as a slip of unit (our choice, no source).
_BEYOND = 1.5


def review_chart(chart: SizeChart, *, people: People | None = None) -> pd.DataFrame:
    """List the doubtful points of a chart, for reading rather than refusing.

    Parameters
    ----------
    chart : SizeChart
        The size chart, in cm and kg.
    people : People, optional
        If given, a size that none of them fits is found as well.

    Returns
    -------
    DataFrame
        One row per finding: ``kind``, ``size``, ``other_size``, ``measure``, ``low``
        and ``high`` (the span in question, cm or kg), ``words``. Kinds: ``gap``
        (between consecutive sizes a span of a measure belongs to neither; edges that
        follow each other by 0.1 leave none, and across groups only a step upwards
        counts), ``out_of_order``, ``inside_another`` (whoever fits the size fits the
        other), ``nobody_fits`` (the band lies outside what is plausible at any age, or
        none of ``people`` fits), ``doubtful_number`` (a high edge over 1.5 times the
        largest plausible value), ``measure_not_limited`` (it has columns, but no size
        limits it), ``no_load_limit``, ``load_limit_like_pounds`` and
        ``load_limit_inside_band`` (it lies below the top of the weight's band).

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({"size": ["one", "two"], "load_limit_kg": 120,
    ...     "hip_circumference_cm_low": [70, 95],
    ...     "hip_circumference_cm_high": [90, 115]}), warn=False)
    >>> print(review_chart(chart)["words"][0])
    hip girth from over 90 to under 95 cm belongs to neither 'one' nor 'two'
    """
    rows = [
        row
        for measure in chart.measures
        for look in (_between, _plausible)
        for row in look(chart, measure)
    ]
    for look_at in (_group_order, _inside, _unlimited, _loads):
        rows += look_at(chart)
    rows += [] if people is None else _no_people(chart, people)
    found = pd.DataFrame(rows, columns=COLUMNS)
    # A column of text would keep the words and lose the amounts within them.
    words = pd.Series([row["words"] for row in rows], dtype=object)
    return found.assign(words=words)


def _finding(kind: str, words: str, *where: Any, **said: Any) -> Row:
    rest = (*where, *(None, None, None, np.nan, np.nan)[len(where) :])
    told = Said(_T.findings[words], **said)
    return dict(zip(COLUMNS, (kind, *rest, told), strict=True))


def _between(chart: SizeChart, measure: str) -> Iterator[Row]:
    low, high = chart.edges(measure)
    rows = zip(chart.sizes, chart.frame["group"], low, high, strict=True)
    name = plain(measure)
    for (a, group, low_a, high_a), (b, other, low_b, high_b) in pairwise(rows):
        same, named = group == other, {"name": name, "a": a, "b": b}
        for below, above in [(high_a, low_b), (high_b, low_a)][: 1 + same]:
            if above > below + 1:
                ends = (below / 10, above / 10)
                span = Amount(ends[0], measure, ends[1], link=" to under ")
                where = (a, b, measure, *ends)
                yield _finding("gap", "gap", *where, span=span, **named)
        if same and (low_b < low_a or high_b < high_a):
            yield _finding("out_of_order", "lower", b, a, measure, **named)


def _group_order(chart: SizeChart) -> Iterator[Row]:
    for (a, g), (b, h) in pairwise(zip(chart.sizes, chart.frame["group"], strict=True)):
        if g in GROUPS and h in GROUPS and GROUPS.index(h) < GROUPS.index(g):
            said = {"a": a, "g": g, "b": b, "h": h, "groups": ", ".join(GROUPS)}
            yield _finding("out_of_order", "groups", b, a, **said)


def _plausible(chart: SizeChart, measure: str) -> Iterator[Row]:
    least, most = plausible_range(measure)
    for size, a, b in zip(chart.sizes, *chart.edges(measure), strict=True):
        where = (size, None, measure)
        said: dict[str, object] = {"size": size, "name": plain(measure)}
        if a > to_tenths(most) or b < to_tenths(least):
            said["usual"] = Amount(least, measure, most)
            words = "nobody"
            if measure.endswith("_cm") and 100 * least <= a <= b <= 100 * most:
                said, words = {"nobody": Said(_T.findings[words], **said)}, "nobody_mm"
            yield _finding("nobody_fits", words, *where, least, most, **said)
        elif b != NO_HIGH and b > _BEYOND * to_tenths(most):
            said |= {"end": Amount(b / 10, measure), "most": Amount(most, measure)}
            yield _finding("doubtful_number", "doubtful", *where, b / 10, most, **said)


def _inside(chart: SizeChart) -> Iterator[Row]:
    load, sizes = chart.load_limits(), chart.sizes
    # Of twins only the later is said to lie inside.
    lies = load[:, None] <= load
    for low, high in map(chart.edges, chart.measures):
        lies &= (low <= low[:, None]) & (high[:, None] <= high)
    lies &= ~(lies.T & np.tri(len(sizes), k=-1, dtype=bool).T)
    np.fill_diagonal(lies, val=False)
    for i in np.flatnonzero(lies.any(axis=1)):
        size, other = sizes[i], sizes[int(lies[i].argmax())]
        said = {"size": size, "other": other}
        yield _finding("inside_another", "inside", size, other, **said)


def _unlimited(chart: SizeChart) -> Iterator[Row]:
    for one in MEASURES:
        if f"{one}_low" in chart.frame and one not in chart.measures:
            where = (None, None, one)
            yield _finding("measure_not_limited", "unlimited", *where, name=plain(one))


def _loads(chart: SizeChart) -> Iterator[Row]:
    load, mass = chart.load_limits(), "body_mass_kg"
    if (load == NO_HIGH).all():
        yield _finding("no_load_limit", "no_loads")
        return
    for size, limit, top in zip(chart.sizes, load, chart.edges(mass)[1], strict=True):
        said = {"size": size, "limit": Amount(limit / 10, mass)}
        if limit == NO_HIGH:
            yield _finding("no_load_limit", "no_load", size, size=size)
            continue
        if meant := like_pounds(limit / 10):
            where = (size, None, None, meant, limit / 10)
            said["meant"] = Amount(meant, mass)
            yield _finding("load_limit_like_pounds", "pounds", *where, **said)
        if limit < top < NO_HIGH:
            band = (size, None, mass, limit / 10, top / 10)
            said["top"] = Amount(top / 10, mass)
            yield _finding("load_limit_inside_band", "inside_band", *band, **said)


def _no_people(chart: SizeChart, people: People) -> Iterator[Row]:
    fits = ~np.logical_or(*misfits(people.frame, chart))
    if "body_mass_kg" in people.frame:
        fits &= to_tenths(people.frame["body_mass_kg"])[:, None] <= chart.load_limits()
    fits &= (people.weight.to_numpy(dtype=float) > 0)[:, None]
    for size, some in zip(chart.sizes, np.atleast_1d(fits.any(axis=0)), strict=True):
        if not some:
            said = {"n": f"{people.n:,}", "people": people.name, "size": size}
            yield _finding("nobody_fits", "none_fits", size, **said)
