"""How far the share covered moves when an assumption is another."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits
from sizing.errors import check_columns, check_seed, one_of
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
Refit = Callable[..., SizeChart] | None
COLUMNS = ["assumption", "setting", "label", "share", "estimate", "low", "high"]
COLUMNS += ["method", "n", "source"]
BUILD = ("body_mass_kg", "stature_cm", "age_years")


@dataclass(frozen=True)
class State:
    """Bodies (cm, kg; NaN where missing), weights by ``place``, chart of a setting."""

    values: Mapping[str, Floats]
    weight: Floats
    chart: SizeChart
    people: People
    place: Layout
    seed: int
    refit: Refit = None

    def covered(self) -> Flags:
        """Return who has at least one size, (draws, persons)."""
        tenths = {measure: to_tenths(x) for measure, x in self.values.items()}
        masks = [fits.size_masks(tenths, part) for part in fits.parts(self.chart)]
        covered: Flags = np.any([mask > 0 for mask in masks], axis=0)
        return covered[self.place.rows]

    def column(self, name: str) -> Floats:
        column = self.people.frame.get(name, pd.Series(np.nan, self.people.frame.index))
        return np.asarray(column.to_numpy(dtype=float, na_value=np.nan), float)

    def who(self, group: str) -> Flags:
        age = self.column("age_years")
        grown = {"adults": age >= ADULT_AGE, "children": age < ADULT_AGE}
        return grown.get(group, np.ones(len(age), dtype=bool))

    def drawn(self, measure: str) -> Flags:
        if measure not in self.people.evidence:
            return np.zeros(len(self.people.frame), dtype=bool)
        return (self.people.evidence[measure] != "measured").to_numpy()

    def moved(
        self, row: pd.Series, move: Callable[[str, Floats], Floats], drawn: bool = True
    ) -> "State | None":
        """Move the measures named, of whom is named; None where nobody is."""
        who, values = self.who(row["who"]), dict(self.values)
        for measure in set(str(row["measures"]).split()) & set(values):
            here = who & self.drawn(measure) if drawn else who
            if here.any():
                x = values[measure]
                values[measure] = np.where(here, move(measure, x), x)
        same = all(values[measure] is self.values[measure] for measure in values)
        return None if same else replace(self, values=values)

    def weighed(self, weight: Floats) -> "State | None":
        was = self.weight / self.weight.sum()
        if weight.sum() <= 0 or np.allclose(weight / weight.sum(), was):
            return None
        return replace(self, weight=weight)


#: Returns the state under a setting, or None where it changes nothing by its
#: nature: the chart limits no such measure, nobody is of that group.
Alter = Callable[[State, pd.Series], State | None]


def start(
    people: People, chart: SizeChart, place: Layout, seed: int, refit: Refit = None
) -> State:
    empty = State({}, place.weight, chart, people, place, seed, refit)
    known = [m for m in fits.limits(chart) if m in people.frame]
    return replace(empty, values={m: empty.column(m) for m in known})


def _form(state: State, row: pd.Series) -> State | None:
    measures = [m for m in SEATED_AND_GIRTHS if m in state.values]
    frame, needed = state.people.frame, ["sex", *BUILD]
    if not measures or not set(needed) <= set(frame):
        return None
    known = frame[needed].notna().all(axis=1).to_numpy()
    # Draws mostly share a person's build: each is worked out once.
    builds = frame.loc[known, needed].groupby(needed, sort=False)
    sex, *build = builds.head(1).to_numpy(dtype=object).T
    found = moments(sex, *(x.astype(float) for x in build), measures=measures)
    spread = np.zeros((len(frame), len(measures)))
    spread[known] = found.form_shift_sd[builds.ngroup()]
    if not spread.any():
        return None
    factor = dict(zip(measures, np.exp(row["amount"] * spread).T, strict=True))
    return state.moved(row, lambda measure, x: x * factor[measure])


def _heavy_share(state: State, row: pd.Series) -> State | None:
    """Let adults of a body mass index of 40 or more be a given share of adults."""
    rows, share = state.place.rows, float(row["amount"])
    bmi = state.column("body_mass_kg") / (state.column("stature_cm") / 100) ** 2
    adult = state.who("adults")[rows[0]]
    heavy = adult & (bmi[rows].mean(axis=0) >= 40)
    own, all_adults = state.weight[heavy].sum(), state.weight[adult].sum()
    if not 0 < own < all_adults:
        return None
    weight = state.weight.copy()
    weight[heavy] *= share * all_adults / own
    weight[adult & ~heavy] *= (1 - share) * all_adults / (all_adults - own)
    return state.weighed(weight)


def _only_walking(state: State, row: pd.Series) -> State | None:
    """Keep adults who have (amount 1) serious difficulty walking, or all others."""
    rows = state.place.rows[0]
    difficult = state.column("walking_difficulty") == 1
    walks_badly = (state.who("adults") & difficult)[rows]
    if not walks_badly.any():
        return None
    keep = walks_badly if row["amount"] == 1 else ~walks_badly
    return state.weighed(np.where(keep, state.weight, 0.0))


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
    "shift": lambda state, row: state.moved(
        row, lambda _, x: x + row["amount"], drawn=False
    ),
    "shift_drawn": lambda state, row: state.moved(row, lambda _, x: x + row["amount"]),
    "scale_drawn": lambda state, row: state.moved(
        row, lambda _, x: x * (1 + row["amount"])
    ),
    "form": _form,
    "equal_weights": lambda state, _: state.weighed((state.weight > 0).astype(float)),
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
    """Return ``assumptions.csv``; a setting of several rows makes all their changes."""
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
    keys = ["assumption", "setting", "label"]
    rows, states = [], []
    for names, changes in chosen.groupby(keys, sort=False):
        state, changed = base, False
        for _, part in changes.iterrows():
            one_of("kind of setting", part["kind"], list(ALTERATIONS))
            other = ALTERATIONS[part["kind"]](state, part)
            if other is not None:
                state, changed = other, True
        if changed:
            width = changes["kind"].eq("width").all()
            scale = float(changes["amount"].iloc[0]) if width else np.nan
            source = "; ".join(dict.fromkeys(changes["source"]))
            told = {"method": method, "n": people.n, "source": source, "scale": scale}
            rows.append(dict(zip(keys, names, strict=True)) | told)
            states.append((state.covered(), state.weight))
    share = float(np.mean(before @ place.weight) / place.weight.sum())
    table = pd.DataFrame(rows, columns=[*COLUMNS, "scale"])
    if states:
        table = table.assign(**_changes(place, before, states))
    widths = table.dropna(subset="scale")[["scale", "share"]]
    if len(widths):
        widths.loc[len(table)] = [1.0, share]
    widths = widths.astype(float).sort_values("scale", ignore_index=True)
    return Sensitivity(table[COLUMNS], share, chart.name, people.name, widths)


def _changes(
    place: Layout, before: Flags, states: Sequence[tuple[Flags, Floats]]
) -> dict[str, Floats]:
    """Return share, estimate, low, high of each state: who is covered, and weights."""
    old = place.weight / place.weight.sum()
    new = np.column_stack([weight / weight.sum() for _, weight in states])
    after = np.stack([covered for covered, _ in states], axis=2)
    each = zip(states, new.T, strict=True)
    p_old, p_new = before @ old, np.column_stack([who @ w for (who, _), w in each])
    # All at once: what a draw's scores are multiplied by takes the time.
    influences = (
        new * (after[d] - p_new[d]) - (old * (before[d] - p_old[d]))[:, None]
        for d in range(place.draws)
    )
    complete = np.full(len(states), complete_df(place), dtype=float)
    if place.unit is None:
        # Other weights may leave fewer people to tell the share after.
        fewer = np.array([(weight != place.weight).any() for _, weight in states])
        left = np.maximum(np.minimum(complete, 1 / np.square(new).sum(axis=0) - 1), 1)
        complete = np.where(fewer, left, complete)
    changes = p_new - p_old[:, None]
    mean, total, df = join_influences(place, changes, influences, complete)
    low, high = difference_interval(mean, total, df, complete + 1)
    return {"share": p_new.mean(axis=0), "estimate": mean, "low": low, "high": high}
