"""Fit the bands of one group of sizes, with a certificate and a rival."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding.axis import Axis, Ints, Width, check_widths, make_axis, tenths
from sizing.banding.bodies import Bodies, chart_of, read_bodies, share_covered
from sizing.banding.fitter import Fitter
from sizing.banding.held_out import HeldOut, half_splits
from sizing.banding.rival import quantile_boxes
from sizing.chart.size_chart import GROUPS, SizeChart
from sizing.errors import Problem, SizingError, one_of
from sizing.population.people import People

#: A difference in held-out coverage too small to matter to a buyer of sizes.
AS_GOOD = 0.002


@dataclass(frozen=True)
class BandFit:
    """A fitted chart, how good it is, and how good it could be at best.

    Attributes
    ----------
    chart : SizeChart
        The best chart on the grid.
    share : float
        Share (0-1) of the people given who fit at least one size.
    upper_bound : float
        No chart with these widths and edges on whole mm and 0.1 kg covers a
        larger share of the people given.
    held_out_splits : HeldOut
        Coverage of persons not fitted to, for this fit and for the rival.
    rival : SizeChart
        Quantile-centred bands of the same widths.
    rival_share : float
        Share of the people given whom the rival covers.
    people : str
        Name of the population.
    persons : int
        Number of persons fitted to.
    settings : mapping
        How the chart was fitted.
    """

    chart: SizeChart
    share: float
    upper_bound: float
    held_out_splits: HeldOut
    rival: SizeChart
    rival_share: float
    people: str
    persons: int
    settings: Mapping[str, Any]

    @property
    def gap(self) -> float:
        """What a better chart could gain at most on the people given."""
        return self.upper_bound - self.share

    @property
    def held_out(self) -> float:
        """Mean share covered of persons the fit had not seen."""
        return self.held_out_splits.mean()

    @property
    def held_out_low(self) -> float:
        """Low end of the 95 % interval of ``held_out``."""
        return self.held_out_splits.interval()[0]

    @property
    def held_out_high(self) -> float:
        """High end of the 95 % interval of ``held_out``."""
        return self.held_out_splits.interval()[1]

    @property
    def rival_held_out(self) -> float:
        """Mean share of the same held-out persons whom the rival covers."""
        return self.held_out_splits.mean("rival")

    @property
    def table(self) -> pd.DataFrame:
        """One row per figure: chart, people, estimate, low, high, method, n."""
        splits = self.held_out_splits
        method = f"{len(splits.fitted)} half-splits by person"
        rows = [
            ("fitted", "given", self.share, np.nan, np.nan, "count", self.persons),
            (
                "any on the finest grid",
                "given",
                self.upper_bound,
                np.nan,
                np.nan,
                "certified upper bound",
                self.persons,
            ),
            ("rival", "given", self.rival_share, np.nan, np.nan, "count", self.persons),
        ]
        for label, which in (
            ("fitted", "fitted"),
            ("rival", "rival"),
            ("fitted less rival", "gain"),
        ):
            low, high = splits.interval(which)
            rows.append(
                (
                    label,
                    "held out",
                    splits.mean(which),
                    low,
                    high,
                    method,
                    splits.persons,
                )
            )
        columns = ["chart", "people", "estimate", "low", "high", "method", "n"]
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """Say in plain words how well the chart does."""
        parts = [
            f"{len(self.chart.sizes)} sizes fit {self.share:.1%} of the "
            f"{self.persons} people in '{self.people}'; no chart with these widths "
            f"can fit more than {self.upper_bound:.1%}."
        ]
        if len(self.held_out_splits.fitted):
            gain = self.held_out_splits.mean("gain")
            parts.append(
                f"Fitted to half of the people, it fits {self.held_out:.1%} of the "
                f"other half (95 % interval {self.held_out_low:.1%} to "
                f"{self.held_out_high:.1%}); bands of the same widths centred on "
                f"quantiles fit {self.rival_held_out:.1%} of them."
            )
            if gain < -AS_GOOD:
                parts.append(
                    "The simple rival does better here: the fit follows chance in "
                    "these people. Smooth it (smooth_cm=1 or 2), or use the rival."
                )
            elif gain <= AS_GOOD:
                parts.append("The simple rival is as good here.")
        return " ".join(parts)


def fit_bands(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    step_cm: float | Mapping[str, float] = 1.0,
    group: str = "adult",
    least_step: Mapping[str, float] | None = None,
    least_overlap: Mapping[str, float] | None = None,
    rounding: str | Mapping[str, str] | None = None,
    width_rule: str = "constant",
    least_share: float = 0.0,
    load_limit_kg: float | None = None,
    tolerance: float | None = None,
    splits: int = 10,
    seed: int = 1,
) -> BandFit:
    """Find the graded chart that fits most people, exactly on its grid.

    Every size has an interval in each measure; from size to size no edge falls.
    Among all such charts with low edges on the grid, the one returned covers
    the largest share of the people (see ``sizing.banding.search`` for the
    method and for how ties are broken). People with several joint draws are
    smoothed thereby; with one row each the fit follows the rows.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to width
        In the measure's unit; a sequence gives one width per size.
    sizes : int
        Number of sizes.
    step_cm : float or mapping
        Step of the low edges, in cm, and in kg for body mass.
    group : {"paediatric", "adult", "bariatric"}
        Group of the sizes in the chart.
    least_step : mapping of measure to float, optional
        Each size starts at least this much above its smaller neighbour.
    least_overlap : mapping of measure to float, optional
        Neighbours share at least this much of the measure.
    rounding : {"half", "whole", "five", "inch"} or mapping, optional
        Edges lie on whole multiples of 0.5, 1, 5 (cm or kg) or one inch.
    width_rule : {"constant", "proportional"}
        "proportional": the width holds at the people's median and grows with
        the middle of the band.
    least_share : float
        Every size fits at least this share of the people.
    load_limit_kg : float, optional
        Load limit of every size; heavier people are never covered.
    tolerance : float, optional
        How far above the share the certified bound may stay, as a share; a
        smaller one takes longer. By default 0.005, with four measures 0.01.
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
        If a width, step, share or number of sizes makes no sense, a measure is
        absent, nobody is measured or weighs anything, the sizes outnumber the
        distinct people, or no chart meets the constraints.

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
    one_of("group", group, GROUPS)
    bodies, lay, steps = lay_out(
        people,
        widths=widths,
        sizes=sizes,
        step_cm=step_cm,
        least_step=least_step,
        least_overlap=least_overlap,
        rounding=rounding,
        width_rule=width_rule,
        load_limit_kg=load_limit_kg,
    )
    if not 0 <= least_share < 1:
        raise SizingError(
            str(
                Problem(
                    "the least share of a size makes no sense",
                    "from 0 to below 1",
                    value=least_share,
                )
            )
        )
    fitter = Fitter(bodies, lay, steps, least_share=least_share)
    if tolerance is None:
        tolerance = 0.01 if len(widths) > 3 else 0.005
    low, high = fitter.boxes()
    share = share_covered(bodies, low, high)
    rival_low, rival_high = quantile_boxes(bodies, fitter.axes, sizes)
    source = f"fitted to '{people.name}'"

    def chart(lower: Ints, upper: Ints, name: str) -> SizeChart:
        return chart_of(
            bodies,
            lower,
            upper,
            group=group,
            name=name,
            source=source,
            load_limit_kg=load_limit_kg,
        )

    return BandFit(
        chart(low, high, "fitted chart"),
        share,
        fitter.bound(share, tolerance),
        half_splits(
            bodies,
            fitter.boxes,
            lambda rows: quantile_boxes(bodies, fitter.axes, sizes, rows=rows),
            splits=splits,
            seed=seed,
        ),
        chart(rival_low, rival_high, "quantile-centred bands"),
        share_covered(bodies, rival_low, rival_high),
        people.name,
        people.n,
        {
            "widths": dict(widths),
            "sizes": sizes,
            "step_cm": step_cm,
            "least_step": least_step,
            "least_overlap": least_overlap,
            "rounding": rounding,
            "width_rule": width_rule,
            "least_share": least_share,
            "splits": splits,
            "seed": seed,
        },
    )


