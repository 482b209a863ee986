"""Every public function refuses wrong kinds, and numbers that cannot be, in words."""

import inspect
import math
import warnings
from importlib import import_module

import pandas as pd
import pytest

import sizing
from sizing import bands
from sizing.charts import demo_chart
from sizing.coverage import assumptions
from sizing.errors import SizingError, checked
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


def call(*given, **named):
    return given, named


FEW = pd.DataFrame(
    {
        "sex": ["female", "male"] * 4,
        "age_years": [34.0, 71, 45, 82, 58, 39, 66, 50],
        "body_mass_kg": [58.0, 92, 70, 81, 64, 77, 99, 88],
        "stature_cm": [160.0, 178, 165, 171, 158, 183, 170, 176],
    }
)
PEOPLE = people_from(FEW, draws=1)
SURVEY = read_embedded()
WIDTHS = {"hip_circumference_cm": 20}
FIT = {"people": PEOPLE, "widths": WIDTHS, "sizes": 2, "step_cm": 5}
SHARES = {"smooth_cm": 0.0, "near": 2.0, "too_large": 0.5, "too_small": 0.5}
JUDGED = {"people": PEOPLE, "chart": CHART, "replicates": 50}
GROUPS, PRICES = demo_scenario()
SERVED = Served(PEOPLE, 2)
AIMS = {"target": 0.8, "budget": 1e6}
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
#: What each function is given while one parameter in turn is wrong.
GIVEN = {
    "assign": call(PEOPLE, CHART),
    "age_band": call(FEW["age_years"]),
    "allowance_table": call({}),
    "chance_of_wrong_size": call(**JUDGED, times=[1]),
    "chart_from": call(CHART.frame),
    "check_client": call(CHART, CLIENT),
    "client_from": call(CLIENT),
    "common_group": call(PEOPLE),
    "compare_charts": call(PEOPLE, CHART, CHART, replicates=20),
    "compare_ways": call(**JUDGED, ways=("usual", "stature")),
    "coverage_by_sizes": call(PEOPLE, numbers=(2,), step_cm=5),
    "coverage_in_chunks": call([PEOPLE.frame], CHART),
    "default_widths": call(),
    "draw_measures": call(FEW.assign(person=range(8)), draws=1, seed=1),
    "edge_stability": call(**FIT, replicates=2),
    "estimate_coverage": call(**JUDGED),
    "estimate_stature": call("female", 70, {"knee_height_cm": 50}),
    "fit_bands": call(**FIT, splits=1, load_limit_kg=200.0, tolerance=0.01, **SHARES),
    "fit_fairest": call(**FIT, by="sex", smallest=1),
    "fit_groups": call(**{**FIT, "widths": {"adult": WIDTHS}}, splits=0),
    "fit_guess": call(),
    "fit_nine_sizes": call(PEOPLE, sizes=1, step_cm=5),
    "fits_matrix": call(PEOPLE.frame, CHART),
    "frontier": call(**{**FIT, "sizes": (2,)}, splits=1, scales=(1.0,)),
    "group_of": call(PEOPLE),
    "harm_words": call(HARMS),
    "judge_chart": call(**JUDGED),
    "learn_chart": call(read_trials(demo_trials(), CHART)),
    "limits_of_agreement": call(NUMBERS, NUMBERS, participant=[1, 1, 2, 2]),
    "load_people": call("bariatric", draws=1),
    "measuring_error": call(READINGS),
    "offer_from": call(CHART, PRICES),
    "partition_bands": call(NUMBERS, bands=2),
    "people_from": call(FEW, draws=1),
    "people_of_survey": call(SURVEY),
    "plan_stock": call(SERVED, CHART, prices=PRICES, scenarios=50, **AIMS),
    "plausible_range": call("stature_cm"),
    "practice_clients": call(PEOPLE, CHART, n=1),
    "read_answers": call(ANSWERS, CHART),
    "read_caseload": call("none.csv"),
    "read_chart": call("none.csv"),
    "read_margins": call("none.csv"),
    "read_nhanes_files": call("a.xpt", "b.xpt"),
    "read_nhanes_folder": call("none"),
    "read_trials": call(demo_trials(), CHART),
    "review_chart": call(CHART),
    "reweight": call(PEOPLE, MARGINS),
    "room_result": call(read_answers(ANSWERS, CHART), CHART),
    "sensitivity": call(PEOPLE, CHART, settings=assumptions().head(1)),
    "serves_from": call(GROUPS.head(1)),
    "surprising_pairs": call(load_people("bariatric", draws=1), CHART, n=1),
    "to_standard_units": call(FEW),
    "to_tenths": call(NUMBERS),
    "verify": call("nhanes_2017_2018_totals"),
    "weighed_harm": call(HARMS),
    "who_falls_between": call(PEOPLE, CHART),
    "why_none": call(**JUDGED),
    "width_needed": call(**{**FIT, "sizes": (2,)}, targets=(0.5,), most=1.1),
    "write_chart": call(CHART, "sizes.csv"),
}


