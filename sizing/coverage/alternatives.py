"""What becomes of people and chart when one assumption is another."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits, parts, size_masks
from sizing.measures import SEATED_AND_GIRTHS, to_tenths, vocabulary
from sizing.people.body.moments import moments
from sizing.people.classes import ADULT_AGE
from sizing.people.people import People
from sizing.stats.layout import Floats, Layout

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class State:
    """Bodies, weights and chart under one setting.

    ``values`` (cm and kg, NaN where missing) are what the chart limits and the people
    have, row by row; ``weight`` stands in the order of ``place``; ``seed`` draws the
    measuring errors. ``refit`` fits the chart anew: ``refit(scale)`` with its widths
    multiplied, ``refit(too_large=2)`` for the least harm at this weight of a size too
    large; None where the chart was not fitted.
    """

    values: Mapping[str, Floats]
    weight: Floats
    chart: SizeChart
    people: People
    place: Layout
    seed: int
    refit: "Callable[..., SizeChart] | None" = None

    def covered(self) -> Flags:
        """Return who has at least one size, draws x persons."""
        tenths = {measure: to_tenths(x) for measure, x in self.values.items()}
        masks = [size_masks(tenths, part) for part in parts(self.chart)]
        covered: Flags = np.any([mask > 0 for mask in masks], axis=0)
        return covered[self.place.rows]

    def column(self, name: str) -> Floats:
        """Return a column of the people as numbers, NaN where it is missing."""
        if name not in self.people.frame:
            return np.full(len(self.people.frame), np.nan)
        column = self.people.frame[name]
        return np.asarray(column.to_numpy(dtype=float, na_value=np.nan), float)

    def who(self, group: str) -> Flags:
        """Return which rows are adults, children or everyone."""
        age = self.column("age_years")
        every = np.ones(len(age), dtype=bool)
        return {"adults": age >= ADULT_AGE, "children": age < ADULT_AGE}.get(
            group, every
        )

    def drawn(self, measure: str) -> Flags:
        """Return the rows in which nobody measured it."""
        if measure not in self.people.evidence:
            return np.zeros(len(self.people.frame), dtype=bool)
        return (self.people.evidence[measure] != "measured").to_numpy()


#: Returns the state under a setting, or None where it changes nothing by its
#: nature: the chart limits no such measure, nobody is of that group.
Alter = Callable[[State, pd.Series], State | None]


def start(
    people: People,
    chart: SizeChart,
    place: Layout,
    seed: int,
    refit: "Callable[..., SizeChart] | None" = None,
) -> State:
    """Return the state before any assumption is changed."""
    empty = State({}, place.weight, chart, people, place, seed, refit)
    known = [m for m in limits(chart) if m in people.frame]
    return replace(empty, values={m: empty.column(m) for m in known})


def _moved(
    state: State, row: pd.Series, move: Callable[[str, Floats], Floats], *, drawn: bool
) -> State | None:
    """Move the named measures of the named people."""
    who = state.who(row["who"])
    values = dict(state.values)
    for measure in str(row["measures"]).split():
        if measure not in values:
            continue
        here = who & state.drawn(measure) if drawn else who
        if here.any():
            moved = move(measure, values[measure])
            values[measure] = np.where(here, moved, values[measure])
    same = all(values[measure] is state.values[measure] for measure in values)
    return None if same else replace(state, values=values)


def _form(state: State, row: pd.Series) -> State | None:
    """Move the curves where nobody of that build was measured."""
    measures = [m for m in SEATED_AND_GIRTHS if m in state.values]
    build = np.column_stack(
        [state.column(name) for name in ("body_mass_kg", "stature_cm", "age_years")]
    )
    frame = state.people.frame
    if not measures or "sex" not in frame:
        return None
    known = np.flatnonzero(np.isfinite(build).all(axis=1))
    # Draws mostly share a person's build: each is worked out once.
    sex = frame["sex"].to_numpy(dtype=object)
    told = pd.DataFrame(build[known]).assign(male=(sex == "male")[known])
    group = told.groupby([0, 1, 2, "male"], sort=False).ngroup().to_numpy()
    first = known[np.unique(group, return_index=True)[1]]
    spread = np.zeros((len(frame), len(measures)))
    found = moments(sex[first], *build[first].T, measures=measures)
    spread[known] = found.form_shift_sd[group]
    if not spread.any():
        return None
    factor = dict(zip(measures, np.exp(row["amount"] * spread).T, strict=True))
    return _moved(state, row, lambda measure, x: x * factor[measure], drawn=True)


def _weighted(state: State, weight: Floats) -> State | None:
    was = state.weight / state.weight.sum()
    if weight.sum() <= 0 or np.allclose(weight / weight.sum(), was):
        return None
    return replace(state, weight=weight)


def _heavy_share(state: State, row: pd.Series) -> State | None:
    """Let adults of a body mass index of 40 or more be a given share of adults."""
    rows = state.place.rows
    bmi = state.column("body_mass_kg") / (state.column("stature_cm") / 100) ** 2
    adult = state.who("adults")[rows[0]]
    heavy = adult & (bmi[rows].mean(axis=0) >= 40)
    own, all_adults = state.weight[heavy].sum(), state.weight[adult].sum()
    if not 0 < own < all_adults:
        return None
    share = float(row["amount"])
    weight = state.weight.copy()
    weight[heavy] *= share * all_adults / own
    weight[adult & ~heavy] *= (1 - share) * all_adults / (all_adults - own)
    return _weighted(state, weight)


def _only_walking(state: State, row: pd.Series) -> State | None:
    """Keep adults who have (amount 1) serious difficulty walking, or all others."""
    rows = state.place.rows[0]
    walks_badly = state.who("adults")[rows] & (
        state.column("walking_difficulty")[rows] == 1
    )
    if not walks_badly.any():
        return None
    keep = walks_badly if row["amount"] == 1 else ~walks_badly
    return _weighted(state, np.where(keep, state.weight, 0.0))


def _half_open(state: State, row: pd.Series) -> State | None:
    frame = state.chart.frame.copy()
    # Bodies are compared in whole tenths, so that a tenth less excludes the edge.
    for column in [c for c in frame if str(c).endswith("_high")]:
        frame[column] = frame[column] - 0.1
    return replace(state, chart=replace(state.chart, frame=frame))


def _width(state: State, row: pd.Series) -> State | None:
    """Make every band wider or narrower: fitted anew, or else about its middle."""
    scale = float(row["amount"])
    if state.refit is not None:
        return replace(state, chart=state.refit(scale))
    frame = state.chart.frame.copy()
    for measure in str(row["measures"]).split():
        if measure in state.chart.measures:
            ends = frame[[f"{measure}_low", f"{measure}_high"]].to_numpy(float)
            middle = ends.mean(axis=1, keepdims=True)
            both = np.isfinite(middle)
            moved = np.where(both, middle + scale * (ends - middle), ends)
            frame[[f"{measure}_low", f"{measure}_high"]] = moved
    same = frame.equals(state.chart.frame)
    return None if same else replace(state, chart=replace(state.chart, frame=frame))


def _error(state: State, row: pd.Series) -> State | None:
    """Add a drawn measuring error to every body."""
    typical = vocabulary().set_index("name")["error_cm"]
    # The same error at every amount: settings differ by its size alone.
    rng = np.random.default_rng((state.seed, len(state.values)))
    values = {
        m: x + rng.standard_normal(len(x)) * float(row["amount"]) * float(typical[m])
        for m, x in state.values.items()
    }
    return replace(state, values=values)


ALTERATIONS: dict[str, Alter] = {
    "shift": lambda state, row: _moved(
        state, row, lambda _, x: x + row["amount"], drawn=False
    ),
    "shift_drawn": lambda state, row: _moved(
        state, row, lambda _, x: x + row["amount"], drawn=True
    ),
    "scale_drawn": lambda state, row: _moved(
        state, row, lambda _, x: x * (1 + row["amount"]), drawn=True
    ),
    "form": _form,
    "equal_weights": lambda state, _: _weighted(
        state, (state.weight > 0).astype(float)
    ),
    "heavy_share": _heavy_share,
    "only_walking": _only_walking,
    "half_open": _half_open,
    "width": _width,
    "least_harm": lambda state, row: (
        state.refit
        and replace(state, chart=state.refit(too_large=float(row["amount"])))
    ),
    "whole_units": lambda state, _: replace(
        state, values={m: np.floor(x + 0.5) for m, x in state.values.items()}
    ),
    "error": _error,
}
