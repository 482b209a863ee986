"""Every public function refuses wrong kinds, and numbers that cannot be, in words."""

import inspect
import math
import warnings
from importlib import import_module
from typing import Any

import pandas as pd
import pytest

import sizing
from sizing import bands
from sizing.charts import demo_chart
from sizing.coverage import assumptions
from sizing.errors import SizingError
from sizing.kinds import checked
from sizing.lesson import read_answers
from sizing.people import load_people, people_from
from sizing.stock import Served, demo_scenario
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
JUDGED = {"people": PEOPLE, "chart": CHART, "replicates": 50}
GROUPS, PRICES = demo_scenario()
CLIENT = {"sex": "female", "age_years": 74, "body_mass_kg": 68}
NUMBERS = [3.0, 5.0, 4.0, 8.0]
ANSWERS = pd.DataFrame(
    {"participant": [1, 2], "subject": [1, 1], "chosen_size": CHART.sizes[0]}
)
READINGS = pd.DataFrame(
    {"participant": [1, 2] * 2, "subject": [1, 1, 2, 2], "value": NUMBERS}
).assign(measure="hip_circumference_cm", reading=1)
MARGINS = pd.DataFrame(
    [{"variable": "sex", "statistic": "share", "level": "female", "target": 0.6}]
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
    "default_widths": {},
    "coverage_in_chunks": {"chunks": [PEOPLE.frame], "chart": CHART},
    "draw_measures": {"frame": NUMBERED, "draws": 1, "seed": 1},
    "edge_stability": {**FIT, "replicates": 2},
    "estimate_stature": {
        "sex": "female",
        "age_years": 70,
        "known": {"knee_height_cm": 50},
    },
    "fit_bands": {**FIT, "splits": 2},
    "fit_fairest": {**FIT, "by": "sex", "smallest": 1},
    "fit_groups": {**FIT, "widths": {"adult": WIDTHS}},
    "fit_guess": {},
    "fit_nine_sizes": {"people": PEOPLE, "sizes": 1, "step_cm": 5},
    "fits_matrix": {"values": PEOPLE.frame, "chart": CHART},
    "harm_words": {"harms": HARMS},
    "weighed_harm": {"harms": HARMS},
    "frontier": {**FIT, "splits": 2, "sizes": (2,), "scales": (1.0,)},
    "group_of": {"people": PEOPLE},
    "judge_chart": JUDGED,
    "limits_of_agreement": {"guess": NUMBERS, "truth": NUMBERS},
    "load_people": {"name": "bariatric", "draws": 1},
    "measuring_error": {"readings": READINGS},
    "offer_from": {"charts": CHART, "prices": PRICES},
    "partition_bands": {"values": NUMBERS, "bands": 2},
    "people_from": {"frame": FEW, "draws": 1},
    "people_of_survey": {"survey": SURVEY},
    "plan_stock": {
        "serves": Served(PEOPLE, 2),
        "charts": CHART,
        "prices": PRICES,
        "scenarios": 50,
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
    "reweight": {"people": PEOPLE, "margins": MARGINS},
    "room_result": {"answers": read_answers(ANSWERS, CHART), "chart": CHART},
    "sensitivity": {
        "people": PEOPLE,
        "chart": CHART,
        "settings": assumptions().head(1),
    },
    "serves_from": {"serves": GROUPS.head(1)},
    "surprising_pairs": {"people": PEOPLE, "chart": CHART},
    "to_standard_units": {"frame": FEW},
    "to_tenths": {"values": NUMBERS},
    "verify": {"name": "nhanes_2017_2018_totals"},
    "who_falls_between": {"people": PEOPLE, "chart": CHART},
    "why_none": JUDGED,
    "width_needed": {**FIT, "sizes": (2,), "targets": (0.5,), "most": 1.1},
    "write_chart": {"chart": CHART, "path": "sizes.csv"},
}
#: Of these functions the settings that are numbers, or several, are made wrong too.
SEED = {"seed": 1}
MANY = {"replicates": 50, "seed": 1}
SETTINGS: dict[str, dict[str, Any]] = {
    "fit_bands": {
        "smooth_cm": 0.0,
        "near": 2.0,
        "too_large": 0.5,
        "too_small": 0.5,
        "load_limit_kg": 200.0,
        "tolerance": 0.01,
        "splits": 1,
        "seed": 1,
    },
    "edge_stability": {"replicates": 2, "seed": 1},
    "frontier": {"sizes": [2], "scales": [1.0], "splits": 1, "seed": 1},
    "width_needed": {"sizes": [2], "targets": [0.5], "most": 4.0},
    "partition_bands": {},
    "estimate_coverage": MANY,
    "compare_charts": MANY,
    "load_people": {"draws": 1, "seed": 1, "bmi_threshold": 40.0},
    "compare_ways": MANY,
    "chance_of_wrong_size": {**MANY, "times": [1]},
    "practice_clients": {"n": 3, "seed": 1},
    "surprising_pairs": {
        "people": load_people("bariatric", draws=1),
        "n": 1,
        "seed": 1,
    },
    "limits_of_agreement": {"participant": [1, 1, 2, 2], **MANY},
    "coverage_by_sizes": SEED,
    "fit_groups": {"splits": 0},
    "people_from": {"draws": 1, "seed": 1},
    "check_client": SEED,
    "plan_stock": {"target": 0.8, "budget": 1e6, "scenarios": 50, "seed": 1},
    "sensitivity": SEED,
    "why_none": MANY,
    "judge_chart": MANY,
}
#: Settings of which several may be given; other lists are data.
SEVERAL = ("scales", "sizes", "targets", "times")
NO_NUMBERS = (math.nan, math.inf, -math.inf, -1, "x", None, True, [], 10**400)
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


def test_all_else_that_they_are_given_is_right(tmp_path, monkeypatch):
    """Or all that follows is refused for what stands beside it."""
    monkeypatch.chdir(tmp_path)
    refused = set()
    for name, given in GOOD.items():
        try:
            FUNCTIONS[name](**given)
        except SizingError:
            refused.add(name)
    # Their files are not there.
    assert all(name.startswith("read_") for name in refused), refused


@pytest.mark.parametrize("name", sorted(GOOD))
def test_a_wrong_kind_is_refused_in_plain_words(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    strange = []
    usual = inspect.signature(FUNCTIONS[name]).parameters
    for parameter in parameters(name):
        for kind, value in WRONG.items():
            if value is None and usual[parameter].default is None:
                continue  # as good as left out, which is tried above
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


@pytest.mark.filterwarnings("ignore::sizing.errors.SizingWarning")
@pytest.mark.parametrize("name", SETTINGS)
def test_a_setting_that_cannot_be_is_refused_in_plain_words(name):
    what, given = FUNCTIONS[name], {**GOOD[name], **SETTINGS[name]}
    what(**given)
    takes = {
        **inspect.signature(bands.FitSettings).parameters,
        **inspect.signature(what).parameters,
    }
    # Left out, people are smoothed or not as their measures ask.
    optional = {one for one, how in takes.items() if how.default is None}
    optional |= {"smooth_cm"} if name == "fit_bands" else set()
    taken, tried = [], 0
    for setting, good in given.items():
        if isinstance(good, bool) or not (
            isinstance(good, int | float) or setting in SEVERAL
        ):
            continue
        for wrong in NO_NUMBERS:
            if wrong is None and setting in optional:
                continue
            value = [wrong] if isinstance(good, list | tuple) else wrong
            tried += 1
            try:
                what(**{**given, setting: value})
            except SizingError as error:
                assert "Traceback" not in str(error)
            except Exception as error:
                taken.append(f"{setting}={value!r}: {type(error).__name__}: {error}")
            else:
                taken.append(f"{setting}={value!r} was taken")
    assert tried and not taken, "\n".join(taken)


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        ("fit_bands", {"step": 1.0}, "did you mean 'step_cm'"),
        ("frontier", {"smoth_cm": 1.0}, "'smooth_cm'"),
        ("fit_groups", {"least_stepp": {}}, "'least_step'"),
        ("fit_bands", {"fixed": {"a": 1}}, "cannot use this as fixed"),
        ("fit_bands", {"seeds": 1}, "no setting of this name"),
        ("estimate_coverage", {"chrt": 1}, "did you mean 'chart'"),
    ],
)
def test_a_misspelt_setting_is_told_the_nearest_name(name, given, words):
    with pytest.raises(SizingError, match=words):
        FUNCTIONS[name](**{**GOOD[name], **given})


def test_constructors_and_methods_refuse_a_wrong_kind():
    with pytest.raises(SizingError, match=r"SizeChart\(\) cannot use this as frame"):
        sizing.SizeChart({"size": ["one"]})
    with pytest.raises(SizingError, match="did you mean 'source'"):
        sizing.SizeChart(CHART.frame, sorce="x")
    with pytest.raises(SizingError, match="unknown measure"):
        CHART.edges("hip_circumference")
