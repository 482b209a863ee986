"""Can any positive weights meet these margins? Shown by linear programming."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from sizing.errors import SizingError
from sizing.people.margin import Margin

Array = npt.NDArray[np.float64]

#: A person's weight as a share of the mean weight, below which it counts as 0
#: (the solver's own tolerance).
_NOTHING = 1e-7


def refuse_the_impossible(
    margins: Sequence[Margin], in_group: Array, in_value: Array
) -> None:
    """Raise if no positive weights meet the margins, naming those in conflict.

    The targets can be met with positive weights only if they lie inside the
    convex hull of what the people have. The largest smallest weight that still
    meets them is a linear programme; where it is 0 they cannot be met. Margins
    are then left out one by one while the rest stays impossible, so those named
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
            line += (
                f"must be {low}"
                if low == high
                else f"can only run from {low} to {high}, both excluded"
            )
        lines.append(line)
    together = "together " if len(chosen) > 1 else ""
    raise SizingError(
        f"No positive weights of these people can meet {together}the following "
        "(shown by linear programming):\n"
        + "\n".join(lines)
        + "\nWhat to do: drop or change one of them, or choose other people."
    )


def _least_weight(pull: Array) -> float:
    """Return the largest possible smallest weight, the mean weight being 1.

    Weights are e + q with q >= 0: maximise e so that they average to 1 and pull
    every margin to 0.
    """
    # Takes long to load, and no client is judged by it.
    from scipy.optimize import linprog

    count = len(pull)
    cost = np.zeros(count + 1)
    cost[-1] = -1.0
    ones = np.append(np.full(count, 1 / count), 1.0)
    balance = np.column_stack([pull.T / count, pull.mean(axis=0)])
    found = linprog(
        cost,
        A_eq=np.vstack([ones, balance]),
        b_eq=np.append(1.0, np.zeros(pull.shape[1])),
        bounds=(0, None),
        method="highs",
    )
    return float(found.x[-1]) if found.x is not None else 0.0


def _reach(group: Array, value: Array, others: Array) -> tuple[float, float] | None:
    """Return the smallest and largest average in a group, the others being met."""
    from scipy.optimize import linprog

    ends = []
    for sign in (1.0, -1.0):
        found = linprog(
            sign * value,
            A_eq=np.vstack([group, others.T]),
            b_eq=np.append(1.0, np.zeros(others.shape[1])),
            bounds=(0, None),
            method="highs",
        )
        if found.fun is None:
            return None
        ends.append(sign * float(found.fun))
    return ends[0], ends[1]
