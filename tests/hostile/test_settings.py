"""Settings that are no numbers, or numbers that cannot be, in every public function."""

import inspect
import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

import sizing
from sizing import bands, lesson, people
from sizing.charts import demo_chart
from sizing.errors import SizingError
from sizing.people import load_people, people_from
from sizing.stats import intervals
from sizing.stock import Served, demo_scenario

HIP = "hip_circumference_cm"
BAND: dict[str, Any] = {"widths": {HIP: 20}, "sizes": 2}


@cache
def some():
    """Thirty people and the demo chart."""
    rng = np.random.default_rng(1)
    frame = pd.DataFrame(
        {
            "sex": ["female", "male"] * 15,
            "age_years": rng.integers(20, 80, 30),
            "body_mass_kg": rng.normal(75, 15, 30).round(1),
            "stature_cm": rng.normal(167, 9, 30).round(1),
            HIP: rng.normal(105, 12, 30).round(1),
        }
    )
    return people_from(frame, draws=2), demo_chart()


#: What is called with which numbers: their settings are then made wrong one by one.
CALLS: dict[Callable[..., Any], Callable[[], dict[str, Any]]] = {
    bands.fit_bands: lambda: {
        "people": some()[0],
        **BAND,
        "step_cm": 1.0,
        "smooth_cm": 0.0,
        "near": 2.0,
        "too_large": 0.5,
        "too_small": 0.5,
        "load_limit_kg": 200.0,
        "tolerance": 0.01,
        "splits": 1,
        "seed": 1,
    },
    bands.edge_stability: lambda: {
        "people": some()[0],
        **BAND,
        "replicates": 2,
        "level": 0.9,
        "seed": 1,
    },
    bands.frontier: lambda: {
        "people": some()[0],
        "widths": {HIP: 20},
        "sizes": [2],
        "scales": [1.0],
        "splits": 1,
        "seed": 1,
    },
    bands.width_needed: lambda: {
        "people": some()[0],
        "widths": {HIP: 20},
        "sizes": [2],
        "targets": [0.5],
        "most": 4.0,
    },
    bands.partition_bands: lambda: {"values": np.arange(9.0), "bands": 2},
    sizing.estimate_coverage: lambda: dict(
        zip(("people", "chart"), some(), strict=True), replicates=50, seed=1
    ),
    sizing.compare_charts: lambda: {
        "people": some()[0],
        "chart_a": some()[1],
        "chart_b": some()[1],
        "replicates": 50,
        "seed": 1,
    },
    people.load_people: lambda: {
        "name": "bariatric",
        "draws": 1,
        "seed": 1,
        "bmi_threshold": 40.0,
    },
    lesson.compare_ways: lambda: {
        "people": some()[0],
        "chart": some()[1],
        "by": (),
        "ways": ["by_eye", "tape_once"],
        "stature_guess_sd": 0.04,
        "replicates": 50,
        "seed": 1,
    },
    lesson.chance_of_wrong_size: lambda: {
        "people": some()[0],
        "chart": some()[1],
        "times": [1],
        "replicates": 50,
        "seed": 1,
    },
    lesson.practice_clients: lambda: {
        "people": some()[0],
        "chart": some()[1],
        "n": 3,
        "seed": 1,
    },
    lesson.surprising_pairs: lambda: {
        "people": load_people("bariatric", draws=1),
        "chart": some()[1],
        "n": 1,
        "within_kg": 1.0,
        "within_cm": 1.0,
        "seed": 1,
    },
    lesson.limits_of_agreement: lambda: {
        "guess": [70.0, 82.0, 60.0],
        "truth": [72.0, 80.0, 66.0],
        "participant": ["1", "2", "1"],
        "replicates": 20,
        "seed": 1,
    },
    bands.fit_fairest: lambda: {
        "people": some()[0],
        "by": "sex",
        **BAND,
        "smallest": 5,
        "rounds": 2,
    },
    bands.coverage_by_sizes: lambda: {
        "people": load_people("everyone", draws=1),
        "widths": {HIP: 20},
        "numbers": [1],
        "seed": 1,
    },
    bands.fit_groups: lambda: {
        "people": load_people("everyone", draws=1),
        "widths": {HIP: 20},
        "sizes": 1,
        "adult_age": 18.0,
        "bmi_threshold": 40.0,
        "splits": 0,
    },
    people.people_from: lambda: {
        "frame": pd.DataFrame({"sex": ["f"], "stature_cm": [160.0]}),
        "draws": 1,
        "seed": 1,
    },
    sizing.check_client: lambda: {
        "chart": some()[1],
        "client": {"sex": "f", "body_mass_kg": 70.0},
        "seed": 1,
    },
    sizing.plan_stock: lambda: {
        "serves": Served(some()[0], 2),
        "charts": some()[1],
        "prices": demo_scenario()[1],
        "target": 0.8,
        "budget": 1e6,
        "scenarios": 50,
        "seed": 1,
    },
    sizing.sensitivity: lambda: {
        "people": some()[0],
        "chart": some()[1],
        "seed": 1,
    },
    sizing.why_none: lambda: {
        "people": some()[0],
        "chart": some()[1],
        "replicates": 50,
        "seed": 1,
    },
    intervals.binomial_interval: lambda: {"share": 0.5, "n": 10.0, "level": 0.95},
    sizing.judge_chart: lambda: {
        "chart": some()[1],
        "people": some()[0],
        "replicates": 50,
        "seed": 1,
    },
}

