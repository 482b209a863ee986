"""Check what a fit was asked for, and lay out its candidate bands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from sizing.bands.axis import (
    WIDEST,
    Axis,
    Ints,
    Width,
    check_widths,
    make_axis,
    tenths,
)
from sizing.bands.goal import Goal, make_goal
from sizing.bands.measured import Measured, read_measured
from sizing.charts.size_chart import SizeChart
from sizing.errors import SizingError, check_number
from sizing.measures.edges import NO_HIGH, NO_LOW
from sizing.people.people import People

PerMeasure = float | Mapping[str, float]


@dataclass(frozen=True)
class Layout:
    """The candidate bands of a fit, on any step."""

    makers: tuple["partial[tuple[Axis, Axis]]", ...]
    steps: tuple[int, ...]
    fixed: tuple[tuple[Ints, Ints], ...]
    owned_limits: tuple[int, ...]
    limit: int
    sizes: int

    @property
    def limits(self) -> list[Ints]:
        """Each size's load limit, for every place the owned sizes may take."""
        found = []
        for at in combinations(range(self.sizes), len(self.fixed)):
            limits = np.full(self.sizes, self.limit, dtype=np.int64)
            limits[list(at)] = self.owned_limits
            found.append(limits)
        return found

    def axes(self, steps: Sequence[int], *, bounding: bool) -> list[list[Axis]]:
        """Return each measure's axis, for every place the owned sizes may take."""
        free = [
            make(step=step)[int(bounding)]
            for make, step in zip(self.makers, steps, strict=True)
        ]
        found = []
        for at in combinations(range(self.sizes), len(self.fixed)):
            axes = list(free)
            for size, (low, high) in zip(at, self.fixed, strict=True):
                axes = [
                    axis.with_fixed(size, int(low[d]), int(high[d]))
                    for d, axis in enumerate(axes)
                ]
            found.append(axes)
        return found


@dataclass(frozen=True)
class Request:
    """A checked request: people, candidate bands, goal and constraints."""

    measured: Measured
    layout: Layout
    goal: Goal
    search_goal: Goal


def check_request(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    step_cm: PerMeasure = 1.0,
    smooth_cm: PerMeasure = 0.0,
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
) -> Request:
    """Check the settings of ``fit_bands`` and lay out the candidate bands."""
    wide = check_widths(widths, sizes)
    if len(wide) > 4:
        _refuse("too many measures to band by", "one to four measures", len(wide))
    for measure in wide:
        _setting(near, measure, 2.0, "distance that counts as near")
        _setting(errors or {}, measure, 0.0, "measuring error")
    if load_limit_kg is not None:
        check_number("the load limit", load_limit_kg, above=0)
    owned = _owned(fixed, list(wide), sizes)
    owned_limits = () if fixed is None else tuple(map(int, fixed.load_limits()))
    limit = NO_HIGH if load_limit_kg is None else tenths(load_limit_kg)
    new = () if len(owned) == sizes else (limit,)
    measured = read_measured(people, list(wide), limits=[*owned_limits, *new])
    _check_distinct(measured, sizes)
    goal = make_goal(
        list(wide),
        objective=objective,
        errors=errors,
        near=near,
        too_large=too_large,
        too_small=too_small,
    )
    blur = [10 * _setting(smooth_cm, m, 0.0, "smoothing") for m in wide]
    search_goal = goal
    if any(blur):
        errors_sd = goal.sd or (0.0,) * len(blur)
        both = np.hypot(errors_sd, blur)
        search_goal = replace(goal, sd=tuple(float(v) for v in both))
    spread = int(np.ceil(4 * max([*search_goal.sd, *goal.sd], default=0.0)))
    steps, makers = [], []
    for values, (measure, each) in zip(measured.values.T, wide.items(), strict=True):
        step = tenths(_setting(step_cm, measure, 1.0, "step"))
        if step < 1:
            _refuse("the step of the grid makes no sense", "0.1 or more", step_cm)
        steps.append(step)
        apart = tenths(_setting(least_step or 0.0, measure, 0.0, "least step"))
        shared = None
        if least_overlap is not None and measure in least_overlap:
            shared = tenths(_setting(least_overlap, measure, 0.0, "least overlap"))
        rule = rounding.get(measure) if isinstance(rounding, Mapping) else rounding
        makers.append(
            partial(
                make_axis,
                measure,
                values,
                each,
                rounding=rule,
                least_step=apart,
                least_overlap=shared,
                room=spread,
            )
        )
    layout = Layout(tuple(makers), tuple(steps), owned, owned_limits, limit, sizes)
    return Request(measured, layout, goal, search_goal)


def _check_distinct(measured: Measured, sizes: int) -> None:
    # One measure alone mostly settles it, without sorting whole rows.
    distinct = max(int((np.bincount(x) > 0).sum()) for x in measured.values.T)
    if sizes > distinct:
        distinct = len(np.unique(measured.values, axis=0))
    if sizes > distinct:
        _refuse(
            f"{sizes} sizes are more than the {distinct} distinct people",
            f"up to {distinct} sizes",
            sizes,
        )


def _owned(
    fixed: SizeChart | None, measures: list[str], sizes: int
) -> tuple[tuple[Ints, Ints], ...]:
    """Return the boxes of the sizes already owned, or refuse them."""
    if fixed is None:
        return ()
    if len(fixed.sizes) > sizes:
        _refuse(
            f"{len(fixed.sizes)} sizes are owned already",
            "a number of sizes that includes those owned",
            sizes,
        )
    low, high = (
        np.column_stack([fixed.edges(m)[end] for m in measures]) for end in (0, 1)
    )
    if (low == NO_LOW).any() or (high == NO_HIGH).any():
        _refuse(
            "a size already owned lacks an edge in a measure to band by",
            "a low and a high edge in " + ", ".join(measures),
            fixed.name,
        )
    if (np.diff(low, axis=0) < 0).any() or (np.diff(high, axis=0) < 0).any():
        _refuse(
            "the sizes already owned are not in order",
            "no edge falls from one size to the next larger",
            fixed.name,
        )
    return tuple((low[k], high[k]) for k in range(len(low)))


def _setting(given: PerMeasure, measure: str, default: float, what: str) -> float:
    value = given.get(measure, default) if isinstance(given, Mapping) else given
    check_number(f"the {what}", value, least=0, most=WIDEST)
    return float(value)


def _refuse(what: str, allowed: str, value: object) -> None:
    raise SizingError(what, allowed=allowed, action="change the setting", value=value)
