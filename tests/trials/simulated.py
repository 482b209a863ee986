"""Trials simulated from a known truth: people, edges, tapes and judgements."""

import numpy as np
import pandas as pd

from sizing.charts import chart_from
from sizing.trials.model import OUTCOMES

MEASURES = ("shoulder_height_sitting_cm", "hip_circumference_cm")
ERROR = np.array([1.2, 1.4])
WIDTHS = np.array([10.0, 24.0])
LOW = np.array([[46.0, 75.0], [52.0, 88.0], [58.0, 101.0]])


def chart():
    frame = pd.DataFrame({"size": ["one", "two", "three"]})
    for j, measure in enumerate(MEASURES):
        frame[f"{measure}_low"] = LOW[:, j]
        frame[f"{measure}_high"] = LOW[:, j] + WIDTHS[j]
    return chart_from(frame, name="mine", warn=False)


def simulated(count, seed, *, services=0, shift=3.0, named=0.5):
    """Return trials as a table, and the true edges by measure, size and end.

    A third are of the size beside the one that the tape named; edges lie 3 cm (SD)
    from the printed ones, single sizes stray by 0.8 cm, all typically; bodies are as
    American soldiers' (ANSUR II: means and SDs, rounded).
    """
    rng = np.random.default_rng(seed)
    printed = np.stack([LOW, LOW + WIDTHS])
    while True:
        own = rng.normal(0, 0.8 * np.exp(0.5 * rng.normal()), (2, 3, 2))
        edges = printed + rng.normal(0, shift, (2, 1, 2)) + own
        if (edges[1] - edges[0]).min() > 5:
            break
    spread = 1.5 * np.exp(rng.normal(0, 0.5, 2))
    alike = [[3.6**2, 0.5 * 3.6 * 8], [0.5 * 3.6 * 8, 8.0**2]]
    true = rng.multivariate_normal([58.5, 101.0], alike, count)
    read = true + rng.normal(0, ERROR, (count, 2))
    far = np.abs(read[:, None] - printed.mean(axis=0)) / WIDTHS
    size = far.sum(axis=2).argmin(axis=1)
    other = np.clip(size + rng.choice([-1, 1], count), 0, 2)
    size = np.where(rng.uniform(size=count) < 1 / 3, other, size)
    service = rng.integers(max(services, 1), size=count)
    habit = rng.normal(0, 0.8 * np.exp(0.5 * rng.normal()), (2, max(services, 1)))
    habit = habit[:, service, None] * (services > 0)
    felt = true + spread * rng.normal(size=(count, 2))
    large, small = felt < edges[0][size] + habit[0], felt > edges[1][size] + habit[1]
    said = rng.uniform(size=count) < named
    frame = pd.DataFrame(read, columns=list(MEASURES)).assign(
        size=np.array(["one", "two", "three"])[size],
        service=[f"s{i}" if services else "" for i in service],
        outcome=np.array(OUTCOMES)[small.any(axis=1) + 2 * large.any(axis=1)],
        too_small_where=_places(small, said),
        too_large_where=_places(large, said),
    )
    rows = [
        {"measure": m, "size": s, "end": end, "true": edges[e, i, j]}
        for e, end in enumerate(("low", "high"))
        for i, s in enumerate(("one", "two", "three"))
        for j, m in enumerate(MEASURES)
    ]
    return frame, pd.DataFrame(rows)


def _places(off, said):
    words = np.array(["back", "hips"])
    return ["; ".join(words[o]) if s else "" for o, s in zip(off, said, strict=True)]