#: Settings of which several may be given; other lists are data.
SEVERAL = ("scales", "sizes", "targets", "times")
WRONG = (math.nan, math.inf, -math.inf, -1, "x", None, True, [], 10**400)


def numbers_of(given: Mapping[str, Any]) -> list[str]:
    """Return which settings are numbers, or several numbers."""

    def is_number(value: Any) -> bool:
        return isinstance(value, int | float) and not isinstance(value, bool)

    return [
        name for name, value in given.items() if is_number(value) or name in SEVERAL
    ]


@pytest.mark.parametrize("what", CALLS, ids=lambda f: f.__name__)
def test_a_setting_that_cannot_be_is_refused_in_plain_words(what):
    given = CALLS[what]()
    what(**given)
    takes = {
        **inspect.signature(bands.FitSettings).parameters,
        **inspect.signature(what).parameters,
    }
    optional = {name for name, one in takes.items() if one.default is None}
    if what is bands.fit_bands:
        # Left out, people are smoothed or not as their measures ask.
        optional |= {"smooth_cm"}
    taken = []
    for name in numbers_of(given):
        for wrong in WRONG:
            if wrong is None and name in optional:
                continue
            value = [wrong] if isinstance(given[name], list) else wrong
            try:
                what(**{**given, name: value})
            except SizingError as error:
                assert "Traceback" not in str(error)
            except Exception as error:
                taken.append(f"{name}={value!r}: {type(error).__name__}: {error}")
            else:
                taken.append(f"{name}={value!r} was taken")
    assert not taken, "\n".join(taken)


@pytest.mark.parametrize(
    ("what", "given", "words"),
    [
        (bands.fit_bands, {**BAND, "step": 1.0}, "did you mean 'step_cm'"),
        (bands.frontier, {"widths": {HIP: 20}, "smoth_cm": 1.0}, "'smooth_cm'"),
        (bands.fit_groups, {**BAND, "least_stepp": {}}, "'least_step'"),
        (bands.fit_bands, {**BAND, "fixed": {"a": 1}}, "cannot use this as fixed"),
        (bands.fit_bands, {**BAND, "seeds": 1}, "no setting of this name"),
        (sizing.estimate_coverage, {"chrt": 1}, "did you mean 'chart'"),
    ],
)
def test_a_misspelt_setting_is_told_the_nearest_name(what, given, words):
    people = load_people("bariatric", draws=1)
    with pytest.raises(SizingError, match=words):
        what(people, **given)


def test_constructors_and_methods_refuse_a_wrong_kind():
    with pytest.raises(SizingError, match=r"SizeChart\(\) cannot use this as frame"):
        sizing.SizeChart({"size": ["one"]})
    with pytest.raises(SizingError, match="did you mean 'source'"):
        sizing.SizeChart(demo_chart().frame, sorce="x")
    with pytest.raises(SizingError, match="unknown measure"):
        demo_chart().edges("hip_circumference")
