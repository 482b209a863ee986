"""How far the share covered moves when an assumption is another."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits
from sizing.errors import check_seed, one_of
from sizing.kinds import check_columns
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, to_tenths, vocabulary
from sizing.people.body.model import moments
from sizing.people.classes import ADULT_AGE
from sizing.people.people import People, layout
from sizing.resources import closing, source_table, texts
from sizing.stats.estimates import Layout, complete_df, join_influences
from sizing.stats.formulas import LEVEL, Floats, difference_interval
from sizing.words.numbers import points_interval, share

_T = texts("study")
Flags = npt.NDArray[np.bool_]
COLUMNS = ["assumption", "setting", "label", "share", "estimate", "low", "high"]
COLUMNS += ["method", "n", "source"]


@dataclass(frozen=True)
class State:
    """Bodies (cm, kg; NaN where missing), weights by ``place``, chart of a setting."""

    values: Mapping[str, Floats]
    weight: Floats
    chart: SizeChart
    people: People
    place: Layout
    seed: int
    refit: Callable[..., SizeChart] | None = None

    def covered(self) -> Flags:
        """Return who has at least one size, (draws, persons)."""
        tenths = {measure: to_tenths(x) for measure, x in self.values.items()}
        masks = [fits.size_masks(tenths, part) for part in fits.parts(self.chart)]
        covered: Flags = np.any([mask > 0 for mask in masks], axis=0)
        return covered[self.place.rows]

    def column(self, name: str) -> Floats:
        if name not in self.people.frame:
            return np.full(len(self.people.frame), np.nan)
        column = self.people.frame[name]
        return np.asarray(column.to_numpy(dtype=float, na_value=np.nan), float)

    def who(self, group: str) -> Flags:
        age = self.column("age_years")
        grown = {"adults": age >= ADULT_AGE, "children": age < ADULT_AGE}
        return grown.get(group, np.ones(len(age), dtype=bool))

    def drawn(self, measure: str) -> Flags:
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
    refit: Callable[..., SizeChart] | None = None,
) -> State:
    empty = State({}, place.weight, chart, people, place, seed, refit)
    known = [m for m in fits.limits(chart) if m in people.frame]
    return replace(empty, values={m: empty.column(m) for m in known})


def _moved(
    state: State, row: pd.Series, move: Callable[[str, Floats], Floats], *, drawn: bool
) -> State | None:
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


@dataclass(frozen=True)
class Sensitivity:
    """What each assumption does to the share of people with a size."""

    table: pd.DataFrame
    share: float
    chart: str
    people: str
    widths: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def biggest(self) -> pd.Series:
        return self.table.iloc[int(self.table["estimate"].abs().argmax())]

    def headline(self) -> str:
        """Return which assumption matters most, its share and the change."""
        row = self.biggest
        told = {"share": share(row["share"]), "change": points_interval(row)}
        return str(_T.said["moves"].format(setting=row["setting"], **told))

    def summary(self) -> str:
        return "\n".join([self.headline(), closing()])


def assumptions() -> pd.DataFrame:
    """Return ``data_sources/assumptions.csv``, its sets of measures by their names.

    A setting of several rows makes all their changes; ``kind`` is of ``ALTERATIONS``.
    """
    whole = {
        "all but body_mass_kg": " ".join(MEASURES[1:]),
        "all drawn": " ".join(SEATED_AND_GIRTHS),
    }
    table = source_table("assumptions.csv").fillna({"measures": ""})
    return table.replace({"measures": whole})


def sensitivity(
    people: People,
    chart: SizeChart,
    *,
    settings: pd.DataFrame | None = None,
    seed: int = 1,
    refit: Callable[..., SizeChart] | None = None,
) -> Sensitivity:
    """Estimate how the share covered moves with each assumption, one at a time.

    Parameters
    ----------
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, in cm and kg.
    settings : DataFrame, optional
        Other settings in the form of ``sizing.coverage.assumptions()``.
    seed : int
        Of the measuring errors drawn.
    refit : callable, optional
        Fits the chart anew: ``refit(scale)`` with widths multiplied by ``scale``,
        ``refit(too_large=w)`` for the least harm, a size too large weighing ``w``
        times. Without it, other widths are taken about the middle of each band.

    Returns
    -------
    Sensitivity
        ``.table``: assumption, setting, label; share (covered under that setting);
        estimate, low, high (change of the share, from -1 to 1); method; n (persons);
        source (of the setting's size). Settings that change nothing by their nature
        (the chart limits no such measure, nobody is of that kind) are left out.
        ``.share``: as things are assumed. ``.widths``: scale of the widths, share.

    Raises
    ------
    SizingError
        As ``estimate_coverage``, or if a kind of setting is unknown.

    Notes
    -----
    The change is paired: its variance in one draw is that of the total of
    ``w' (y' - p') / sum w' - w (y - p) / sum w``, with ' after the change, over
    persons, or by stratum and unit; draws are joined as ``estimate_coverage`` joins
    them; t interval. Nothing is drawn anew: drawn bodies are moved where a model is
    another. The interval tells how well these people know the change, not whether the
    setting is likely.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = sensitivity(load_people("bariatric", draws=1), demo_chart())
    >>> bool(abs(found.biggest["estimate"]) == found.table["estimate"].abs().max())
    True
    """
    check_seed(seed)
    chosen = assumptions() if settings is None else settings
    needed = ("assumption", "setting", "label", "kind", "source")
    check_columns(chosen, needed, "the settings")
    place = layout(people, chart.measures)
    base = start(people, chart, place, seed, refit)
    before = base.covered()
    method = f"{100 * LEVEL:.0f} % t interval of the paired change; "
    # A bootstrap would say the same of a mean, for more time.
    method += "linearisation by person" if place.unit is None else place.how
    method += place.joined
    rows, widths = [], []
    keys = ["assumption", "setting", "label"]
    for names, changes in chosen.groupby(keys, sort=False):
        state, changed = base, False
        for _, part in changes.iterrows():
            one_of("kind of setting", part["kind"], list(ALTERATIONS))
            other = ALTERATIONS[part["kind"]](state, part)
            if other is not None:
                state, changed = other, True
        if changed:
            change = _change(place, before, state.covered(), state.weight)
            source = "; ".join(dict.fromkeys(changes["source"]))
            told = {"method": method, "n": people.n, "source": source}
            rows.append(dict(zip(keys, names, strict=True)) | change | told)
            if changes["kind"].eq("width").all():
                widths.append((float(changes["amount"].iloc[0]), change["share"]))
    share = float(np.mean(before @ place.weight) / place.weight.sum())
    widths = sorted([*widths, (1.0, share)]) if widths else []
    table = pd.DataFrame(rows, columns=COLUMNS)
    by_width = pd.DataFrame(widths, columns=["scale", "share"])
    return Sensitivity(table, share, chart.name, people.name, by_width)


def _change(
    place: Layout,
    before: npt.NDArray[np.bool_],
    after: npt.NDArray[np.bool_],
    weight: Floats,
) -> dict[str, Any]:
    old, new = place.weight / place.weight.sum(), weight / weight.sum()
    p_old, p_new = before @ old, after @ new
    influence = new * (after - p_new[:, None]) - old * (before - p_old[:, None])
    complete = complete_df(place)
    if place.unit is None and (weight != place.weight).any():
        # Other weights may leave fewer people to tell the share after.
        complete = max(min(complete, 1 / float(np.square(new).sum()) - 1), 1.0)
    mean, total, df = join_influences(place, p_new - p_old, influence, complete)
    low, high = difference_interval(mean, total, df, complete + 1)
    return {
        "share": float(p_new.mean()),
        "estimate": float(mean),
        "low": float(low),
        "high": float(high),
    }