def parameters(name: str) -> dict[str, inspect.Parameter]:
    named = inspect.signature(FUNCTIONS[name]).parameters.items()
    return {one: how for one, how in named if how.kind is not how.VAR_KEYWORD}


GOOD = {
    name: dict(zip(parameters(name), given, strict=False)) | named
    for name, (given, named) in GIVEN.items()
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


def numbers(name: str) -> list[str]:
    """Return the settings of a function that are a number, or several."""
    shown = {one: how.default for one, how in parameters(name).items()} | GOOD[name]
    return [
        one
        for one, value in shown.items()
        if one in SEVERAL
        or (isinstance(value, int | float) and not isinstance(value, bool))
    ]


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
    usual = parameters(name)
    for parameter in usual:
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
@pytest.mark.parametrize("name", sorted(filter(numbers, GOOD)))
def test_a_setting_that_cannot_be_is_refused_in_plain_words(name):
    takes, taken = inspect.signature(bands.FitSettings).parameters, []
    takes = {**takes, **parameters(name)}
    for setting in numbers(name):
        # Left out, people are smoothed or not as their measures ask.
        how = takes.get(setting)
        optional = setting == "smooth_cm" or (how and how.default is None)
        for wrong in NO_NUMBERS:
            if wrong is None and optional:
                continue
            value = [wrong] if setting in SEVERAL else wrong
            try:
                FUNCTIONS[name](**{**GOOD[name], setting: value})
            except SizingError as error:
                assert "Traceback" not in str(error)
            except Exception as error:
                taken.append(f"{setting}={value!r}: {type(error).__name__}: {error}")
            else:
                taken.append(f"{setting}={value!r} was taken")
    assert not taken, "\n".join(taken)


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        ("estimate_coverage", {"people": FEW}, r"e\(\) cannot .* as people"),
        ("estimate_coverage", {"chart": CHART.frame}, r"e\(\) cannot .* as chart"),
        ("check_client", {"client": CHART}, r"check_client\(\) cannot .* as client"),
        ("fit_bands", {"step": 1.0}, "did you mean 'step_cm'"),
        ("fit_groups", {"least_stepp": {}}, "'least_step'"),
        ("fit_bands", {"fixed": {"a": 1}}, "cannot use this as fixed"),
        ("fit_bands", {"seeds": 1}, "no setting of this name"),
        ("estimate_coverage", {"chrt": 1}, "did you mean 'chart'"),
    ],
)
def test_what_is_wrong_is_named_and_a_misspelt_setting_with_the_nearest(
    name, given, words
):
    with pytest.raises(SizingError, match=words):
        FUNCTIONS[name](**{**GOOD[name], **given})


def test_constructors_and_methods_refuse_a_wrong_kind():
    with pytest.raises(SizingError, match=r"SizeChart\(\) cannot use this as frame"):
        sizing.SizeChart({"size": ["one"]})
    with pytest.raises(SizingError, match="did you mean 'source'"):
        sizing.SizeChart(CHART.frame, sorce="x")
    with pytest.raises(SizingError, match="unknown measure"):
        CHART.edges("hip_circumference")
