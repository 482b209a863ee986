"""Fit the bands of one group of sizes, with a certificate and a rival."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sizing.bands.axis import Width
from sizing.bands.fitter import Boxes, Fitter
from sizing.bands.groups import common_group
from sizing.bands.measured import chart_of, share_covered
from sizing.bands.result import BandFit, check_splits, half_splits
from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.errors import check_number, one_of
from sizing.people.people import People


def fit_bands(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    group: str | None = None,
    tolerance: float | None = None,
    splits: int = 10,
    seed: int = 1,
    progress: bool = False,
    **settings: Any,
) -> BandFit:
    """Find the graded chart that fits most people, exactly on its grid.

    Every size has an interval in each measure; from size to size no edge falls.
    Among all such charts with low edges on the grid, the one returned has the
    largest value (see ``sizing.bands.search`` for the method). Of equally
    good charts it is the one nearest to the quantile-centred bands: the least
    sum of distances between low edges, each divided by the band's width; of
    those, the one with the lowest edges, from the largest size downwards.

    People with several joint draws are smoothed thereby; with one row each the
    fit follows the rows, and three measures are smoothed unless ``smooth_cm`` is 0.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to width
        In the measure's unit, for one to four measures; a sequence gives one
        width per size.
    sizes : int
        Number of sizes, those owned included.
    group : {"paediatric", "adult", "bariatric"}, optional
        Group of the sizes in the chart; by default the one that all the people
        can share (see ``group_of``). Sizes for people of all ages have none.
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
    progress : bool
        Whether a bar shows how many half-splits are done.
    **settings
        Grid, goal, constraints and sizes owned: see ``FitSettings``.

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
    With ``step_cm=0.1`` and no smoothing the chart is the best there is on whole mm
    (and 0.1 kg), and the bound equals its value. On a 1 cm grid the chart is the best
    on that grid, and the bound tells what whole mm could add. Measured on one processor
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
    settings = {"smooth_cm": None, **settings}
    fitter = Fitter.of(people, widths=dict(widths), sizes=sizes, **settings)
    asked = fitter.asked
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
        chart=with_owned(chart(fitted, "fitted chart"), asked.fixed, tuple(widths)),
        share=share_covered(measured, *fitted),
        objective=asked.objective,
        value=value,
        upper_bound=fitter.certified(fitted, tolerance),
        held_out_splits=half_splits(
            fitter, splits=splits, seed=seed, progress=progress
        ),
        rival=chart(rival, "quantile-centred bands"),
        rival_share=share_covered(measured, *rival),
        rival_value=fitter.value(rival),
        people=people.name,
        persons=people.n,
        settings={**vars(asked), "splits": splits, "seed": seed},
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
