"""Every public function refuses the wrong kind of thing in plain words."""

import inspect
import warnings
from importlib import import_module

import numpy as np
import pandas as pd
import pytest

import sizing
from sizing.charts import demo_chart
from sizing.coverage import assumptions
from sizing.errors import SizingError
from sizing.kinds import checked
from sizing.people import people_from
from sizing.people.margins import named_margins
from sizing.stock import demo_scenario
from sizing.surveys import read_embedded
from sizing.trials import demo_trials, read_trials

ROOMS = ("bands", "charts", "client", "coverage", "lesson", "measures", "people")
ROOMS += ("people.body", "stock", "surveys", "trials")
FUNCTIONS = {
    name: found
    for room in (import_module(f"sizing.{name}") for name in ROOMS)
    for name in room.__all__
    if inspect.isfunction(found := getattr(room, name))
}
CHART = demo_chart()
FEW = pd.DataFrame(
    {
        "sex": ["female", "male"] * 4,
        "age_years": [34.0, 71, 45, 82, 58, 39, 66, 50],
        "body_mass_kg": [58.0, 92, 70, 81, 64, 77, 99, 88],
        "stature_cm": [160.0, 178, 165, 171, 158, 183, 170, 176],
    }
)
PEOPLE = people_from(FEW, draws=1)
NUMBERED = FEW.assign(person=range(8))
SURVEY = read_embedded()
WIDTHS = {"hip_circumference_cm": 20}
FIT = {"people": PEOPLE, "widths": WIDTHS, "sizes": 2, "step_cm": 5}
JUDGED = {"people": PEOPLE, "chart": CHART, "replicates": 20}
GROUPS, PRICES = demo_scenario()
CLIENT = {"sex": "female", "age_years": 74, "body_mass_kg": 68}
NUMBERS = [3.0, 5.0, 4.0, 8.0]
ANSWERS = pd.DataFrame(
    {"participant": [1, 2], "subject": [1, 1], "chosen_size": CHART.sizes[0]}
)
READINGS = pd.DataFrame(
    {"subject": [1, 1, 2, 2], "measurer": [1, 2, 1, 2], "value": NUMBERS}
)
HARMS = pd.DataFrame(
    {"harm": ["too_large"], "estimate": [0.1], "low": [0.05], "high": [0.2]}
)
#: What each function is given while one parameter in turn is of a wrong kind.
GOOD = {
    "assign": {"people": PEOPLE, "chart": CHART},
    "age_band": {"age_years": FEW["age_years"]},
    "allowance_table": {"chosen": {}},
    "read_trials": {"trials": demo_trials(), "chart": CHART},
    "learn_chart": {"trials": read_trials(demo_trials(), CHART)},
    "chance_of_wrong_size": JUDGED,
    "chart_from": {"frame": CHART.frame},
    "check_client": {"chart": CHART, "client": CLIENT},
    "check_guesses": {},
    "client_from": {"entries": CLIENT},
    "common_group": {"people": PEOPLE},
    "compare_charts": {
        "people": PEOPLE,
        "chart_a": CHART,
        "chart_b": CHART,
        "replicates": 20,
    },
    "compare_ways": {**JUDGED, "ways": ("usual", "stature")},
    "estimate_coverage": JUDGED,
    "coverage_by_sizes": {"people": PEOPLE, "numbers": (2,), "step_cm": 5},
    "coverage_in_chunks": {"chunks": [PEOPLE.frame], "chart": CHART},
    "draw_measures": {"frame": NUMBERED, "draws": 1, "seed": 1},
    "elsewhere": {**JUDGED, "replicates": 2},
    "edge_stability": {**FIT, "replicates": 2},
    "estimate_stature": {
        "sex": "female",
        "age_years": 70,
        "known": {"knee_height_cm": 50},
    },
    "fit_bands": {**FIT, "splits": 2},
    "fit_fairest": {**FIT, "by": "sex", "smallest": 1, "rounds": 2},
    "fit_groups": {**FIT, "widths": {"adult": WIDTHS}},
    "fit_guess": {},
    "fit_nine_sizes": {"people": PEOPLE, "sizes": 1, "step_cm": 5},
    "fits_matrix": {"values": PEOPLE.frame, "chart": CHART},
    "harm_words": {"harms": HARMS},
    "weighed_harm": {"harms": HARMS},
    "misfits": {"values": PEOPLE.frame, "chart": CHART},
    "frontier": {**FIT, "splits": 2, "sizes": (2,), "scales": (1.0,)},
    "group_of": {"people": PEOPLE},
    "judge_chart": JUDGED,
    "limits_of_agreement": {"guess": NUMBERS, "truth": NUMBERS},
    "load_people": {"name": "bariatric", "draws": 1},
    "measuring_error": {"readings": READINGS},
    "nudge": {"people": PEOPLE, "before": CHART, "after": CHART},
    "offer_from": {"charts": CHART, "prices": PRICES},
    "outcome_words": {"outcome": "one"},
    "partition_bands": {"values": NUMBERS, "bands": 2},
    "people_from": {"frame": FEW, "draws": 1},
    "people_of_survey": {"survey": SURVEY},
    "plan_stock": {
        "serves": GROUPS.head(1),
        "charts": CHART,
        "prices": PRICES,
        "scenarios": 20,
    },
    "plausible_range": {"measure": "stature_cm"},
    "practice_clients": {"people": PEOPLE, "chart": CHART, "n": 1},
    "read_answers": {"answers": ANSWERS, "chart": CHART},
    "read_caseload": {"path": "none.csv"},
    "read_chart": {"path": "none.csv"},
    "read_margins": {"path": "none.csv"},
    "read_nhanes_folder": {"folder": "none"},
    "read_nhanes_files": {"demographics": "a.xpt", "body_measures": "b.xpt"},
    "review_chart": {"chart": CHART},
    "reweight": {"people": PEOPLE, "margins": named_margins("care_home")},
    "room_result": {"answers": ANSWERS, "chart": CHART},
    "sensitivity": {
        "people": PEOPLE,
        "chart": CHART,
        "settings": assumptions().head(1),
    },
    "serves_from": {"serves": GROUPS.head(1)},
    "size_masks": {
        "values": {"hip_circumference_cm": np.array([900, 1000])},
        "chart": CHART,
    },
    "surprising_pairs": {"people": PEOPLE, "chart": CHART},
    "to_standard_units": {"frame": FEW},
    "to_tenths": {"values": NUMBERS},
    "verify": {"name": "vocabulary.csv"},
    "who_falls_between": {"people": PEOPLE, "chart": CHART},
    "why_none": JUDGED,
    "width_needed": {**FIT, "sizes": (2,), "targets": (0.5,), "most": 1.1},
    "with_edge": {
        "chart": CHART,
        "size": CHART.sizes[0],
        "measure": "hip_circumference_cm",
        "end": "low",
        "value": 80,
    },
    "write_chart": {"chart": CHART, "path": "sizes.csv"},
}
WRONG = {
    "people": PEOPLE,
    "chart": CHART,
    "table": pd.DataFrame({"a": [1]}),
    "nothing": None,
    "text": "no such thing",
    "number": 7,
    "thing": object(),
    "things": [object()],
    "named": {"a": object()},
}


