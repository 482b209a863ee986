"""Findings about a valid chart that a practitioner should look at."""

from typing import Any

import numpy as np
import pandas as pd

from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.measures import MEASURES, plausible_range, to_tenths
from sizing.measures.edges import MISSING_TENTHS, NO_HIGH, NO_LOW
from sizing.measures.typed import like_pounds
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
    hip circumference from over 90 to under 95 cm belongs to neither 'one' nor 'two'
    """
    rows: list[dict[str, Any]] = []
    for measure in chart.measures:
        rows += _between(chart, measure)
        rows += _plausible(chart, measure)
    rows += _group_order(chart)
    rows += _inside(chart)
    rows += _unlimited(chart)
    rows += _loads(chart)
    if people is not None:
        rows += _no_people(chart, people)
    return pd.DataFrame(rows, columns=COLUMNS)


def plain_name(measure: str) -> str:
    """Return a measure's name as words, without its unit.

    Examples
    --------
    >>> plain_name("hip_circumference_cm")
    'hip circumference'
    """
    return measure.rsplit("_", 1)[0].replace("_", " ")


def _finding(
    kind: str,
    words: str,
    size: str | None = None,
    other: str | None = None,
    measure: str | None = None,
    low: float = np.nan,
    high: float = np.nan,
) -> dict[str, Any]:
    return dict(
        zip(COLUMNS, (kind, size, other, measure, low, high, words), strict=True)
    )


def _between(chart: SizeChart, measure: str) -> list[dict[str, Any]]:
    """Gaps and disorder between consecutive sizes in one measure."""
    rows = []
    low, high = chart.edges(measure)
    groups, sizes = list(chart.frame["group"]), chart.sizes
    unit = measure.rsplit("_", 1)[1]
    for i in range(len(sizes) - 1):
        a, b = sizes[i], sizes[i + 1]
        upward = (high[i], low[i + 1])
        downward = (high[i + 1], low[i])
        same = groups[i] == groups[i + 1]
        for below, above in (upward, downward) if same else (upward,):
            if above > below + 1:
                rows.append(
                    _finding(
                        "gap",
                        f"{plain_name(measure)} from over {below / 10:g} to under "
                        f"{above / 10:g} {unit} belongs to neither '{a}' nor '{b}'",
                        a,
                        b,
                        measure,
                        below / 10,
                        above / 10,
                    )
                )
        if same and (low[i + 1] < low[i] or high[i + 1] < high[i]):
            rows.append(
                _finding(
                    "out_of_order",
                    f"'{b}' follows '{a}', but its {plain_name(measure)} band "
                    "begins or ends lower: list the sizes from small to large",
                    b,
                    a,
                    measure,
                )
            )
    return rows


def _group_order(chart: SizeChart) -> list[dict[str, Any]]:
    rank = {group: i for i, group in enumerate(GROUPS)}
    groups = list(chart.frame["group"])
    return [
        _finding(
            "out_of_order",
            f"'{b}' ({h}) follows '{a}' ({g}): list {', '.join(GROUPS)} in this order",
            b,
            a,
        )
        for a, b, g, h in zip(
            chart.sizes, chart.sizes[1:], groups, groups[1:], strict=False
        )
        if g in rank and h in rank and rank[h] < rank[g]
    ]


def _plausible(chart: SizeChart, measure: str) -> list[dict[str, Any]]:
    """Bands outside what any person has."""
    rows = []
    least, most = plausible_range(measure)
    tenth = [to_tenths(10 * end) for end in (least, most)]
    unit = measure.rsplit("_", 1)[1]
    low, high = chart.edges(measure)
    for size, a, b in zip(chart.sizes, low, high, strict=True):
        if a > to_tenths(most) or b < to_tenths(least):
            rows.append(
                _finding(
                    "nobody_fits",
                    f"nobody can fit '{size}': {plain_name(measure)} is plausible "
                    f"from {least:g} to {most:g} {unit} only; check number and unit"
                    + (
                        "; it would be plausible in millimetres"
                        if unit == "cm" and tenth[0] <= a <= b <= tenth[1]
                        else ""
                    ),
                    size,
                    None,
                    measure,
                    least,
                    most,
                )
            )
        elif b != NO_HIGH and b > _BEYOND * to_tenths(most):
            rows.append(
                _finding(
                    "doubtful_number",
                    f"'{size}' ends at a {plain_name(measure)} of {b / 10:g} {unit}, "
                    f"where {most:g} {unit} is the most that is plausible; check "
                    "number and unit, or leave the cell empty for no limit",
                    size,
                    None,
                    measure,
                    b / 10,
                    most,
                )
            )
    return rows


def _inside(chart: SizeChart) -> list[dict[str, Any]]:
    """Sizes whose box lies inside another size's box."""
    edges = [chart.edges(measure) for measure in chart.measures]
    load = chart.load_limits()
    rows = []
    for i, size in enumerate(chart.sizes):
        for j, other in enumerate(chart.sizes):
            within = load[i] <= load[j] and all(
                lo[j] <= lo[i] and hi[i] <= hi[j] for lo, hi in edges
            )
            equal = load[i] == load[j] and all(
                lo[j] == lo[i] and hi[i] == hi[j] for lo, hi in edges
            )
            if i != j and within and not (equal and i < j):
                rows.append(
                    _finding(
                        "inside_another",
                        f"whoever fits '{size}' also fits '{other}', by the "
                        "measures on this chart",
                        size,
                        other,
                    )
                )
                break
    return rows


