"""Slings tried on: what is read, what is learned, and what is not."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import chart_from, demo_chart, read_chart
from sizing.cli.main import main
from sizing.errors import InputProblems, SizingError
from sizing.trials import demo_trials, learn_chart, model, read_trials
from sizing.trials.learn import LEAST_OF_SIZE, _tried
from sizing.trials.model import Tried, draw, minus_log_posterior, state
from tests.trials.simulated import MEASURES, chart, simulated

HIPS = "hip_circumference_cm"


def arrays(count=60, seed=1, services=6):
    trials = read_trials(simulated(count, seed, services=services)[0], chart())
    names = sorted(trials.frame["service"].unique())
    return _tried(trials, ["one", "two", "three"], names)


@pytest.fixture(scope="module")
def demo():
    return learn_chart(read_trials(demo_trials(), demo_chart(), invented=True))


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6))
def test_the_slope_is_that_of_the_posterior_and_chances_are_whole(seed):
    tried = arrays()
    theta = np.random.default_rng(seed).normal(0, 0.7, tried.parts[-1].stop)
    slope = minus_log_posterior(theta, tried)[1]
    step = 1e-5
    for i in np.random.default_rng(seed).choice(len(theta), 6, replace=False):
        ahead, behind = theta.copy(), theta.copy()
        ahead[i], behind[i] = theta[i] + step, theta[i] - step
        rise = minus_log_posterior(ahead, tried)[0]
        rise -= minus_log_posterior(behind, tried)[0]
        assert rise / (2 * step) == pytest.approx(slope[i], abs=1e-4)
    chances = model.outcome_chances(tried, theta)
    assert chances.sum(axis=0) == pytest.approx(1) and (chances > -1e-9).all()


SAID = [
    (outcome, small, large)
    for outcome in range(4)
    for small in ((), (0,), (1,), (0, 1))
    for large in ((), (0,), (1,))
    if not set(small) & set(large)
    and (not small or outcome in (1, 3))
    and (not large or outcome in (2, 3))
]


@pytest.mark.parametrize(("outcome", "small", "large"), SAID)
def test_a_trials_chance_is_what_brute_force_finds(outcome, small, large, monkeypatch):
    """One body judged 200,000 times at two measures; what was written is counted."""
    monkeypatch.setattr(model, "SLIP", 1e-9)
    said = np.zeros((2, 2, 1), dtype=bool)
    said[0, list(large), 0] = said[1, list(small), 0] = True
    value = np.array([[49.0], [91.0]])
    printed = np.array([[[48.0], [88.0]], [[50.0], [92.5]]])
    tried = Tried(
        value, np.zeros((2, 1)), np.zeros(1, int), np.full(1, -1), printed, said,
        np.array([outcome]), np.ones(2),
    )  # fmt: skip
    found = np.exp(-minus_log_posterior(np.zeros(tried.parts[-1].stop), tried)[0])
    felt = value + np.random.default_rng(3).normal(0, model.SPREAD[0], (2, 200_000))
    low, high = felt < printed[0], felt > printed[1]
    happened = high.any(axis=0) + 2 * low.any(axis=0) == outcome
    if small:
        happened &= (high == said[1]).all(axis=0)
    if large:
        happened &= (low == said[0]).all(axis=0)
    assert found == pytest.approx(happened.mean(), abs=0.004)


def test_one_measure_is_learned_as_statsmodels_ordinal_model_finds_it(monkeypatch):
    """Probit with two cuts is the same model, where tapes do not err."""
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    monkeypatch.setattr(model, "SLIP", 1e-6)
    rng = np.random.default_rng(5)
    x = rng.normal(100, 12, 1500)
    felt = x + rng.normal(0, 2.0, 1500)
    outcome = np.where(felt > 113, 1, np.where(felt < 91, 2, 0))
    tried = Tried(
        x[None], np.full((1, 1500), 1e-6), np.zeros(1500, int), np.full(1500, -1),
        np.array([[[90.0]], [[114.0]]]), np.zeros((2, 1, 1500), bool), outcome,
        np.ones(1),
    )  # fmt: skip
    drawn = np.array([state(tried, t).edges.ravel() for t in draw(tried, rng)])
    order = pd.Series(np.select([outcome == 2, outcome == 0], [0, 1], 2))
    fitted = OrderedModel(order, x[:, None] - 100, distr="probit").fit(disp=0)
    cuts = fitted.model.transform_threshold_params(fitted.params)[1:3]
    slope = np.asarray(fitted.params)[0]
    assert drawn.mean(axis=0) == pytest.approx(100 + cuts / slope, abs=0.12)
    assert (drawn.std(axis=0) < 0.5).all()


def test_the_demo_finds_its_scenario_and_says_first_that_it_is_invented(demo):
    rows = demo.learned.set_index(["measure", "end"])
    moved = (rows["estimate"] - rows["printed"]).groupby(level=[0, 1]).mean()
    assert moved[HIPS, "high"] == pytest.approx(-3, abs=1)
    assert moved["shoulder_height_sitting_cm", "high"] == pytest.approx(2, abs=1)
    assert "hill" in set(demo.services[demo.services["disagrees"]]["service"])
    assert demo.summary().startswith(
        "Invented for demonstration: the size chart, the t"
    )
    assert demo.chart.invented == ("chart",)
    untried = demo.edges[demo.edges["n"] < LEAST_OF_SIZE]
    assert untried["estimate"].isna().all() and untried["why_none"].ne("").all()


def test_the_same_seed_gives_the_same_and_another_nearly_the_same(demo):
    again = learn_chart(demo.trials, seed=1)
    pd.testing.assert_frame_equal(again.edges, demo.edges)
    other = learn_chart(demo.trials, seed=2).edges["estimate"]
    assert (other - demo.edges["estimate"]).abs().max() < 1.0


def test_more_trials_settle_an_edge_about_when_they_were_foretold():
    frame, _ = simulated(150, 7)
    row = learn_chart(read_trials(frame, chart())).edges
    first = row[row["more_trials"] > 40].nsmallest(1, "more_trials").iloc[0]
    more = int(first["more_trials"])
    frame, _ = simulated(150 + more, 7)
    rows = learn_chart(read_trials(frame, chart())).edges
    now = rows.loc[first.name]
    assert 0.6 < (now["high"] - now["low"]) / 2 < 1.5


def test_a_weight_band_is_learned_alone_and_never_raised():
    """What a sling may carry stands on its label."""
    rng = np.random.default_rng(1)
    kg = rng.uniform(40, 110, 200).round(1)
    outcome = np.where(kg > 95, "too small", np.where(kg < 55, "too large", "fits"))
    frame = pd.DataFrame({"size": "a", "body_mass_kg": kg, "outcome": outcome})
    limits = {"size": ["a"], "body_mass_kg_low": [50], "body_mass_kg_high": [80]}
    own = chart_from(pd.DataFrame(limits), name="w", warn=False)
    found = learn_chart(read_trials(frame, own))
    assert found.edges["estimate"].tolist() == pytest.approx([55, 95], abs=2.5)
    assert found.chart.frame["body_mass_kg_high"].tolist() == [80]
    both = chart_from(pd.DataFrame(limits | {f"{HIPS}_low": [80]}), warn=False)
    assert read_trials(frame.assign(**{HIPS: kg + 20}), both).measures == (HIPS,)


IS_WRONG = [
    *(({"size": one}, "column 'size'.*this size is not known") for one in ("xl", "")),
    ({"outcome": "perfect"}, "column 'outcome'.*this outcome is not known"),
    ({"how": "by eye"}, "column 'how'.*this how is not known"),
    ({"pattern": "hammock"}, "column 'pattern'.*this pattern is not known"),
    ({"too_small_where": "elbow"}, "which measure this place is of is not clear"),
    ({HIPS: "a lot"}, f"column '{HIPS}'.*text instead of a number"),
    ({HIPS: 4000}, f"column '{HIPS}'.*no body has this value"),
    # Outcomes that contradict their places.
    ({"too_small_where": "hips"}, "to be too small there, and yet 'fits'"),
    (
        {"outcome": "too small", "too_large_where": "back"},
        "to be too large there, and yet 'too small'",
    ),
    (
        {"outcome": "both", "too_small_where": "hips", "too_large_where": "hips"},
        "too small and too large in the same place",
    ),
]


@pytest.mark.parametrize(("cells", "words"), IS_WRONG)
def test_what_is_wrong_is_named_by_row_and_column(cells, words):
    frame = simulated(40, 1)[0].assign(how="", pattern="").astype(object)
    plain = {"outcome": "fits", "too_small_where": "", "too_large_where": ""}
    frame.loc[3, [*(plain | cells)]] = list((plain | cells).values())
    with pytest.raises(InputProblems, match=f"row 5, .*{words}"):
        read_trials(frame, chart())


def test_what_cannot_be_used_is_named_and_counted():
    frame = simulated(40, 1)[0].assign(chart="mine", pattern="full-body")
    frame = pd.concat([frame, frame.iloc[[0]]], ignore_index=True)
    frame.loc[1, "chart"], frame.loc[2, "pattern"] = "another", "bathing"
    frame.loc[3, "outcome"], frame.loc[4, HIPS] = "", np.nan
    frame.loc[3, ["too_small_where", "too_large_where"]] = ""
    with pytest.raises(SizingError, match=r"several patterns.*full-body, bathing"):
        read_trials(frame, chart())
    found = read_trials(frame, chart(), pattern="full-body")
    assert found.left_out["row"].tolist() == [3, 4, 5, 6, 42]
    assert found.left_out["reason"].str.contains("counted once").sum() == 1


def test_trials_that_cannot_teach_are_refused_in_plain_words():
    frame = simulated(40, 1)[0].assign(too_small_where="", too_large_where="")
    with pytest.raises(SizingError, match="holds 12 trials that can be used"):
        read_trials(frame.head(12), chart())
    for outcome, words in (("fits", "all fit"), ("too small", "none fits")):
        with pytest.raises(SizingError, match=words):
            learn_chart(read_trials(frame.assign(outcome=outcome), chart()))
    with pytest.raises(InputProblems, match=r"did not measure.*hip_circumference_cm"):
        read_trials(frame.drop(columns=HIPS), chart())


def test_a_measure_that_never_limits_and_a_size_never_tried_have_no_estimate():
    frame = simulated(500, 2, named=1.0)[0]
    high = frame["too_large_where"].str.contains("back")
    found = learn_chart(read_trials(frame[(frame["size"] == "two") & ~high], chart()))
    rows = found.edges.set_index(["measure", "size", "end"])
    why = rows.loc[(MEASURES[0], "two", "low"), "why_none"]
    assert why == "no sling was too large there"
    assert rows.xs("one", level="size")["estimate"].isna().all()
    assert rows.xs("two", level="size")["estimate"].notna().any()
    shown, printed = (c.frame.set_index("size") for c in (found.chart, chart()))
    assert shown.loc["one"].equals(printed.loc["one"])


def test_a_service_that_judges_otherwise_is_found():
    frame, _ = simulated(300, 3)
    frame["service"] = [f"s{i % 6}" for i in range(300)]
    theirs = (frame["service"] == "s5") & (frame["outcome"] == "too small")
    frame.loc[theirs, ["outcome", "too_small_where"]] = "fits", ""
    found = learn_chart(read_trials(frame, chart())).services
    worst = found.loc[(found["count"] - found["expected"]).abs().idxmax()]
    assert (worst["service"], worst["outcome"]) == ("s5", "too small")
    assert worst["disagrees"] and worst["low"] > 0.5


def test_other_units_names_and_loads():
    frame = simulated(60, 4)[0]
    inches = {"Hips (in)": frame[HIPS] / 2.54, "name": "x", "Weight (kg)": 100.0}
    limits = chart_from(chart().frame.assign(load_limit_kg=90.0), warn=False)
    with pytest.warns(UserWarning) as caught:
        found = read_trials(frame.drop(columns=HIPS).assign(**inches), limits)
    told = "\n".join(str(one.message) for one in caught)
    assert "left out 'name'" in told and "heavier than the load limit" in told
    assert found.frame[HIPS].to_numpy() == pytest.approx(frame[HIPS].to_numpy())


def test_the_command_walks_from_the_form_to_the_learned_chart(tmp_path, capsys):
    blank, form, learned = (tmp_path / n for n in ("b.xlsx", "f.html", "l.csv"))
    report, printed = tmp_path / "r.html", tmp_path / "chart.csv"
    assert main(["blank", "trials", str(blank)]) == 0
    assert main(["trials", "--form", str(form), "--pattern", "bathing"]) == 0
    text = form.read_text(encoding="utf-8")
    assert "When to stop" in text and "common practice, no source" in text
    assert "A wet sling and wet skin slide" in text
    chart().frame.to_csv(printed, index=False)
    simulated(120, 1)[0].to_csv(tmp_path / "t.csv", index=False)
    asked = ["trials", str(tmp_path / "t.csv")]
    assert main(asked) == 2 and "--chart FILE" in capsys.readouterr().err
    asked += ["--chart", str(printed), "--learned", str(learned)]
    asked += ["--pattern", "toileting or access"]
    assert main([*asked, "--report", str(report), "--json"]) == 0
    told = json.loads(capsys.readouterr().out.partition("\nLearned")[0])
    assert told["summary"].startswith("The chart limits too little")
    assert len(told["edges"]) == 12
    assert read_chart(learned, warn=False).name == "chart, learned"
    text = report.read_text(encoding="utf-8")
    assert "Before any lift" in text and "limits too little to judge" in text
    assert main(["trials"]) == 0
    assert capsys.readouterr().out.startswith("Invented for demonstration")
