"""What was read stays as read: the model moves it by its own error at most."""

from collections.abc import Sequence

import numpy as np

from sizing.client.how import ESTIMATED, TAKEN, Reading
from sizing.people.body.terms import Floats

#: A reading is moved by the rest of the body by this many of its errors at most.
MOVED = 1.0
#: Smallest spread on the logarithmic scale.
_LEAST = 1e-7


def as_read(values: Floats, weight: Floats, one: Reading, confirmed: bool) -> Floats:
    """Return draws of what was read, the model's pull on them bounded."""
    if one.sd == 0:
        return np.full(len(values), one.value)
    if one.how == ESTIMATED:
        return values
    middle = float(quantile(values, weight, [0.5])[0])
    # A guess cannot be measured again; a tape can be put round once more.
    kept = confirmed and one.how in TAKEN
    read, most = float(np.exp(one.log_value)), 0.0 if kept else MOVED * one.sd
    # What is left of the model's pull: all of it, or what the bound leaves.
    left = 1.0 if abs(middle - read) <= most else most / abs(middle - read)
    gap = np.log(values / middle)
    spread = max(float(np.sqrt(weight @ np.square(gap))), _LEAST)
    wider = left + (1.0 - left) * one.log_sd / spread
    out: Floats = (read + left * (middle - read)) * np.exp(gap * wider)
    return out


def quantile(values: Floats, weight: Floats, q: Sequence[float]) -> Floats:
    """Return weighted quantiles of one column."""
    order = np.argsort(values)
    place = np.cumsum(weight[order]) - weight[order] / 2
    return np.interp(q, place, values[order])
