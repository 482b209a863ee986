"""What a stock does, as tables: demand, service, shortages, who is not fitted."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from scipy.optimize import brentq

from sizing.charts import assign
from sizing.stats import formulas
from sizing.stats.formulas import LEVEL
from sizing.stock.days import Days, Floats, Group, people_variance
from sizing.stock.need import Served
from sizing.stock.offers import Offer
from sizing.stock.service import Ints, Needs, Shortage, sizes_in
from sizing.words.numbers import given

#: Part of the days that the range of a number covers.
RANGE = 0.90
_MOST_DAYS = ((1 - RANGE) / 2, (1 + RANGE) / 2)
_SHARE = f"{100 * LEVEL:.0f} % Wilson interval over drawn days"
#: What the method says where the people behind the days count as a sample.
SAMPLED = "sampled people"
_MEAN = f"{100 * LEVEL:.0f} % t interval over drawn days"
_RANGE = f"range of {100 * RANGE:.0f} % of drawn days"
#: Standard errors on either side of that part of a normal distribution.
_ENDS = 1.645

#: What ``service`` tells, and how people say it.
SERVICE: dict[str, str] = {
    "nobody_waits": "share of days on which nobody waits for a sling that fits",
    "needs_met": "share of needs met, of people who fit at least one size",
    "waiting": "slings short on one day",
    "not_fitted": "people who fit no size offered, on one day",
    "not_fitted_share": "the same as a share of all the people",
    "known_need": "slings to buy for one day, were every size needed known",
}
#: Those that are shares.
SHARES = ("nobody_waits", "needs_met", "not_fitted_share")


class Check:
    """Days kept apart from planning, on which every stock is judged alike."""

    def __init__(self, days: Days, offer: Offer, spares: int) -> None:
        self.days, self.spares = days, spares
        self.needs = Needs(days.needs[:, 1:], days.masks[1:], len(offer.keys))
        self.needed = days.needs[:, 1:].sum(axis=1)

    def shortage(self, stock: Ints) -> Shortage:
        return self.needs.shortage(self.days.free(np.maximum(stock - self.spares, 0)))

    def reached(self, waiting: Ints, aim: str = "days") -> dict[str, Any]:
        if aim == "needs":
            return ratio_row(self.needed - waiting, self.needed)
        return share_row(int((waiting == 0).sum()), self.days.number)

    @property
    def not_fitted(self) -> float:
        return float(self.days.by_group[..., 0].sum(axis=0).mean())

    @property
    def people(self) -> float:
        return float(self.days.by_group.sum(axis=(0, 2)).mean())

    def does(self, stock: Ints, aim: str = "days") -> dict[str, Any]:
        """Return what a stock does on an average day, and how far it reaches an aim."""
        waiting = self.shortage(stock).waiting
        return {
            **self.reached(waiting, aim),
            "waiting": float(waiting.mean()),
            "nobody_waits": float((waiting == 0).mean()),
            "needs_met": self.reached(waiting, "needs")["estimate"],
            "needed": float(self.needed.mean()),
            "not_fitted": self.not_fitted,
        }


def _row(
    estimate: float, low: float, high: float, method: str, n: int
) -> dict[str, Any]:
    ends = {"estimate": float(estimate), "low": float(low), "high": float(high)}
    return {**ends, "method": method, "n": n}


def share_row(hits: int, number: int) -> dict[str, Any]:
    share = hits / number
    low, high = formulas.score_interval(share, number, formulas.student(np.inf))
    return _row(share, float(low), float(high), _SHARE, number)


def mean_row(values: Any) -> dict[str, Any]:
    values = np.asarray(values, dtype=float)
    n, mean = len(values), values.mean()
    half = formulas.student(n - 1) * values.std(ddof=1) / np.sqrt(n)
    return _row(mean, mean - half, mean + half, _MEAN, n)


def ratio_row(part: Any, whole: Any) -> dict[str, Any]:
    """Return sum(part) / sum(whole) with its interval; nothing needed is all met.

    By linearisation (Cochran, Sampling Techniques, 3rd ed. 1977, ch. 6, from memory).
    """
    part, whole = np.asarray(part, dtype=float), np.asarray(whole, dtype=float)
    if whole.sum() == 0:
        return _row(1.0, 1.0, 1.0, _MEAN, 0)
    ratio = part.sum() / whole.sum()
    rest = mean_row((part - ratio * whole) / whole.mean())
    ends = ratio + rest["low"], ratio + rest["high"]
    return _row(ratio, *ends, f"{_MEAN}, ratio by linearisation", len(part))


def range_row(numbers: Any) -> dict[str, Any]:
    low, high = np.quantile(numbers, _MOST_DAYS)
    return _row(np.mean(numbers), low, high, _RANGE, len(numbers))


def service(
    check: Check, stock: Ints, groups: Sequence[Group] = (), owned: Ints | None = None
) -> pd.DataFrame:
    """Return a row a ``SERVICE``: of shares 95 % intervals, of numbers 90 % of days."""
    waiting = check.shortage(stock).waiting
    people = check.days.by_group.sum(axis=0)
    unfit, present = people[:, 0], people.sum(axis=1)
    known = check.shortage(np.zeros_like(stock) if owned is None else owned).waiting
    numbers = {"waiting": waiting, "not_fitted": unfit, "known_need": known}
    parts = {
        "needs_met": (check.needed - waiting, check.needed),
        "not_fitted_share": (unfit, np.maximum(present, 1e-9)),
    }
    rows = {"nobody_waits": share_row(int((waiting == 0).sum()), check.days.number)}
    values = [(waiting == 0).astype(float)]
    for name in list(SERVICE)[1:]:
        if name in numbers:
            rows[name] = range_row(numbers[name])
            values.append(numbers[name].astype(float))
        else:
            part, whole = parts[name]
            rows[name] = ratio_row(part, whole)
            rest = part - rows[name]["estimate"] * whole
            values.append(rest / max(float(whole.mean()), 1e-9))
    more = people_variance(groups, check.days, values)
    for (name, row), each, (variance, df) in zip(
        rows.items(), values, more, strict=True
    ):
        if variance > 0:
            row |= _widened(row, each, variance, df, name)
        row["low"] = max(row["low"], 0.0)
        if name in SHARES:
            row["high"] = min(row["high"], 1.0)
    return pd.DataFrame([{"measure": name, **row} for name, row in rows.items()])


def _widened(
    row: dict[str, Any], each: Floats, variance: float, df: float, name: str
) -> dict[str, Any]:
    estimate, part = row["estimate"], LEVEL
    total = variance + float(each.var(ddof=1)) / len(each)
    if name == "nobody_waits":
        told = np.array([[estimate], [total], [df], [1 / (variance + 1 / len(each))]])
        (low,), (high,) = formulas.wilson(*told)
        how = "score interval"
    elif name in SHARES:
        half = float(formulas.student(df) * np.sqrt(total))
        low, high, how = estimate - half, estimate + half, "t interval"
    else:
        # One home differs from the mean by its days and by who its people are like.
        lower, upper = (
            math.hypot(row[end] - estimate, _ENDS * math.sqrt(variance))
            for end in ("low", "high")
        )
        low, high, how, part = estimate - lower, estimate + upper, "range", RANGE
    method = f"{given(part)} {how} over drawn days and {SAMPLED}"
    return {"low": float(low), "high": float(high), "method": method}


def demand(check: Check, offer: Offer) -> pd.DataFrame:
    """Return the needs that a size, or no other (``only``), would meet."""
    fits = sizes_in(check.days.masks, len(offer.keys))
    alone = fits * (fits.sum(axis=1, keepdims=True) == 1)
    number = {"fits": check.days.needs @ fits, "only": check.days.needs @ alone}
    rows = [
        {"key": key, "share": share, **range_row(number[share][:, size])}
        for size, key in enumerate(offer.keys)
        for share in number
    ]
    return pd.DataFrame(rows)


def one_more_or_less(check: Check, offer: Offer, stock: Ints) -> pd.DataFrame:
    """Return what one sling more or less of each size changes.

    A sling added is free with probability 1 - p, one taken away, of x with a free, was
    so with probability a / x: no day is drawn again.
    """
    core = np.maximum(stock - check.spares, 0)
    free = check.days.free(core)
    found = check.needs.shortage(free)
    helps = sizes_in(found.sets, len(stock)) * (1 - check.days.share_out)
    hurts = sizes_in(found.tight, len(stock)) * free / np.maximum(core, 1)
    rows = []
    for size, key in enumerate(offer.keys):
        for change, each, late in ((1, -helps, 1), (-1, hurts, 0)):
            if change > 0 or core[size] > 0:
                waits = float((each[:, size] * (found.waiting == late)).mean())
                told = {"key": key, "change": change, "nobody_waits_change": -waits}
                rows.append(told | mean_row(each[:, size]))
    return pd.DataFrame(rows)


def shortages(check: Check, offer: Offer, stock: Ints) -> pd.DataFrame:
    days = sizes_in(check.shortage(stock).sets, len(stock)).sum(axis=0)
    rows = [share_row(int(short), check.days.number) for short in days]
    made = pd.DataFrame(rows)
    made.insert(0, "key", offer.keys)
    return made


def not_fitted(groups: Sequence[Group], offer: Offer) -> pd.DataFrame:
    """Describe people whom no size fits, by kind; miss: cm or kg past an edge."""
    parts = []
    for group in groups:
        served, people, chosen = group.served, group.served.people, group.masks == 0
        if not chosen.any():
            continue
        own = offer.chart.frame[offer.only(served.charts)].reset_index(drop=True)
        table = assign(people, replace(offer.chart, frame=own)).table
        frame = table.loc[chosen, [*_KINDS, "miss", "person"]].astype(
            dict.fromkeys(_KINDS, object)
        )
        frame = frame.fillna(dict.fromkeys(_KINDS, ""))
        frame[_TOLD] = people.frame.reindex(columns=_TOLD)[chosen]
        frame["weight"] = people.weight[chosen]
        # On a caseload each client is told apart: someone must act for her.
        by = [*_KINDS, "person"] if served.count is None else _KINDS
        for kind, rows in frame.groupby(by, sort=False):
            if rows["weight"].sum() > 0:
                record = dict(zip([*_KINDS, "client"], kind, strict=False))
                counted = _count_row(served, rows)
                record |= {"group": served.title, **counted, **_described(rows)}
                parts.append(record)
    columns = ["group", "client", *_KINDS, "estimate", "low", "high", "method", "n"]
    made = pd.DataFrame(parts).reindex(columns=[*columns, *_MEDIANS])
    return made.sort_values("estimate", ascending=False, ignore_index=True)


_KINDS = ["outcome", "failing_measure", "direction", "nearest_size"]
_TOLD = ["stature_cm", "body_mass_kg", "hip_circumference_cm"]
#: What is described, by which part of the people in order.
_MEDIANS = {"miss_median": ("miss", 0.5), "miss_p90": ("miss", 0.9)} | {
    measure: (measure, 0.5) for measure in _TOLD
}


def _count_row(served: Served, rows: pd.DataFrame) -> dict[str, Any]:
    law: Any
    if served.count is None:
        chance = rows.groupby("person").size().to_numpy() / served.people.draws
        mean, law, how = chance.sum(), stats.poisson_binom(chance), "Poisson-binomial"
    else:
        p = float(rows["weight"].sum()) / float(served.people.weight.sum())
        mean, law, how = served.count * p, stats.binom(served.count, p), "binomial"
        if served.number == "poisson":
            law, how = stats.poisson(mean), "Poisson"
    low, high = law.ppf(np.array(_MOST_DAYS))
    method = f"{100 * RANGE:.0f} % {how} range over days"
    return _row(mean, low, high, method, int(rows["person"].nunique()))


def _described(rows: pd.DataFrame) -> dict[str, float]:
    told = dict.fromkeys(_MEDIANS, math.nan)
    for name, (column, part) in _MEDIANS.items():
        known = rows[rows[column].notna() & (rows["weight"] > 0)]
        if len(known):
            value, weight = known[[column, "weight"]].to_numpy(float).T
            told[name] = float(formulas.weighted_quantile(value, part, weights=weight))
    return told


def tilted(weight: Floats, value: Floats, shift: float) -> Floats:
    """Return weights ``w exp(lambda z)`` under which a mean is higher by ``shift``.

    Those nearest to the old ones (least relative entropy); a mean that the people
    cannot give is brought to nine tenths of the way to their extreme.
    """
    known = np.isfinite(value) & (weight > 0)
    mean = float(np.average(value[known], weights=weight[known]))
    spread = float(value[known].std())
    # A shift within rounding of the mean is none.
    if abs(shift) <= 1e-12 * max(spread, abs(mean)) or spread == 0:
        return weight
    z = np.where(known, (value - mean) / spread, 0.0)
    end = float(z[known].max() if shift > 0 else z[known].min())
    wanted = shift / spread
    wanted = min(wanted, 0.9 * end) if shift > 0 else max(wanted, 0.9 * end)

    def off(power: float) -> float:
        w = weight[known] * np.exp(power * (z[known] - end))
        return float(w @ z[known] / w.sum() - wanted)

    # On the other side of 0 the powers overflow where one person is far from all.
    far = math.copysign(1.0, shift)
    while (off(far) < 0) == (shift > 0):
        far *= 2
    power = brentq(off, 0.0, far)
    return np.asarray(weight * np.exp(power * (z - end)))
