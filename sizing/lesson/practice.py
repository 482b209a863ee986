"""Practice clients, from easy to hard; and pairs alike to the eye, of other sizes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.lesson.choosing import Bools, Floats, Ints, edge_margins, reading_errors
from sizing.measures import NO_HIGH, NO_LOW, labels, to_tenths
from sizing.people import People, age_band, population_titles
from sizing.resources import invented_first

#: Distance from the edge that decides, in SDs of one reading: from so many on.
DIFFICULTIES: dict[str, float] = {"easy": 2.0, "middling": 0.75, "hard": 0.0}
#: Cards show whole steps of these, as people read a tape and a scale: half a cm and
#: a kg, or half an inch and a pound.
_METRIC, _IMPERIAL = {"cm": 0.5, "kg": 1.0}, {"cm": 1.27, "kg": 0.45359237}
_BUILD = ("body_mass_kg", "stature_cm")
#: Nearest neighbours looked at, and how near two people must be to be alike.
_LOOKED_AT = 40
#: SDs of a reading by which a pair is plainly apart; such pairs come first.
_PLAIN = 2.0


@dataclass(frozen=True)
class Practice:
    cards: pd.DataFrame
    answers: pd.DataFrame
    chart: str
    people: str
    seed: int
    invented: tuple[str, ...] = ()

    def summary(self) -> str:
        count = self.answers["difficulty"].value_counts(sort=False)
        parts = ", ".join(f"{n} {word}" for word, n in count.items() if n)
        return invented_first(
            self.invented,
            f"{len(self.cards)} practice clients from "
            f"{population_titles().get(self.people, self.people)}, sized by "
            f"'{self.chart}': {parts} (seed {self.seed}).",
        )


def practice_clients(
    people: People,
    chart: SizeChart,
    *,
    n: int = 12,
    seed: int = 1,
    units: str = "metric",
) -> Practice:
    """Draw practice clients from a population by weight, from easy to hard.

    Cards are rounded, numbered anew and nobody's record; answers hold for what is
    rounded. ``distance_sd``, ``measure``, ``miss``: how far the edge that decides is:
    the nearest of the size that holds the person best (0 or more: it fits).
    """
    check_number("the number of cards", n, least=1, whole=True)
    check_seed(seed)
    wanted, called = limits(chart), labels()
    lacking = [called[m].lower() for m in wanted if m not in people.frame]
    if lacking:
        raise SizingError(
            f"{people.name} has no {', '.join(lacking)}, which the chart limits: no "
            "card could be answered. Choose people who have it, or another chart."
        )
    shown = [m for m in _BUILD if m in people.frame]
    shown += [m for m in wanted if m not in shown]
    steps = _METRIC if units == "metric" else _IMPERIAL
    grid = np.array([steps[measure.rsplit("_", 1)[1]] for measure in shown])
    whole_steps = np.floor(
        people.frame[shown].to_numpy(dtype=float, na_value=np.nan) / grid + 0.5 + 1e-9
    )
    rounded = pd.DataFrame((whole_steps * grid).round(4), columns=shown)
    whole = rounded.notna().all(axis=1).to_numpy() & (people.weight > 0).to_numpy()
    kept = np.flatnonzero(whole)
    count = people.frame["person"].iloc[kept].nunique()
    if count < n:
        names = ", ".join(called[m].lower() for m in shown)
        raise SizingError(
            f"There are {count} people with {names}, too few for {n} "
            "cards: ask for fewer cards or choose another population."
        )
    margin = edge_margins(rounded.iloc[kept], chart)
    rng = np.random.default_rng([seed, n])
    drawn = people.frame["person"].iloc[kept], people.weight.to_numpy(float)[kept]
    chosen = _spread(*drawn, margin.max(axis=1), n, rng)
    frame, margin = people.frame.iloc[kept[chosen]], margin[chosen]
    distance, fits = margin.max(axis=1), margin >= 0
    cards = pd.DataFrame({"card": [f"card {i + 1}" for i in range(n)]})
    if "sex" in frame:
        cards["sex"] = frame["sex"].to_numpy()
    if "age_years" in frame:
        bands = age_band(frame["age_years"]).astype(object)
        cards["age"] = [str(b) if not pd.isna(b) else "not known" for b in bands]
    cards = cards.join(rounded.iloc[kept[chosen]].reset_index(drop=True))
    edges = []
    for i, best in enumerate(margin.argmax(axis=1)):
        rows = size_margins(cards.iloc[i], chart, chart.sizes[best])
        nearest = rows.nsmallest(1, "distance_sd")[["measure", "margin"]]
        edges += nearest.values.tolist() or [["", np.inf]]
    hard = pd.Categorical([*map(difficulty, distance)], [*DIFFICULTIES], ordered=True)
    total = fits.sum(axis=1)
    answers = pd.DataFrame(
        {
            "card": cards["card"],
            "difficulty": hard,
            "distance_sd": np.abs(distance),
            "measure": [measure for measure, _ in edges],
            "miss": [miss for _, miss in edges],
            "outcome": np.select([total == 0, total == 1], ["none", "fits"], "choice"),
            "right": [sizes_in_words(row, chart.sizes) for row in fits],
            **{f"fits {size}": fits[:, j] for j, size in enumerate(chart.sizes)},
        }
    )
    return Practice(cards, answers, chart.name, people.name, seed, chart.invented)


def difficulty(distance_sd: float) -> str:
    return next(w for w, least in DIFFICULTIES.items() if abs(distance_sd) >= least)


def size_margins(card: pd.Series, chart: SizeChart, size: str) -> pd.DataFrame:
    """Return how far inside each edge of a size a client is; missing: no limit."""
    one_of("size", size, chart.sizes)
    bounds, place, sd = limits(chart), chart.sizes.index(size), reading_errors()
    value = np.array([card[measure] for measure in bounds], dtype=float)
    low, high = np.array([[end[place] for end in e] for e in bounds.values()]).T
    low = np.where(low > NO_LOW, low, np.nan)
    high = np.where(high < NO_HIGH, high, np.nan)
    margin = np.fmin(to_tenths(value) - low, high - to_tenths(value)) / 10
    rows = pd.DataFrame({"measure": [*bounds], "value": value}).assign(
        low=low / 10,
        high=high / 10,
        margin=margin,
        distance_sd=margin / [sd[measure] for measure in bounds],
    )
    return rows[rows["margin"].notna()].reset_index(drop=True)


def sizes_in_words(fits: Bools, sizes: tuple[str, ...]) -> str:
    """Return the sizes that fit in words, such as 'one or two'."""
    return " or ".join(s for s, f in zip(sizes, fits, strict=True) if f) or "none"


def _spread(
    person: pd.Series,
    weight: Floats,
    distance: Floats,
    n: int,
    rng: np.random.Generator,
) -> Ints:
    """Draw rows, a third of each difficulty, each person once, easy first.

    A sample by weight without return: the largest ``u ** (1 / w)``
    (Efraimidis and Spirakis, Inf Process Lett 2006;97:181-185, from memory).
    """
    with np.errstate(divide="ignore"):
        key = np.log(rng.random(len(person))) / weight
    order = np.argsort(-key, kind="stable")
    order = order[~person.iloc[order].duplicated().to_numpy()]
    words = np.array([difficulty(d) for d in distance[order]])
    share = [n // 3 + (i < n % 3) for i in range(3)]
    parts = zip(DIFFICULTIES, share, strict=True)
    rows = np.concatenate([order[words == word][:k] for word, k in parts])
    rest = order[~np.isin(order, rows)][: n - len(rows)]
    rows = np.concatenate([rows, rest]).astype(np.int64)
    return rows[np.argsort(-np.abs(distance[rows]), kind="stable")]


@dataclass(frozen=True)
class Pairs:
    """``bodies``: two rows per pair, drawn."""

    table: pd.DataFrame
    bodies: pd.DataFrame


def surprising_pairs(
    people: People, chart: SizeChart, *, n: int = 4, seed: int = 1
) -> Pairs:
    """Find people alike in sex, age band, mass and stature who need different sizes.

    ``apart``: ranks between their sizes; ``certainty``: share of the draws in which
    they share none; the parting measure rules the other's size out by most SDs of a
    reading, each way. What is drawn is of one draw: likely, not taken.
    """
    check_number("the number of pairs", n, least=1, whole=True)
    check_seed(seed)
    lacking = [c for c in ("sex", *_BUILD, *limits(chart)) if c not in people.frame]
    if lacking:
        raise SizingError(
            f"Pairs need people with {', '.join(lacking)}, which {people.name} lacks."
        )
    order = np.lexsort((people.frame["person"], people.frame["draw"]))
    frame = people.frame.iloc[order].reset_index(drop=True)
    evidence = people.evidence.iloc[order].reset_index(drop=True)
    count = len(frame) // people.draws
    fits = (edge_margins(frame, chart) >= 0).reshape(people.draws, count, -1)
    one, two = _alike(frame.iloc[:count], evidence)
    of_one, of_two = fits[:, one], fits[:, two]
    apart: Bools = np.asarray(~(of_one & of_two).any(axis=2))
    apart &= of_one.any(axis=2) & of_two.any(axis=2)
    kept = np.flatnonzero(apart.any(axis=0))
    one, two, apart = one[kept], two[kept], apart[:, kept]
    certainty, draw = apart.mean(axis=0), apart.argmax(axis=0)
    rows_a, rows_b = draw * count + one, draw * count + two
    fits_a, fits_b = fits[draw, one], fits[draw, two]
    gap, measure = _parting(frame, rows_a, rows_b, fits_a, fits_b, chart)
    # The least difference in rank between sizes that fit each.
    size = np.arange(fits.shape[2])
    both = fits_a[:, :, None] & fits_b[:, None, :]
    gaps = np.where(both, np.abs(size[:, None] - size), len(size))
    ranks = gaps.min(axis=(1, 2), initial=len(size))
    rng = np.random.default_rng(seed)
    best_first = rng.random(len(one)), -gap, -ranks, -certainty, gap < _PLAIN
    rank = np.lexsort(best_first)
    # Parted by a hair of body mass or stature alone is no surprise.
    rank = rank[gap[rank] > 0]
    sexes = frame["sex"].astype(str).iloc[one].tolist()
    sizes = [
        frozenset((a.tobytes(), b.tobytes()))
        for a, b in zip(fits_a, fits_b, strict=True)
    ]
    chosen = _different(rank, one, two, sexes, sizes, n)
    table, bodies = [], []
    for number, i in enumerate(chosen, start=1):
        names = [sizes_in_words(f[i], chart.sizes) for f in (fits_a, fits_b)]
        both = [*zip((int(rows_a[i]), int(rows_b[i])), names, strict=True)]
        both = both[::-1] if rng.random() < 0.5 else both
        name, first = measure[i], both[0][0]
        known = str(evidence[name].iloc[first]) if name in evidence else "not stated"
        parting = {"parting_measure": name, "evidence": known}
        row = {"pair": number, "sex": frame["sex"].iloc[first]}
        for who, (place, size) in zip("ab", both, strict=True):
            body = frame.iloc[place]
            age = str(age_band([body["age_years"]])[0]) if "age_years" in body else ""
            member = {"pair": number, "member": who.upper(), "sex": row["sex"]}
            member |= {"age": age} | {m: body[m] for m in people.measures}
            bodies.append(member | {"size": size} | parting)
            row |= {
                f"age_{who}": age,
                f"body_mass_{who}_kg": body["body_mass_kg"],
                f"stature_{who}_cm": body["stature_cm"],
                f"size_{who}": size,
                who: body[name],
            }
        row |= {"apart": int(ranks[i]), "certainty": certainty[i]}
        table.append(row | parting)
    return Pairs(pd.DataFrame(table), pd.DataFrame(bodies))


def _alike(first: pd.DataFrame, evidence: pd.DataFrame) -> tuple[Ints, Ints]:
    """Return positions of people alike in sex, age band, body mass and stature."""
    build = first[list(_BUILD)].to_numpy(dtype=float, na_value=np.nan)
    taken = np.isfinite(build).all(axis=1)
    for name in _BUILD:
        if name in evidence:
            # A pair that is alike only because it was drawn so is no surprise.
            taken &= (evidence[name].iloc[: len(first)] == "measured").to_numpy()
    far = pd.factorize(first["sex"])[0] * 1e4
    if "age_years" in first:
        far = far + age_band(first["age_years"]).codes * 1e2
    place = np.flatnonzero(taken)
    if len(place) < 2:
        return place[:0], place[:0]
    # 1 kg and 1 cm are 1 apart; another sex or age band is far away.
    point = np.column_stack([build, far])[place]
    near, other = cKDTree(point).query(
        point, k=min(_LOOKED_AT, len(place)), p=np.inf, distance_upper_bound=1.0 + 1e-9
    )
    rows, column = np.nonzero(np.isfinite(near))
    mate = np.asarray(other)[rows, column]
    once = rows < mate
    return place[rows[once]], place[mate[once]]


def _parting(
    frame: pd.DataFrame,
    rows_a: Ints,
    rows_b: Ints,
    fits_a: Bools,
    fits_b: Bools,
    chart: SizeChart,
) -> tuple[Floats, list[str]]:
    """Return the measure by which both are apart, and the lesser of the two SDs."""
    names = [measure for measure in limits(chart) if measure not in _BUILD]
    if not len(rows_a) or not names:
        return np.zeros(len(rows_a)), [""] * len(rows_a)
    ways = (rows_a, fits_b.argmax(axis=1)), (rows_b, fits_a.argmax(axis=1))
    miss = np.zeros((2, len(rows_a), len(names)))
    for j, measure in enumerate(names):
        low, high = limits(chart)[measure]
        x = 10 * frame[measure].to_numpy(dtype=float)
        for k, (rows, size) in enumerate(ways):
            out = np.maximum(low[size] - x[rows], x[rows] - high[size])
            miss[k, :, j] = np.maximum(out, 0) / (10 * reading_errors()[measure])
    together = miss.max(axis=0)
    return miss.max(axis=2).min(axis=0), [names[j] for j in together.argmax(axis=1)]


def _different(
    rank: Ints,
    one: Ints,
    two: Ints,
    sex: Sequence[str],
    sizes: Sequence[frozenset[bytes]],
    n: int,
) -> list[int]:
    chosen: list[int] = []
    while len(chosen) < n:
        used = {int(p) for i in chosen for p in (one[i], two[i])}
        free = [i for i in rank.tolist() if not used & {int(one[i]), int(two[i])}]
        if not free:
            break
        seen = {sizes[i] for i in chosen}
        own = [sex[i] for i in chosen]
        new = [i for i in free if sizes[i] not in seen] or free
        least = min(own.count(sex[i]) for i in new)
        chosen.append(next(i for i in new if own.count(sex[i]) == least))
    return chosen
