"""Check what a fit was asked for, and lay out its candidate bands."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from sizing.bands.axis import WIDEST, Axis, Ints, Width, check_widths, make_axis, tenths
from sizing.bands.goal import GOALS, Goal
from sizing.bands.measured import Measured, read_measured
from sizing.charts import SizeChart
from sizing.errors import SizingError, check_number, one_of
from sizing.measures import NO_HIGH, NO_LOW, vocabulary
from sizing.people.people import People

PerMeasure = float | Mapping[str, float]
#: Smoothing as a share of a band's width, where chance would be followed: of 4 to 10 %
#: one of the best on soldiers held out (ANSUR II, widths 10, 20 and 8 cm). Against
#: bands on quantiles, over twenty half-splits, 3 and 4 sizes were 0.04 and 0.10 points
#: below for all soldiers, 0.00 below and 0.20 above for men, 0.22 and 0.28 above for
#: women; 5 sizes 0.34 below for all and 0.55 above for men: see
#: ``Fitter.may_be_simple``.
SMOOTH_SHARE = 0.06


@dataclass(frozen=True)
class Layout:
    makers: tuple[partial[tuple[Axis, Axis]], ...]
    steps: tuple[int, ...]
    fixed: tuple[tuple[Ints, Ints], ...]
    owned_limits: tuple[int, ...]
    limit: int
    sizes: int

    def places(self) -> Iterator[tuple[int, ...]]:
        return combinations(range(self.sizes), len(self.fixed))

    @property
    def limits(self) -> list[Ints]:
        """Each size's load limit, for every place the owned sizes may take."""
        found = []
        for at in self.places():
            limits = np.full(self.sizes, self.limit, dtype=np.int64)
            limits[list(at)] = self.owned_limits
            found.append(limits)
        return found

    def free(self, steps: Sequence[int], *, bounding: bool) -> list[Axis]:
        """Return each measure's axis as if no size were owned."""
        made = zip(self.makers, steps, strict=True)
        return [make(step=step)[int(bounding)] for make, step in made]

    def axes(self, steps: Sequence[int], *, bounding: bool) -> list[list[Axis]]:
        """Return each measure's axis, for every place the owned sizes may take."""
        free, found = self.free(steps, bounding=bounding), []
        for at in self.places():
            axes = list(free)
            for size, (low, high) in zip(at, self.fixed, strict=True):
                ends = zip(axes, low.tolist(), high.tolist(), strict=True)
                axes = [axis.with_fixed(size, *edges) for axis, *edges in ends]
            found.append(axes)
        return found


@dataclass(frozen=True)
class FitSettings:
    """What a fit is asked for: the settings that all fits share.

    - ``widths``: In the measure's unit, for one to four measures; a sequence gives one
      width per size.
    - ``sizes``: Number of sizes, those owned included.
    - ``step_cm``: Step of the low edges, in cm, and in kg for body mass.
    - ``smooth_cm``: Fit as if each measure were blurred by a normal error of this
      standard deviation (cm; kg for body mass). The share told is that of the people as
      given. Up to three measures. None, which ``fit_bands`` takes unless told
      otherwise, smooths three measures of people with one row each by ``SMOOTH_SHARE``
      of each width: unsmoothed, such a fit follows chance, and does worse on other
      people than bands on quantiles.
    - ``fixed``: Sizes already owned: they stay, the others are fitted around them. The
      chart numbers all sizes anew, from the smallest.
    - ``least_step``: Each size starts at least this much above its smaller neighbour.
    - ``least_overlap``: Neighbours share at least this much of the measure.
    - ``rounding``: Edges lie on whole multiples of 0.5, 1, 5 (cm or kg) or one inch.
    - ``objective``: Share who fit a size; mean chance of being read into a size given
      the errors of measurement (up to three measures); 1 less the mean loss (see
      ``sizing.bands.goal.Goal``).
    - ``errors``: Standard deviation of one reading, for "judged"; by default those of
      ``sizing.measures``.
    - ``near, too_large, too_small``: For "loss": within what distance a size misses
      someone by little, and what it then costs (0 to 1) if that sling is too large, or
      too small, for her. Too large weighs twice by default (our choice, no source: a
      person can slip out).
    - ``load_limit_kg``: Load limit of the new sizes. Sizes owned keep their own; a size
      covers nobody heavier than its limit. Where a size owned may lift less than new
      ones on both sides of it, the search counts whoever fits both of these and is too
      heavy for the one between twice: the bound holds all the same, the chart may then
      not be the very best, and the gap says by how much at most.
    """

    widths: Mapping[str, Width]
    sizes: int
    step_cm: PerMeasure = 1.0
    smooth_cm: PerMeasure | None = 0.0
    fixed: SizeChart | None = None
    least_step: Mapping[str, float] | None = None
    least_overlap: Mapping[str, float] | None = None
    rounding: str | Mapping[str, str] | None = None
    objective: str = "covered"
    errors: Mapping[str, float] | None = None
    near: PerMeasure = 2.0
    #: A choice of ours: slipping through is weighed twice as heavily.
    too_large: float = 1.0
    too_small: float = 0.5
    load_limit_kg: float | None = None

    def goal(self) -> Goal:
        """Return what is to be made as large as it can be."""
        one_of("objective", self.objective, GOALS)
        check_number("the cost of a size too large", self.too_large, least=0, most=1)
        check_number("the cost of a size too small", self.too_small, least=0, most=1)
        if self.objective == "judged":
            usual = dict(vocabulary().set_index("name")["error_cm"])
            given = {**usual, **(self.errors or {})}
            return Goal("judged", sd=tuple(10 * float(given[m]) for m in self.widths))
        if self.objective == "loss":
            near = tuple(tenths(_per(self.near, m, 0.0)) for m in self.widths)
            return Goal("loss", (), near, self.too_large, self.too_small)
        return Goal()