def _unlimited(chart: SizeChart) -> list[dict[str, Any]]:
    return [
        _finding(
            "measure_not_limited",
            f"{plain_name(measure)} has columns, but no size limits it",
            None,
            None,
            measure,
        )
        for measure in MEASURES
        if f"{measure}_low" in chart.frame and measure not in chart.measures
    ]


def _loads(chart: SizeChart) -> list[dict[str, Any]]:
    rows = []
    load = chart.load_limits()
    _, high = chart.edges("body_mass_kg")
    if (load == NO_HIGH).all():
        return [
            _finding(
                "no_load_limit",
                "no load limits are stated: whether a sling bears the person "
                "cannot be judged; read each sling's own label",
            )
        ]
    for size, limit, top in zip(chart.sizes, load, high, strict=True):
        if limit == NO_HIGH:
            rows.append(
                _finding(
                    "no_load_limit",
                    f"'{size}' states no load limit; read the sling's own label",
                    size,
                )
            )
            continue
        if meant := like_pounds(limit / 10):
            rows.append(
                _finding(
                    "load_limit_like_pounds",
                    f"the load limit of '{size}', {limit / 10:g} kg, looks like pounds "
                    f"({meant} kg): read the label again",
                    size,
                    None,
                    None,
                    meant,
                    limit / 10,
                )
            )
        if top != NO_HIGH and limit < top:
            rows.append(
                _finding(
                    "load_limit_inside_band",
                    f"the load limit of '{size}', {limit / 10:g} kg, is below the "
                    f"top of its body-mass band, {top / 10:g} kg; nobody above the "
                    "load limit is counted as fitting",
                    size,
                    None,
                    "body_mass_kg",
                    limit / 10,
                    top / 10,
                )
            )
    return rows


def _no_people(chart: SizeChart, people: People) -> list[dict[str, Any]]:
    """Sizes that none of the people fit, by every measure that they have."""
    frame = people.frame
    rows = []
    load = chart.load_limits()
    fits = np.ones((len(frame), len(chart.sizes)), dtype=bool)
    for measure in chart.measures:
        if measure in frame:
            low, high = chart.edges(measure)
            x = to_tenths(frame[measure])[:, None]
            fits &= (x == MISSING_TENTHS) | (
                (x >= np.maximum(low, NO_LOW)) & (x <= high)
            )
    if "body_mass_kg" in frame:
        fits &= to_tenths(frame["body_mass_kg"])[:, None] <= load
    fits &= (people.weight.to_numpy(dtype=float) > 0)[:, None]
    for j, size in enumerate(chart.sizes):
        if not fits[:, j].any():
            rows.append(
                _finding(
                    "nobody_fits",
                    f"none of the {people.n:,} people of '{people.name}' fits '{size}'",
                    size,
                )
            )
    return rows
