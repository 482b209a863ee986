"""Check what a fit was asked for, and lay out its candidate bands."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from sizing.bands import cells
from sizing.bands.goal import GOALS, Goal, Measured, read_measured
from sizing.charts import SizeChart
from sizing.errors import SizingError, check_number, one_of
from sizing.measures import NO_HIGH, NO_LOW, vocabulary
from sizing.people.people import People

PerMeasure = float | Mapping[str, float]
#: Smoothing as a share of a band's width, where chance would be followed: of 4 to 10 %
#: one of the best on soldiers held out (ANSUR II, widths 10, 20 and 8 cm; 3 to 5 sizes
#: 0.34 points below bands on quantiles to 0.55 above: see ``Fitter.may_be_simple``).
SMOOTH_SHARE = 0.06


@dataclass(frozen=True)
class Layout:
    makers: tuple[partial[tuple[cells.Axis, cells.Axis]], ...]
    steps: tuple[int, ...]
    fixed: tuple[tuple[cells.Ints, cells.Ints], ...]
    owned_limits: tuple[int, ...]
    limit: int
    sizes: int

    def places(self) -> Iterator[tuple[int, ...]]:
        return combinations(range(self.sizes), len(self.fixed))

    @property
    def limits(self) -> list[cells.Ints]:
        """Each size's load limit, for every place the owned sizes may take."""
        found = []
        for at in self.places():
            limits = np.full(self.sizes, self.limit, dtype=np.int64)
            limits[list(at)] = self.owned_limits
            found.append(limits)
        return found

    def free(self, steps: Sequence[int], *, bounding: bool) -> list[cells.Axis]:
        """Return each measure's axis as if no size were owned."""
        made = zip(self.makers, steps, strict=True)
        return [make(step=step)[int(bounding)] for make, step in made]

    def axes(self, steps: Sequence[int], *, bounding: bool) -> list[list[cells.Axis]]:
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

    - ``widths, sizes``: In the measure's unit, for one to four measures; a sequence
      gives one width per size. Sizes owned are included.
    - ``step_cm``: Step of the low edges, in cm, and in kg for body mass.
    - ``smooth_cm``: Fit as if each measure (up to three) were blurred by a normal error
      of this standard deviation; the share told is that of the people as given. None,
      which ``fit_bands`` takes unless told otherwise, smooths three measures of people
      with one row each by ``SMOOTH_SHARE`` of each width, lest the fit follow chance.
    - ``fixed``: Sizes owned: they stay, the others are fitted around them.
    - ``least_step, least_overlap``: By how much each size starts above its smaller
      neighbour at least, and what neighbours share.
    - ``rounding``: Edges lie on whole multiples of 0.5, 1, 5 (cm or kg) or one inch.
    - ``objective, errors, near, too_large, too_small``: See ``sizing.bands.goal.Goal``;
      errors of one reading are by default those of the vocabulary.
    - ``load_limit_kg``: Of the new sizes; a size covers nobody heavier than its limit.
      Where an owned size may lift less than new ones on both sides of it, who fits both
      of these and is too heavy for it is counted twice: the bound holds all the same.
    """

    widths: Mapping[str, cells.Width]
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
    #: A choice of ours, no source: slipping through is weighed twice as heavily.
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
            near = tuple(cells.tenths(_per(self.near, m, 0.0)) for m in self.widths)
            return Goal("loss", (), near, self.too_large, self.too_small)
        return Goal()


def check_request(
    people: People, asked: FitSettings
) -> tuple[Measured, Layout, Goal, Goal]:
    """Check what a fit is asked for: people, candidate bands, goal, smoothed goal."""
    sizes, fixed = asked.sizes, asked.fixed
    wide = cells.check_widths(asked.widths, sizes)
    if len(wide) > 4:
        _refuse("too many measures to band by", "one to four measures", len(wide))
    _checked(asked.near, wide, 2.0, "distance that counts as near")
    _checked(asked.errors or {}, wide, 0.0, "measuring error")
    if asked.load_limit_kg is not None:
        check_number("the load limit", asked.load_limit_kg, above=0)
    owned = _owned(fixed, list(wide), sizes)
    owned_limits = () if fixed is None else tuple(map(int, fixed.load_limits()))
    limit = (
        NO_HIGH if asked.load_limit_kg is None else cells.tenths(asked.load_limit_kg)
    )
    new = () if len(owned) == sizes else (limit,)
    measured = read_measured(people, list(wide), limits=[*owned_limits, *new])
    _check_distinct(measured, sizes)
    goal = smoothed = asked.goal()
    if asked.smooth_cm is None:
        chance = len(wide) == 3 and people.draws == 1 and asked.objective == "covered"
        blur = [SMOOTH_SHARE * float(np.mean(w)) * chance for w in wide.values()]
    else:
        blur = [10 * x for x in _checked(asked.smooth_cm, wide, 0.0, "smoothing")]
    if any(blur):
        both = np.hypot(goal.sd or (0.0,) * len(blur), blur)
        smoothed = replace(goal, sd=tuple(float(v) for v in both))
    steps = [cells.tenths(step) for step in _checked(asked.step_cm, wide, 1.0, "step")]
    if min(steps) < 1:
        _refuse("the step of the grid makes no sense", "0.1 or more", asked.step_cm)
    rule, lap = asked.rounding, asked.least_overlap or {}
    apart = _checked(asked.least_step or {}, wide, 0.0, "least step")
    laps = _checked(lap, wide, 0.0, "least overlap")
    room = int(np.ceil(4 * max([*smoothed.sd, *goal.sd], default=0.0)))
    makers = [
        partial(
            cells.make_axis,
            measure,
            measured.values[:, d],
            wide[measure],
            room=room,
            rounding=rule.get(measure) if isinstance(rule, Mapping) else rule,
            least_step=cells.tenths(apart[d]),
            least_overlap=cells.tenths(laps[d]) if measure in lap else None,
        )
        for d, measure in enumerate(wide)
    ]
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
) -> tuple[tuple[cells.Ints, cells.Ints], ...]:
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


def _checked(
    given: PerMeasure, measures: Iterable[str], default: float, what: str
) -> list[float]:
    """Return a setting of each measure, or refuse what makes no sense."""
    found = [_per(given, measure, default) for measure in measures]
    for value in found:
        check_number(f"the {what}", value, least=0, most=cells.WIDEST)
    return [float(value) for value in found]


def _refuse(what: str, allowed: str, value: object) -> None:
    raise SizingError(what, allowed=allowed, action="change the setting", value=value)
