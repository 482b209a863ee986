"""Charts and people that several tests are about."""

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from, review_chart
from sizing.errors import InputProblems
from sizing.people.people import People

HIP = "hip_circumference_cm"
LOW, HIGH = f"{HIP}_low", f"{HIP}_high"


def good(**columns: object) -> pd.DataFrame:
    """Return a sound chart's table of two sizes, with other columns."""
    frame = {"size": ["one", "two"], "group": "adult", "load_limit_kg": [120, 160]}
    return pd.DataFrame({**frame, LOW: [70, 88], HIGH: [90, 110], **columns})


def problems(frame: pd.DataFrame) -> pd.DataFrame:
    with pytest.raises(InputProblems) as caught:
        chart_from(frame)
    return caught.value.table


def found(table: pd.DataFrame, kind: str = "", **options: object) -> pd.DataFrame:
    """Return what is doubtful in a chart, all of it or of one kind."""
    rows = review_chart(chart_from(table, warn=False), **options)
    return rows[rows["kind"] == kind] if kind else rows


def people_of(frame: pd.DataFrame, evidence: str = "measured") -> People:
    frame = frame.reset_index(drop=True)
    if "person" not in frame:
        frame = frame.assign(person=range(len(frame)), draw=0)
    present = [name for name in frame if str(name).endswith(("_cm", "_kg"))]
    levels = pd.DataFrame(evidence, index=frame.index, columns=present)
    return People("some", frame, pd.Series(np.ones(len(frame))), levels)
