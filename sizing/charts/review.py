"""Findings about a valid chart that a practitioner should look at."""

from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts.fits import misfits
from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.measures import MEASURES, plausible_range, to_tenths
from sizing.measures.edges import NO_HIGH
from sizing.measures.typed import like_pounds
from sizing.measures.vocabulary import plain
from sizing.measures.written import Amount, Said
from sizing.people.people import People

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
        One row per finding: ``kind``, ``size``, ``other_size``, ``measure``,
        ``low`` and ``high`` (the span in question, cm or kg), ``words``.
        Kinds:

        gap
            Between neighbouring sizes (consecutive in the chart) a span of a
            measure belongs to neither. Edges that follow each other by 0.1
            leave no gap. Across groups only a step upwards counts.
        out_of_order
            A size whose band begins or ends below that of the size before it
            in the same group, or a group before a smaller one.
        inside_another
            Whoever fits the size also fits the other one.
        nobody_fits
            The band lies wholly outside what is plausible for a person of any
            age, or none of ``people`` fits.
        doubtful_number
            A high edge over 1.5 times the largest plausible value: a slip of
            unit, perhaps.
        measure_not_limited
            A measure has columns but no size limits it.
        no_load_limit
            No load limit stated: for the whole chart, or for the size.
        load_limit_like_pounds
            The load limit is a round number of kg written in pounds, perhaps.
        load_limit_inside_band
            The load limit lies below the top of the size's body-mass band.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one", "two"], "load_limit_kg": [120, 120],
    ...     "hip_circumference_cm_low": [70, 95],
    ...     "hip_circumference_cm_high": [90, 115]}), warn=False)
    >>> print(review_chart(chart)["words"][0])
    hip girth from over 90 to under 95 cm belongs to neither 'one' nor 'two'
    """
    rows: list[dict[str, Any]] = []
    for measure in chart.measures:
        rows += [*_between(chart, measure), *_plausible(chart, measure)]
    for look in (_group_order, _inside, _unlimited, _loads):
        rows += look(chart)
    if people is not None:
        rows += _no_people(chart, people)
    found = pd.DataFrame(rows, columns=COLUMNS)
    # A column of text would keep the words and lose the amounts within them.
    words = pd.Series([row["words"] for row in rows], dtype=object)
    return found.assign(words=words)


def _finding(kind: str, words: str, *where: Any) -> dict[str, Any]:
    """Return a finding; ``where``: size, other_size, measure, low and high."""
    rest = (*where, *(None, None, None, np.nan, np.nan)[len(where) :])
    return dict(zip(COLUMNS, (kind, *rest, words), strict=True))


def _between(chart: SizeChart, measure: str) -> list[dict[str, Any]]:
    """Gaps and disorder between consecutive sizes in one measure."""
    rows = []
    low, high = chart.edges(measure)
    groups, sizes = list(chart.frame["group"]), chart.sizes
    name = plain(measure)
    for i in range(len(sizes) - 1):
        a, b = sizes[i], sizes[i + 1]
        spans = [(high[i], low[i + 1]), (high[i + 1], low[i])]
        same = groups[i] == groups[i + 1]
        for below, above in np.array(spans[: 1 + same]) / 10:
            if above > below + 0.15:
                words = Said(
                    "{name} from over {span} belongs to neither '{a}' nor '{b}'",
                    name=name,
                    span=Amount(below, measure, above, link=" to under "),
                    a=a,
                    b=b,
                )
                rows.append(_finding("gap", words, a, b, measure, below, above))
        if same and (low[i + 1] < low[i] or high[i + 1] < high[i]):
            told = f"'{b}' follows '{a}', but its {name} band begins or ends lower: "
            told += "list the sizes from small to large"
            rows.append(_finding("out_of_order", told, b, a, measure))
    return rows


def _group_order(chart: SizeChart) -> list[dict[str, Any]]:
    rank = {group: i for i, group in enumerate(GROUPS)}
    pairs = list(zip(chart.sizes, chart.frame["group"], strict=True))
    order = f"list {', '.join(GROUPS)} in this order"
    return [
        _finding("out_of_order", f"'{b}' ({h}) follows '{a}' ({g}): {order}", b, a)
        for (a, g), (b, h) in pairwise(pairs)
        if g in rank and h in rank and rank[h] < rank[g]
    ]


def _plausible(chart: SizeChart, measure: str) -> list[dict[str, Any]]:
    """Bands outside what any person has."""
    rows = []
    least, most = plausible_range(measure)
    tenth = [to_tenths(10 * end) for end in (least, most)]
    named = {"name": plain(measure), "usual": Amount(least, measure, most)}
    low, high = chart.edges(measure)
    for size, a, b in zip(chart.sizes, low, high, strict=True):
        where = (size, None, measure)
        if a > to_tenths(most) or b < to_tenths(least):
            words = "nobody can fit '{size}': {name} is plausible from {usual} only; "
            words += "check number and unit"
            if measure.endswith("_cm") and tenth[0] <= a <= b <= tenth[1]:
                words += "; it would be plausible in millimetres"
            words = Said(words, size=size, **named)
            rows.append(_finding("nobody_fits", words, *where, least, most))
        elif b != NO_HIGH and b > _BEYOND * to_tenths(most):
            words = "'{size}' ends at a {name} of {end}, where {most} is the most that "
            words += "is plausible; check number and unit, or leave the cell empty for "
            ends = {"end": Amount(b / 10, measure), "most": Amount(most, measure)}
            words = Said(f"{words}no limit", size=size, **named, **ends)
            rows.append(_finding("doubtful_number", words, *where, b / 10, most))
    return rows


def _inside(chart: SizeChart) -> list[dict[str, Any]]:
    """Sizes whose box lies inside another size's box."""
    edges = [chart.edges(measure) for measure in chart.measures]
    load, sizes = chart.load_limits(), chart.sizes
    rows = []
    # Of twins only the later is said to lie inside.
    lies = load[:, None] <= load
    for low, high in edges:
        lies &= (low <= low[:, None]) & (high[:, None] <= high)
    lies &= ~(lies.T & np.tri(len(sizes), k=-1, dtype=bool).T)
    np.fill_diagonal(lies, val=False)
    for i in np.flatnonzero(lies.any(axis=1)):
        size, other = sizes[i], sizes[int(lies[i].argmax())]
        words = f"whoever fits '{size}' also fits '{other}', by the measures on this "
        rows.append(_finding("inside_another", f"{words}chart", size, other))
    return rows


