"""Weights that make a sample's people stand for a population."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError
from sizing.people.margins import Margin, check_against, margins_from, to_margins
from sizing.resources import texts
from sizing.stats.formulas import Floats, kish_design_effect

_W: dict[str, str] = texts("people").weights

#: A person's weight as a share of the mean weight, below which it counts as 0
#: (the solver's own tolerance).
_NOTHING = 1e-7
#: Newton steps, and how near (in SDs) a margin counts as met.
_MOST_STEPS, _NEAR = 100, 1e-8


@dataclass(frozen=True)
class Weighting:
    """One positive weight per row that meets margins, and what they cost.

    ``table`` has a row per margin: what it is, ``n`` persons in its group,
    ``n_in_class`` of them (in any draw) in the class of a share, ``before``, ``asked``
    and ``reached``. ``design_effect`` is Kish's of the persons.
    """

    weight: pd.Series
    table: pd.DataFrame
    design_effect: float


def rake(
    frame: pd.DataFrame,
    margins: pd.DataFrame,
    *,
    weight: npt.ArrayLike | None = None,
    person: str | None = None,
) -> Weighting:
    """Tilt weights as little as possible until every margin is met.

    A margin within a group says nothing about how many are in the group. Whose value is
    missing is left out of that margin; rows of one ``person`` share a weight.

    w_i = d_i exp(lambda' g_i), with g_i = 1(i in the group) (x_i - target), the
    exponential case of Deville and Sarndal, J Am Stat Assoc 1992;87:376-382 (from
    memory): the least Kullback-Leibler distance from the starting weights; lambda
    minimises the convex function log sum d_i exp(lambda' g_i), by Newton steps.
    """
    wanted = to_margins(margins_from(margins))
    check_against(wanted, frame)
    start = checked_weight(weight, len(frame))
    codes, rows_each = _persons(frame, person, start)
    base = np.bincount(codes, start) / start.sum()
    inside = np.column_stack([margin.group(frame) for margin in wanted])
    value = np.column_stack([margin.value(frame) for margin in wanted])
    value = np.where(inside, value, 0.0)
    in_group, in_value = (
        np.column_stack([np.bincount(codes, column) / rows_each for column in table.T])
        for table in (inside, value)
    )
    target = np.array([margin.target for margin in wanted])
    pull = in_value - target * in_group
    scale = np.sqrt(np.average(np.square(pull), axis=0, weights=base))
    scale[scale == 0] = 1.0
    tilt = _tilt(pull / scale, base)
    if tilt is None:
        refuse_the_impossible(wanted, in_group, in_value)
        raise SizingError(_W["steps"].format(steps=_MOST_STEPS))
    w = start * (tilt / base)[codes]
    table = pd.DataFrame(map(vars, wanted)).drop(columns="target")
    of_class = pd.Series((in_value > 0).sum(axis=0), dtype="Int64")
    table["n"] = (in_group > 0).sum(axis=0)
    table["n_in_class"] = of_class.where(table["statistic"] == "share")
    table["before"] = (base @ in_value) / (base @ in_group)
    table["asked"], table["reached"] = target, (w @ value) / (w @ inside)
    weights = pd.Series(w, index=frame.index, name="weight")
    return Weighting(weights, table, kish_design_effect(tilt / rows_each))


def checked_weight(
    weight: npt.ArrayLike | None, count: int, *, zeros: bool = False
) -> Floats:
    """Return weights as an array, refusing what cannot weigh people."""
    if weight is None:
        return np.ones(count)
    try:
        w = np.asarray(weight, dtype=float)
    except (TypeError, ValueError) as error:
        raise SizingError(_W["words"]) from error
    if w.shape != (count,):
        raise SizingError(_W["count"].format(size=w.size, count=count))
    bad = np.flatnonzero(~(np.isfinite(w) & ((w > 0) | (zeros & (w == 0)))))
    if len(bad):
        shown = ", ".join(f"row {i}: {w[i]:g}" for i in bad[:5])
        least = "0 or more" if zeros else "above 0"
        told = _W["bad"].format(many=len(bad), count=count, least=least, shown=shown)
        raise SizingError(told)
    if not w.any():
        raise SizingError(_W["none"])
    return w


def _persons(
    frame: pd.DataFrame, person: str | None, start: Floats
) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return each row's person as 0, 1, ... and the number of rows of each."""
    if person is None:
        return np.arange(len(frame)), np.ones(len(frame))
    codes, _ = pd.factorize(frame[person])
    if (codes < 0).any():
        raise SizingError(_W["keyless"].format(person=person))
    rows_each = np.bincount(codes).astype(float)
    mean = np.bincount(codes, start) / rows_each
    if not np.allclose(start, mean[codes], rtol=1e-9):
        raise SizingError(_W["unlike"].format(person=person))
    return codes.astype(np.int64), rows_each


def _tilt(pull: Floats, base: Floats) -> Floats | None:
    """Newton on the convex dual; least squares, as margins may repeat one another."""
    dual = np.zeros(pull.shape[1])
    log_base = np.log(base)

    def at(point: Floats) -> tuple[float, Floats]:
        log_w = log_base + pull @ point
        top = float(log_w.max())
        w = np.exp(log_w - top)
        return top + float(np.log(w.sum())), w / w.sum()

    height, w = at(dual)
    for _ in range(_MOST_STEPS + 1):
        slope = w @ pull
        if np.abs(slope).max() <= _NEAR:
            return w
        centred = pull - slope
        curve = (centred * w[:, None]).T @ centred
        move = -np.linalg.lstsq(curve, slope, rcond=1e-12)[0]
        length, downhill = 1.0, float(slope @ move)
        if not downhill < 0:
            return None
        while True:
            new_height, new_w = at(dual + length * move)
            # Near the optimum the drop is below rounding: allow for that.
            if new_height <= height + 1e-4 * length * downhill + 1e-14:
                break
            length /= 2
            if length < 1e-10:
                return None
        dual, height, w = dual + length * move, new_height, new_w
    return None


def refuse_the_impossible(
    margins: Sequence[Margin], in_group: Floats, in_value: Floats
) -> None:
    """Raise if no positive weights meet the margins, naming those in conflict.

    The largest smallest weight that meets them is a linear programme; where it is 0
    margins are left out one by one while the rest stays impossible, so that those named
    are a smallest set in conflict.
    """
    target = np.array([margin.target for margin in margins])
    pull = in_value - target * in_group
    pull = pull / np.maximum(np.abs(pull).max(axis=0), 1e-300)
    chosen = list(range(len(margins)))
    if _least_weight(pull) > _NOTHING:
        return
    for j in range(len(margins)):
        rest = [k for k in chosen if k != j]
        if rest and _least_weight(pull[:, rest]) <= _NOTHING:
            chosen = rest
    lines = []
    for j in chosen:
        others = [k for k in chosen if k != j]
        reach = _reach(in_group[:, j], in_value[:, j], pull[:, others])
        line = f"- {margins[j]}: asked {margins[j].target:g}"
        if reach is not None:
            low, high = (f"{end:.4g}" for end in reach)
            line += "; with the others met it " if others else "; it "
            line += _W["rim" if low == high else "reach"].format(low=low, high=high)
        lines.append(line)
    together = "together " if len(chosen) > 1 else ""
    raise SizingError(_W["conflict"].format(together=together, lines="\n".join(lines)))


def _optimum(cost: Floats, equal: Floats) -> float | None:
    # Takes long to load, and no client is judged by it.
    from scipy.optimize import linprog

    sums = np.append(1.0, np.zeros(len(equal) - 1))
    found = linprog(cost, A_eq=equal, b_eq=sums, bounds=(0, None), method="highs")
    return None if found.fun is None else float(found.fun)


def _least_weight(pull: Floats) -> float:
    """Maximise e: weights are e + q, q >= 0, of mean 1, and meet every margin."""
    count = len(pull)
    ones = np.append(np.full(count, 1 / count), 1.0)
    balance = np.column_stack([pull.T / count, pull.mean(axis=0)])
    cost = np.append(np.zeros(count), -1.0)
    return -(_optimum(cost, np.vstack([ones, balance])) or 0.0)


def _reach(group: Floats, value: Floats, others: Floats) -> tuple[float, float] | None:
    """Return the smallest and largest average in a group, the others being met."""
    equal = np.vstack([group, others.T])
    low, high = (_optimum(sign * value, equal) for sign in (1.0, -1.0))
    return None if low is None or high is None else (low, -high)
