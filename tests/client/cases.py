"""What tests of one client share: names, people, invented charts and readings."""

import argparse
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, chart_from, demo_chart
from sizing.cli import client as command
from sizing.client import ClientAnswer, Reading, check_client
from sizing.client.outcomes import Edges, Fitting, edges_of, fitting
from sizing.client.readings import reading
from sizing.measures import MEASURES
from sizing.people.body.model import moments

MASS, STATURE = "body_mass_kg", "stature_cm"
HIP, THIGH = "hip_circumference_cm", "thigh_circumference_cm"
WAIST, CHEST = "waist_circumference_cm", "chest_circumference_cm"
SITTING, BACK = "sitting_height_cm", "shoulder_height_sitting_cm"
SEAT, KNEE = "buttock_popliteal_length_cm", "knee_height_cm"
DEMO = demo_chart()
WOMAN = {"sex": "female", "age_years": 74, MASS: 68, STATURE: 160}
FULL = WOMAN | {HIP: 104, BACK: 57, SEAT: 48}


def whole_body(age: float) -> dict[str, float]:
    """Return every measure of a woman of 68 kg and 160 cm, as the model has it usual.

    By the list of measures, so that one more needs no entry here.
    """
    sex, *build = (np.array([x]) for x in ("female", 68.0, 160.0, age))
    usual = np.exp(moments(sex, *build).mean[0]).round(1)
    return dict(zip(MEASURES, [68.0, 160.0, *map(float, usual)], strict=True))


def made(
    limits: Mapping[str, Sequence[tuple[float | None, float | None]]],
    load: Sequence[float | None] | None = None,
    sizes: Sequence[str] = ("one", "two", "three", "four"),
) -> SizeChart:
    """Return an invented chart of each measure's (low, high), size by size."""
    count = len(next(iter(limits.values())))
    columns: dict[str, Any] = {"size": list(sizes)[:count]}
    columns |= {} if load is None else {"load_limit_kg": load}
    for measure, ends in limits.items():
        for name, edge in zip(("low", "high"), zip(*ends, strict=True), strict=True):
            columns[f"{measure}_{name}"] = edge
    return chart_from(pd.DataFrame(columns), warn=False)


def edges(chart: SizeChart = DEMO) -> Edges:
    return edges_of(chart, chart.load_limits())


def fits(values: np.ndarray, chart: SizeChart | Edges = DEMO) -> Fitting:
    """Return which bodies fit which size, nobody being over a load limit as stated."""
    over = np.zeros(len(chart.sizes), dtype=bool)
    return fitting(
        values, edges(chart) if isinstance(chart, SizeChart) else chart, over=over
    )


def check(
    entries: Mapping[str, Any], chart: SizeChart = DEMO, **more: Any
) -> ClientAnswer:
    return check_client(chart, entries, **more)


def read(how: str = "tape once", **values: float) -> list[Reading]:
    return [reading(measure, value, how) for measure, value in values.items()]


def run(*words: str) -> int:
    """Return what the client's command returns, its errors as they are raised."""
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(list(words)))


def row_of(table: pd.DataFrame, measure: str) -> pd.Series:
    return table.set_index("measure").loc[measure]