def _unlimited(chart: SizeChart) -> list[dict[str, Any]]:
    words = "has columns, but no size limits it"
    return [
        _finding("measure_not_limited", f"{plain(m)} {words}", None, None, m)
        for m in MEASURES
        if f"{m}_low" in chart.frame and m not in chart.measures
    ]


def _loads(chart: SizeChart) -> list[dict[str, Any]]:
    rows = []
    load = chart.load_limits()
    _, high = chart.edges("body_mass_kg")
    if (load == NO_HIGH).all():
        words = "no load limits are stated: whether a sling bears the person cannot be "
        return [
            _finding("no_load_limit", f"{words}judged; read each sling's own label")
        ]
    for size, limit, top in zip(chart.sizes, load, high, strict=True):
        told = "the load limit of '{size}', {limit}, "
        given = {"size": size, "limit": Amount(limit / 10, "load_limit_kg")}
        if limit == NO_HIGH:
            words = f"'{size}' states no load limit; read the sling's own label"
            rows.append(_finding("no_load_limit", words, size))
            continue
        if meant := like_pounds(limit / 10):
            words = f"{told}looks like pounds ({{meant}}): read the label again"
            words = Said(words, meant=Amount(meant, "load_limit_kg"), **given)
            ends = (meant, limit / 10)
            rows.append(
                _finding("load_limit_like_pounds", words, size, None, None, *ends)
            )
        if top != NO_HIGH and limit < top:
            words = f"{told}is below the top of its body-mass band, {{top}}; nobody "
            words += "above the load limit is counted as fitting"
            words = Said(words, top=Amount(top / 10, "body_mass_kg"), **given)
            where = (size, None, "body_mass_kg", limit / 10, top / 10)
            rows.append(_finding("load_limit_inside_band", words, *where))
    return rows


def _no_people(chart: SizeChart, people: People) -> list[dict[str, Any]]:
    """Sizes that none of the people fit, by every measure that they have."""
    too_small, too_large = misfits(people.frame, chart)
    fits = ~(too_small | too_large)
    if "body_mass_kg" in people.frame:
        fits &= to_tenths(people.frame["body_mass_kg"])[:, None] <= chart.load_limits()
    fits &= (people.weight.to_numpy(dtype=float) > 0)[:, None]
    told = f"none of the {people.n:,} people of '{people.name}' fits"
    return [
        _finding("nobody_fits", f"{told} '{size}'", size)
        for size, some in zip(chart.sizes, np.atleast_1d(fits.any(axis=0)), strict=True)
        if not some
    ]
