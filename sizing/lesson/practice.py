"""Practice clients: seeded people from a population, from easy to hard."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.lesson.choosing import Bools, Floats, Ints, edge_margins, reading_errors
from sizing.measures import NO_HIGH, NO_LOW, to_tenths, vocabulary
from sizing.people import People, age_band, population_titles
from sizing.resources import invented_first

#: Distance from the edge that decides, in SDs of one reading: from so many on.
DIFFICULTIES: dict[str, float] = {"easy": 2.0, "middling": 0.75, "hard": 0.0}
#: Cards show whole steps of these, as people read a tape and a scale.
CARD_STEPS: Mapping[str, float] = {"cm": 0.5, "kg": 1.0}
#: The same for people who read inches and pounds: half an inch, a pound.
IMPERIAL_STEPS: Mapping[str, float] = {"cm": 1.27, "kg": 0.45359237}


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
    steps: Mapping[str, float] = CARD_STEPS,
) -> Practice:
    """Draw practice clients from a population, from easy to hard.

    ``.cards``: card (``card 1``, ...), sex, age (a band of years), and the measures
    that the chart limits with body mass and stature, each rounded to ``steps``.
    ``.answers``, which hold for the rounded measures: card; difficulty; distance_sd
    (from the edge that decides: the nearest of the size that holds the person best, in
    SDs of one reading); measure and miss (that edge's measure, and the distance in cm
    or kg: with 0 or more some size fits, below 0 none does); outcome (``fits``,
    ``choice``, ``none``); right (the sizes that fit, joined by ``or``, or ``none``); a
    column for each size that says whether it fits.

    People are drawn with their weights and numbered anew; ages stand in bands, so a
    card is nobody's record.

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> adults = load_people("bariatric", draws=1)
    >>> cards = practice_clients(adults, demo_chart(), n=6)
    >>> cards.answers["difficulty"].tolist()
    ['easy', 'easy', 'middling', 'middling', 'hard', 'hard']
    """
    check_number("the number of cards", n, least=1, whole=True)
    check_seed(seed)
    shown = _shown(people, chart)
    grid = np.array([steps[measure.rsplit("_", 1)[1]] for measure in shown])
    whole_steps = np.floor(
        people.frame[shown].to_numpy(dtype=float, na_value=np.nan) / grid + 0.5 + 1e-9
    )
    rounded = pd.DataFrame((whole_steps * grid).round(4), columns=shown)
    whole = rounded.notna().all(axis=1).to_numpy() & (people.weight > 0).to_numpy()
    kept = np.flatnonzero(whole)
    count = people.frame["person"].iloc[kept].nunique()
    if count < n:
        raise SizingError(
            f"There are {count} people with {_labels(shown)}, too few for {n} "
            "cards: ask for fewer cards or choose another population."
        )
    rounded = rounded.iloc[kept].reset_index(drop=True)
    frame = people.frame.iloc[kept].reset_index(drop=True)
    margin = edge_margins(rounded, chart, reading_errors())
    distance = margin.max(axis=1)
    rng = np.random.default_rng([seed, n])
    chosen = _spread(frame, people.weight.to_numpy(float)[kept], distance, n, rng)
    frame, margin = frame.iloc[chosen].reset_index(drop=True), margin[chosen]
    distance, fits = distance[chosen], margin >= 0
    cards = pd.DataFrame({"card": [f"card {i + 1}" for i in range(n)]})
    if "sex" in frame:
        cards["sex"] = frame["sex"].to_numpy()
    if "age_years" in frame:
        bands = age_band(frame["age_years"]).astype(object)
        cards["age"] = [str(b) if not pd.isna(b) else "not known" for b in bands]
    cards = cards.join(rounded.iloc[chosen].reset_index(drop=True))
    edges = [
        _deciding_edge(cards.iloc[i], chart, chart.sizes[best])
        for i, best in enumerate(margin.argmax(axis=1))
    ]
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
    """Return how far inside each edge of a size a practice client is.

    One row per measure that the size limits: measure, value, low, high (missing where
    there is no limit), margin (to the nearer edge: 0 or more inside, below 0 outside).
    """
    one_of("size", size, chart.sizes)
    place, sd, rows = chart.sizes.index(size), reading_errors(), []
    for measure, (lows, highs) in limits(chart).items():
        low, high = int(lows[place]), int(highs[place])
        x = int(to_tenths([card[measure]])[0])
        gaps = [x - low] * (low > NO_LOW) + [high - x] * (high < NO_HIGH)
        if gaps:
            ends = (
                low / 10 if low > NO_LOW else np.nan,
                high / 10 if high < NO_HIGH else np.nan,
            )
            margin = min(gaps) / 10
            rows.append(
                (measure, float(card[measure]), *ends, margin, margin / sd[measure])
            )
    names = ["measure", "value", "low", "high", "margin", "distance_sd"]
    return pd.DataFrame(rows, columns=names)


def sizes_in_words(fits: Bools, sizes: tuple[str, ...]) -> str:
    """Return the sizes that fit in words, such as 'one or two'."""
    return " or ".join(s for s, f in zip(sizes, fits, strict=True) if f) or "none"


def _shown(people: People, chart: SizeChart) -> list[str]:
    wanted = limits(chart)
    lacking = [m for m in wanted if m not in people.frame]
    if lacking:
        raise SizingError(
            f"{people.name} has no {_labels(lacking)}, which the chart limits: no "
            "card could be answered. Choose people who have it, or another chart."
        )
    first = [m for m in ("body_mass_kg", "stature_cm") if m in people.frame]
    return [*first, *(m for m in wanted if m not in first)]


def _labels(measures: list[str]) -> str:
    words = vocabulary().set_index("name")["label"]
    return ", ".join(words[measure].lower() for measure in measures)


def _spread(
    frame: pd.DataFrame,
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
        key = np.log(rng.random(len(frame))) / weight
    order = np.argsort(-key, kind="stable")
    order = order[~frame["person"].iloc[order].duplicated().to_numpy()]
    words = np.array([difficulty(d) for d in distance[order]])
    share = [n // 3 + (i < n % 3) for i in range(3)]
    parts = zip(DIFFICULTIES, share, strict=True)
    rows = np.concatenate([order[words == word][:k] for word, k in parts])
    rest = order[~np.isin(order, rows)][: n - len(rows)]
    rows = np.concatenate([rows, rest]).astype(np.int64)
    return rows[np.argsort(-np.abs(distance[rows]), kind="stable")]


def _deciding_edge(card: pd.Series, chart: SizeChart, size: str) -> tuple[str, float]:
    """Return the measure nearest to an edge of a size, and its signed distance."""
    rows = size_margins(card, chart, size)
    if rows.empty:
        return "", np.inf
    nearest = rows.iloc[int(rows["distance_sd"].argmin())]
    return str(nearest["measure"]), float(nearest["margin"])
