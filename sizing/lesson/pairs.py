"""Pairs that surprise: alike in sex, body mass and stature, yet of other sizes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, check_number, check_seed
from sizing.lesson.choosing import Bools, Floats, Ints, edge_margins, reading_errors
from sizing.lesson.practice import sizes_in_words
from sizing.people import People, age_band

_BUILD = ("body_mass_kg", "stature_cm")
#: Nearest neighbours looked at, and how near two people must be to be alike.
_LOOKED_AT = 40
#: SDs of a reading by which a pair is plainly apart; such pairs come first.
_PLAIN = 2.0


@dataclass(frozen=True)
class Pairs:
    """``table``: see ``surprising_pairs``; ``bodies``: two rows per pair, drawn."""

    table: pd.DataFrame
    bodies: pd.DataFrame


def surprising_pairs(
    people: People, chart: SizeChart, *, n: int = 4, seed: int = 1
) -> Pairs:
    """Find people of one sex, body mass and stature who need different sizes.

    ``.table``: pair, sex, age_a, age_b (bands), body_mass_a_kg, body_mass_b_kg,
    stature_a_cm, stature_b_cm, size_a, size_b (the sizes that fit), apart (how many
    ranks lie between them), certainty (share of the draws in which the two need
    different sizes; 1 where all was measured), parting_measure, a, b (its values),
    evidence (how it is known).

    Both must be of one sex and age band, both fit some size, and share none. The
    parting measure is the one, other than body mass and stature, that rules the
    other's size out by most SDs of a reading; there must be one each way. Pairs
    that are 2 SD apart come first, then by certainty, ranks and distance; nobody
    stands in two pairs, and no two pairs have the same sizes while others are to
    be had. Where measures are drawn the figures are those of one draw: such a
    person exists in body mass and stature, and her other measures are likely, not
    taken; ``evidence`` says so. People are numbered anew and ages stand in bands.

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = surprising_pairs(load_people("bariatric", draws=2), demo_chart(), n=2)
    >>> bool((found.table["certainty"] > 0.4).all())
    True
    """
    check_number("the number of pairs", n, least=1, whole=True)
    check_seed(seed)
    lacking = [c for c in ("sex", *_BUILD, *limits(chart)) if c not in people.frame]
    if lacking:
        raise SizingError(
            f"Pairs need people with {', '.join(lacking)}, which {people.name} lacks."
        )
    sd = reading_errors()
    draws = people.draws
    order = np.lexsort((people.frame["person"], people.frame["draw"]))
    frame = people.frame.iloc[order].reset_index(drop=True)
    evidence = people.evidence.iloc[order].reset_index(drop=True)
    count = len(frame) // draws
    fits = (edge_margins(frame, chart, sd) >= 0).reshape(draws, count, -1)
    first = frame.iloc[:count]
    one, two = _alike(first, evidence)
    of_one, of_two = fits[:, one], fits[:, two]
    apart: Bools = np.asarray(~(of_one & of_two).any(axis=2))
    apart &= of_one.any(axis=2) & of_two.any(axis=2)
    certainty = apart.mean(axis=0)
    kept = np.flatnonzero(certainty > 0)
    one, two, certainty, apart = one[kept], two[kept], certainty[kept], apart[:, kept]
    draw = apart.argmax(axis=0)
    rows_a, rows_b = draw * count + one, draw * count + two
    fits_a, fits_b = fits[draw, one], fits[draw, two]
    gap, measure = _parting(frame, rows_a, rows_b, fits_a, fits_b, chart, sd)
    ranks = _ranks_apart(fits_a, fits_b)
    rng = np.random.default_rng(seed)
    best_first = rng.random(len(one)), -gap, -ranks, -certainty, gap < _PLAIN
    rank = np.lexsort(best_first)
    # Parted by a hair of body mass or stature alone is no surprise.
    rank = rank[gap[rank] > 0]
    sexes = frame["sex"].astype(str).iloc[one].tolist()
    chosen = _different(rank, one, two, sexes, fits_a, fits_b, n)
    table, bodies = [], []
    for number, i in enumerate(chosen, start=1):
        sizes = [sizes_in_words(f[i], chart.sizes) for f in (fits_a, fits_b)]
        ab = [*zip("ab", (int(rows_a[i]), int(rows_b[i])), sizes, strict=True)]
        if rng.random() < 0.5:
            ab = [(who, *other[1:]) for who, other in zip("ab", ab[::-1], strict=True)]
        name, first_row = measure[i], ab[0][1]
        known = (
            str(evidence[name].iloc[first_row]) if name in evidence else "not stated"
        )
        parting = {"parting_measure": name, "evidence": known}
        row = {"pair": number, "sex": frame["sex"].iloc[first_row]}
        for who, place, size in ab:
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
    sd: Mapping[str, float],
) -> tuple[Floats, list[str]]:
    """Return the measure that rules each out of the other's size, and by how much.

    Of the two directions the weaker counts, so that both are truly apart.
    """
    size_a, size_b = fits_a.argmax(axis=1), fits_b.argmax(axis=1)
    names = [measure for measure in limits(chart) if measure not in _BUILD]
    miss = np.zeros((2, len(rows_a), len(names)))
    for j, measure in enumerate(names):
        low, high = limits(chart)[measure]
        x = frame[measure].to_numpy(dtype=float)
        for k, (rows, size) in enumerate(((rows_a, size_b), (rows_b, size_a))):
            value = 10 * x[rows]
            out = np.maximum(low[size] - value, value - high[size])
            miss[k, :, j] = np.maximum(out, 0) / (10 * sd[measure])
    if not len(rows_a) or not names:
        return np.zeros(len(rows_a)), [""] * len(rows_a)
    together = miss.max(axis=0)
    return miss.max(axis=2).min(axis=0), [names[j] for j in together.argmax(axis=1)]


def _ranks_apart(fits_a: Bools, fits_b: Bools) -> Ints:
    """Return the least difference in rank between sizes that fit each."""
    k = fits_a.shape[1]
    gap = np.abs(np.arange(k)[:, None] - np.arange(k))
    both = fits_a[:, :, None] & fits_b[:, None, :]
    return np.asarray(np.where(both, gap, k).min(axis=(1, 2), initial=k))


def _different(
    rank: Ints,
    one: Ints,
    two: Ints,
    sex: Sequence[str],
    fits_a: Bools,
    fits_b: Bools,
    n: int,
) -> list[int]:
    chosen: list[int] = []
    while len(chosen) < n:
        used = {int(p) for i in chosen for p in (one[i], two[i])}
        free = [i for i in rank.tolist() if not used & {int(one[i]), int(two[i])}]
        if not free:
            break
        seen = {_sizes(fits_a[i], fits_b[i]) for i in chosen}
        own = [sex[i] for i in chosen]
        new = [i for i in free if _sizes(fits_a[i], fits_b[i]) not in seen] or free
        least = min(own.count(sex[i]) for i in new)
        chosen.append(next(i for i in new if own.count(sex[i]) == least))
    return chosen


def _sizes(fits_a: Bools, fits_b: Bools) -> frozenset[bytes]:
    return frozenset((fits_a.tobytes(), fits_b.tobytes()))
