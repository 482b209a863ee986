"""Fit the bands of one group of sizes, with a certificate and a rival."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sizing.bands.axis import Width
from sizing.bands.fitter import Boxes, Fitter
from sizing.bands.groups import common_group
from sizing.bands.measured import chart_of, share_covered
from sizing.bands.request import PerMeasure
from sizing.bands.result import BandFit, check_splits, half_splits
from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.errors import check_number, one_of
from sizing.people.people import People


def fit_bands(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    step_cm: PerMeasure = 1.0,
    smooth_cm: PerMeasure = 0.0,
    group: str | None = None,
    fixed: SizeChart | None = None,
    least_step: Mapping[str, float] | None = None,
    least_overlap: Mapping[str, float] | None = None,
    rounding: str | Mapping[str, str] | None = None,
    objective: str = "covered",
    errors: Mapping[str, float] | None = None,
    near: PerMeasure = 2.0,
    too_large: float = 0.5,
    too_small: float = 0.5,
    load_limit_kg: float | None = None,
    tolerance: float | None = None,
    splits: int = 10,
    seed: int = 1,
) -> BandFit:
    """Find the graded chart that fits most people, exactly on its grid.

    Every size has an interval in each measure; from size to size no edge falls.
    Among all such charts with low edges on the grid, the one returned has the
    largest value (see ``sizing.bands.search`` for the method). Of equally
    good charts it is the one nearest to the quantile-centred bands: the least
    sum of distances between low edges, each divided by the band's width; of
    those, the one with the lowest edges, from the largest size downwards.

    People with several joint draws are smoothed thereby; with one row each the
    fit follows the rows, and ``smooth_cm`` of 0.5 or 1 is advised.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to width
        In the measure's unit, for one to four measures; a sequence gives one
        width per size.
    sizes : int
        Number of sizes, those owned included.
    step_cm : float or mapping
        Step of the low edges, in cm, and in kg for body mass.
    smooth_cm : float or mapping
        Fit as if each measure were blurred by a normal error of this standard
        deviation (cm; kg for body mass). The share told is that of the people
        as given. Up to three measures.
    group : {"paediatric", "adult", "bariatric"}, optional
        Group of the sizes in the chart; by default the one that all the people
        can share (see ``group_of``). Sizes for people of all ages have none.
    fixed : SizeChart, optional
        Sizes already owned: they stay, the others are fitted around them. The
        chart numbers all sizes anew, from the smallest.
    least_step : mapping of measure to float, optional
        Each size starts at least this much above its smaller neighbour.
    least_overlap : mapping of measure to float, optional
        Neighbours share at least this much of the measure.
    rounding : {"half", "whole", "five", "inch"} or mapping, optional
        Edges lie on whole multiples of 0.5, 1, 5 (cm or kg) or one inch.
    objective : {"covered", "judged", "loss"}
        Share who fit a size; mean chance of being read into a size given the
        errors of measurement (up to three measures); 1 less the mean loss (see
        ``sizing.bands.goal.Goal``).
    errors : mapping of measure to float, optional
        Standard deviation of one reading, for "judged"; by default those of
        ``sizing.measures.vocabulary``.
    near, too_large, too_small : float
        For "loss": within what distance someone nearly fits, and what it costs
        (0 to 1) if the nearest sling is too large, or too small, for her.
    load_limit_kg : float, optional
        Load limit of the new sizes. Sizes owned keep their own; a size covers
        nobody heavier than its limit. Where a size owned may lift less than new
        ones on both sides of it, the search counts whoever fits both of these and
        is too heavy for the one between twice: the bound holds all the same, the
        chart may then not be the very best, and the gap says by how much at most.
    tolerance : float, optional
        How far above the value the certified bound may stay (a share); a
        smaller one takes longer. By default it is pressed to within a point with
        up to three measures, which takes a second or two as a rule, and with four
        where a first second comes within five points of it; elsewhere it stays
        some points above. See Notes.
    splits : int
        Half-splits for the held-out figures; 0 for none.
    seed : int
        Of the half-splits.

    Returns
    -------
    BandFit
        Chart, share, certificate, held-out figures and the rival's.

    Raises
    ------
    SizingError
        If a setting makes no sense, a measure is absent, nobody is measured or
        weighs anything, the sizes outnumber the distinct people, or no chart
        meets the constraints.

    Notes
    -----
    With ``step_cm=0.1`` the chart is the best there is on whole mm (and 0.1 kg),
    and the bound equals its value. On a 1 cm grid the chart is the best on that
    grid, and the bound tells what whole mm could add. Measured on one processor
    with 4 sizes: on 6,068 soldiers, three measures at 1 mm exactly, about 10 s and
    0.9 GB; four at 1 cm and 1 kg, to within a point in 7 s and 1.1 GB (5 sizes: 16
    s and 2.1 GB). On the kit's own people four measures mostly stay 1 to 5 points
    from proof (adults 4.3): the bound then rests on the best three. With three
    measures and 8 sizes the default takes 12 s and 1.2 GB. Of goals other than the
    share, "judged" may stay two points from proof.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame(
    ...     {"person": range(6), "draw": 0, "sex": "female", "age_years": 40.0,
    ...      "hip_circumference_cm": [88.0, 92.0, 99.0, 101.0, 118.0, 121.0]}
    ... )
    >>> people = People("six invented people", frame, pd.Series([1.0] * 6), frame)
    >>> fit = fit_bands(
    ...     people, widths={"hip_circumference_cm": 5}, sizes=3, splits=0
    ... )
    >>> fit.share
    1.0
    """
    if group is not None:
        one_of("group", group, GROUPS)
    check_splits(splits, seed)
    if tolerance is not None:
        check_number("the tolerance", tolerance, least=0)
    settings: dict[str, Any] = {
        "widths": dict(widths),
        "sizes": sizes,
        "step_cm": step_cm,
        "smooth_cm": smooth_cm,
        "fixed": fixed,
        "least_step": least_step,
        "least_overlap": least_overlap,
        "rounding": rounding,
        "objective": objective,
        "errors": errors,
        "near": near,
        "too_large": too_large,
        "too_small": too_small,
        "load_limit_kg": load_limit_kg,
    }
    fitter = Fitter.of(people, **settings)
    measured = fitter.measured
    fitted, rival = fitter.fit(), fitter.rival(measured.weight)
    value = fitter.value(fitted)

    def chart(boxes: Boxes, name: str) -> SizeChart:
        return chart_of(
            measured,
            *boxes,
            group=common_group(people) if group is None else group,
            name=name,
            source=f"fitted to '{people.name}'",
        )

    return BandFit(
        chart=with_owned(chart(fitted, "fitted chart"), fixed, tuple(widths)),
        share=share_covered(measured, *fitted),
        objective=objective,
        value=value,
        upper_bound=fitter.certified(fitted, tolerance),
        held_out_splits=half_splits(fitter, splits=splits, seed=seed),
        rival=chart(rival, "quantile-centred bands"),
        rival_share=share_covered(measured, *rival),
        rival_value=fitter.value(rival),
        people=people.name,
        persons=people.n,
        settings={**settings, "splits": splits, "seed": seed},
    )


def with_owned(
    chart: SizeChart, fixed: SizeChart | None, measures: tuple[str, ...]
) -> SizeChart:
    """Return the chart with the names and load limits of the sizes owned.

    An owned size is the one with the same edges in all the measures and the
    same load limit; of several such, the next in order.
    """
    if fixed is None:
        return chart
    frame = chart.frame.copy()
    edges = [chart.edges(m) for m in measures]
    owned = [fixed.edges(m) for m in measures]
    # Of sizes with the same edges, the one that may lift as much.
    edges.append((chart.load_limits(), chart.load_limits()))
    owned.append((fixed.load_limits(), fixed.load_limits()))
    at = 0
    for size, row in enumerate(fixed.frame.to_dict("records")):
        while any(
            mine[end][at] != theirs[end][size]
            for mine, theirs in zip(edges, owned, strict=True)
            for end in (0, 1)
        ):
            at += 1
        frame.loc[at, "size"] = str(row["size"])
        frame.loc[at, "load_limit_kg"] = row.get("load_limit_kg", float("nan"))
        at += 1
    return replace(chart, frame=frame)