def parameters(name: str) -> list[str]:
    named = inspect.signature(FUNCTIONS[name]).parameters.values()
    return [one.name for one in named if one.kind is not one.VAR_KEYWORD]


def test_every_public_function_is_here():
    assert {name for name in FUNCTIONS if parameters(name)} == set(GOOD)
    assert {name for name in sizing.__all__ if name in FUNCTIONS} <= set(FUNCTIONS)
    assert all(getattr(found, "_checked", False) for found in FUNCTIONS.values())


@pytest.mark.parametrize("name", sorted(GOOD))
def test_a_wrong_kind_is_refused_in_plain_words(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    strange = []
    for parameter in parameters(name):
        for kind, value in WRONG.items():
            given = {**GOOD[name], parameter: value}
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    FUNCTIONS[name](**given)
            except SizingError as wrong:
                assert str(wrong)
            except Exception as wrong:
                strange.append(f"{parameter}={kind}: {type(wrong).__name__}: {wrong}")
    assert strange == []


@pytest.mark.parametrize(
    ("name", "parameter", "value"),
    [
        ("estimate_coverage", "people", FEW),
        ("estimate_coverage", "chart", CHART.frame),
        ("check_client", "client", CHART),
        ("plan_stock", "charts", PRICES),
        ("chart_from", "frame", None),
        ("compare_charts", "chart_b", "mine.csv"),
    ],
)
def test_what_is_wrong_is_named(name, parameter, value):
    with pytest.raises(SizingError, match=rf"{name}\(\) cannot .* as {parameter}"):
        FUNCTIONS[name](**{**GOOD[name], parameter: value})


def test_a_fault_of_the_kit_is_not_hidden():
    """Only what was given wrongly is answered for the user."""

    @checked
    def faulty(number: int) -> int:
        raise KeyError(number)

    with pytest.raises(KeyError):
        faulty(3)
    with pytest.raises(SizingError, match="a whole number"):
        faulty("3")


def test_what_was_found_is_shown_at_bearable_length():
    """A whole table given for a name buried what was wrong."""
    words = str(SizingError("unknown people", allowed="everyone", value="x" * 9000))
    assert "Allowed: everyone" in words and len(words) < 400
