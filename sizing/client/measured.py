"""Every measure of a client: as read, and beside it the best estimate."""

import numpy as np
import pandas as pd

from sizing.client.client import Client
from sizing.client.how import ESTIMATED, TAKEN, Reading
from sizing.client.posterior import Bodies
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.measures.vocabulary import labels
from sizing.people.body.evidence import evidence_levels
from sizing.people.body.terms import Floats

#: Share of such bodies inside the interval of a measure.
LEVEL = 0.90


def measures_frame(client: Client, bodies: Bodies, quantiles: Floats) -> pd.DataFrame:
    """Return every measure with its interval, marked measured or predicted."""
    known = client.known
    mass, stature = (np.array([quantiles[1][j]]) for j in (0, 1))
    order = np.argsort(bodies.age_years)
    middle = np.searchsorted(np.cumsum(bodies.weight[order]), 0.5)
    age = bodies.age_years[order[middle : middle + 1]]
    level = np.zeros(len(SEATED_AND_GIRTHS), dtype=np.int8)
    for sex in SEXES if client.sex is None else (client.sex,):
        named = np.array([sex], dtype=object)
        one = evidence_levels(named, mass, stature, age, SEATED_AND_GIRTHS)
        level = np.maximum(level, one[0])

    def shown(one: Reading) -> tuple[float, float]:
        """Return value and SD; an estimate as it was worked out."""
        if one.how == ESTIMATED and client.stature is not None:
            best = client.stature.best
            return float(best["estimate"]), float(best["sd_cm"])
        return one.value, one.sd

    words = ["predicted", "predicted", *(EVIDENCE[i] for i in level)]
    unknown = np.isnan(quantiles[1])
    readings = [known.get(name) for name in MEASURES]
    taken = [one is not None and one.how in (*TAKEN, "exact") for one in readings]
    return pd.DataFrame(
        {
            "measure": MEASURES,
            "label": [labels()[name] for name in MEASURES],
            "evidence": [
                EVIDENCE[-1] if nobody else EVIDENCE[0] if was else word
                for nobody, was, word in zip(unknown, taken, words, strict=True)
            ],
            "how": [one.how if one else "" for one in readings],
            "reading": [shown(one)[0] if one else np.nan for one in readings],
            "error_sd": [shown(one)[1] if one else np.nan for one in readings],
            "estimate": quantiles[1],
            "low": quantiles[0],
            "high": quantiles[2],
            "method": f"median and {100 * LEVEL:.0f} % interval of joint draws",
            "n": len(bodies.weight),
        }
    )