def lay_out(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    step_cm: float | Mapping[str, float] = 1.0,
    least_step: Mapping[str, float] | None = None,
    least_overlap: Mapping[str, float] | None = None,
    rounding: str | Mapping[str, str] | None = None,
    width_rule: str = "constant",
    load_limit_kg: float | None = None,
) -> tuple[Bodies, Callable[[Sequence[int]], list[tuple[Axis, Axis]]], list[int]]:
    """Read the people and lay out each measure's candidate bands.

    Parameters are those of ``fit_bands``.
    """
    wide = check_widths(widths, sizes)
    bodies = read_bodies(people, list(wide), load_limit_kg=load_limit_kg)
    distinct = len(np.unique(bodies.values, axis=0))
    if sizes > distinct:
        raise SizingError(
            str(
                Problem(
                    f"{sizes} sizes are more than the {distinct} distinct people",
                    f"up to {distinct} sizes",
                    "ask for fewer sizes",
                    value=sizes,
                )
            )
        )
    steps, makers = [], []
    for d, (measure, each) in enumerate(wide.items()):
        step = _setting(step_cm, measure, 1.0, "step")
        apart = _setting(least_step or 0.0, measure, 0.0, "least step")
        shared = None
        if least_overlap is not None and measure in least_overlap:
            shared = tenths(_setting(least_overlap, measure, 0.0, "least overlap"))
        if tenths(step) < 1:
            raise SizingError(
                str(
                    Problem(
                        "the step of the grid makes no sense",
                        "0.1 or more, in cm (kg for body mass)",
                        column=measure,
                        value=step,
                    )
                )
            )
        values = bodies.values[:, d]
        steps.append(tenths(step))
        makers.append(
            partial(
                make_axis,
                measure,
                values,
                each,
                rounding=rounding.get(measure)
                if isinstance(rounding, Mapping)
                else rounding,
                width_rule=width_rule,
                reference=float(np.median(values)),
                least_step=tenths(apart),
                least_overlap=shared,
                room=(sizes - 1) * tenths(apart),
            )
        )

    def lay(steps: Sequence[int]) -> list[tuple[Axis, Axis]]:
        return [make(step=s) for make, s in zip(makers, steps, strict=True)]

    return bodies, lay, steps


def _setting(
    given: float | Mapping[str, float], measure: str, default: float, what: str
) -> float:
    value = given.get(measure, default) if isinstance(given, Mapping) else given
    if not (isinstance(value, int | float | np.number) and value >= 0):
        raise SizingError(
            str(
                Problem(
                    f"the {what} makes no sense",
                    "a number from 0 up",
                    column=measure,
                    value=value,
                )
            )
        )
    return float(value)