def check_request(
    people: People, asked: FitSettings
) -> tuple[Measured, Layout, Goal, Goal]:
    """Check what a fit is asked for: people, candidate bands, goal, smoothed goal."""
    sizes, fixed = asked.sizes, asked.fixed
    wide = check_widths(asked.widths, sizes)
    if len(wide) > 4:
        _refuse("too many measures to band by", "one to four measures", len(wide))
    for measure in wide:
        _setting(asked.near, measure, 2.0, "distance that counts as near")
        _setting(asked.errors or {}, measure, 0.0, "measuring error")
    if asked.load_limit_kg is not None:
        check_number("the load limit", asked.load_limit_kg, above=0)
    owned = _owned(fixed, list(wide), sizes)
    owned_limits = () if fixed is None else tuple(map(int, fixed.load_limits()))
    limit = NO_HIGH if asked.load_limit_kg is None else tenths(asked.load_limit_kg)
    new = () if len(owned) == sizes else (limit,)
    measured = read_measured(people, list(wide), limits=[*owned_limits, *new])
    _check_distinct(measured, sizes)
    goal = smoothed = asked.goal()
    if asked.smooth_cm is None:
        chance = len(wide) == 3 and people.draws == 1 and asked.objective == "covered"
        blur = [SMOOTH_SHARE * float(np.mean(w)) * chance for w in wide.values()]
    else:
        blur = [10 * _setting(asked.smooth_cm, m, 0.0, "smoothing") for m in wide]
    if any(blur):
        both = np.hypot(goal.sd or (0.0,) * len(blur), blur)
        smoothed = replace(goal, sd=tuple(float(v) for v in both))
    room = int(np.ceil(4 * max([*smoothed.sd, *goal.sd], default=0.0)))
    steps, makers = [], []
    for values, (measure, each) in zip(measured.values.T, wide.items(), strict=True):
        step = tenths(_setting(asked.step_cm, measure, 1.0, "step"))
        if step < 1:
            what = "the step of the grid makes no sense"
            _refuse(what, "0.1 or more", asked.step_cm)
        steps.append(step)
        rule, lap = asked.rounding, asked.least_overlap
        make = partial(
            make_axis,
            measure,
            values,
            each,
            room=room,
            rounding=rule.get(measure) if isinstance(rule, Mapping) else rule,
            least_step=tenths(
                _setting(asked.least_step or {}, measure, 0.0, "least step")
            ),
            least_overlap=tenths(_setting(lap or {}, measure, 0.0, "least overlap"))
            if measure in (lap or {})
            else None,
        )
        makers.append(make)
    layout = Layout(tuple(makers), tuple(steps), owned, owned_limits, limit, sizes)
    return measured, layout, goal, smoothed


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


def _per(given: PerMeasure, measure: str, default: float) -> float:
    return given.get(measure, default) if isinstance(given, Mapping) else given


def _setting(given: PerMeasure, measure: str, default: float, what: str) -> float:
    value = _per(given, measure, default)
    check_number(f"the {what}", value, least=0, most=WIDEST)
    return float(value)


def _refuse(what: str, allowed: str, value: object) -> None:
    raise SizingError(what, allowed=allowed, action="change the setting", value=value)
