"""Make demo_trials.csv: invented slings tried on in invented services.

Six invented services fit slings of the demo chart to invented adults, each in the size
that the tape named or the one beside it. In this scenario the back of every size
reaches 2 cm further than printed, its hips 3 cm less far, and one service calls a
sling too small later than the others. Run from the project's root: it prints the file.
"""

import sys

import numpy as np
import pandas as pd

MEASURES = {
    # mean, SD, error of a reading, and how far the edges lie from the printed ones
    "shoulder_height_sitting_cm": (58.0, 3.6, 1.2, 1.0, 2.0),
    "buttock_popliteal_length_cm": (48.5, 2.8, 1.0, 0.0, 0.5),
    "hip_circumference_cm": (111.0, 14.0, 1.4, -1.0, -3.0),
}
ALIKE = np.array([[1, 0.5, 0.2], [0.5, 1, 0.4], [0.2, 0.4, 1]])
SHORT = {"shoulder_height_sitting_cm": "back", "hip_circumference_cm": "hips"}
SERVICES = ("north", "south", "east", "west", "harbour", "hill")
LATE = ("hill", 4.0)
SPREAD = (1.2, 1.0, 2.0)


def invented_trials(count: int = 160, seed: int = 2026) -> pd.DataFrame:
    """Return the trials as services would type them."""
    rng = np.random.default_rng(seed)
    chart = pd.read_csv("data_sources/demo_chart.csv")
    chart = chart[chart["group"] != "paediatric"].reset_index(drop=True)
    mean, sd, error, down, up = np.array(list(MEASURES.values())).T
    low = chart[[f"{m}_low" for m in MEASURES]].to_numpy()
    high = chart[[f"{m}_high" for m in MEASURES]].to_numpy()
    rows = []
    while len(rows) < count:
        body = rng.multivariate_normal(mean, ALIKE * np.outer(sd, sd))
        read = np.round(2 * (body + rng.normal(0, error))) / 2
        outside = np.maximum(np.maximum(low - read, read - high), 0) / (high - low)
        size = int(outside.sum(axis=1).argmin())
        if rng.uniform() < 0.45:
            size = int(np.clip(size + rng.choice([-1, 1]), 0, len(chart) - 1))
        service = str(rng.choice(SERVICES))
        felt = body + rng.normal(0, SPREAD)
        late = LATE[1] if service == LATE[0] else 0.0
        large, small = felt < low[size] + down, felt > high[size] + up + late
        outcome = ("fits", "too small", "too large", "both")[
            int(small.any()) + 2 * int(large.any())
        ]
        told = rng.uniform() < 0.7
        rows.append(
            {"service": service, "chart": chart["chart_name"][0]}
            | {"pattern": "full-body", "size": chart["size"][size]}
            | dict(zip(MEASURES, read, strict=True))
            | {"how": "tape twice" if rng.uniform() < 0.3 else "tape once"}
            | {"outcome": outcome}
            | {"too_small_where": places(small) if told else ""}
            | {"too_large_where": places(large) if told else ""}
        )
    return pd.DataFrame(rows)


def places(off: np.ndarray) -> str:
    """Return where it was off, as people write it."""
    names = [SHORT.get(m, "seat") for m in MEASURES]
    return "; ".join(n for n, here in zip(names, off, strict=True) if here)


if __name__ == "__main__":
    invented_trials().to_csv(sys.stdout, index=False)
