"""Shares and their intervals: invariants, oracles, and a known truth."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import OUTCOMES, SizeChart, assign, chart_from, demo_chart
from sizing.charts.assign import OUTCOME_WORDS
from sizing.coverage import compare_charts, estimate_coverage, harm_words, weighed_harm
from sizing.errors import SizingError
from sizing.people.people import layout
from sizing.stats.estimates import group_means
from sizing.stats.formulas import replicate_counts
from sizing.words.numbers import points

from .cases import CHART, chart_of, invented, people_with

BY = ["sex", "age_band", "bmi_class"]
NUMBERS = ["estimate", "low", "high", "n", "standard_error", "df"]


def test_shares_add_up_in_every_group(rng):
    found = estimate_coverage(invented(rng), demo_chart(), by=BY)
    wide = found.table.pivot_table(
        index=["by", "level"], columns="outcome", values="estimate"
    )
    assert np.allclose(wide[list(OUTCOMES)].sum(axis=1), 1)
    assert np.allclose(wide["covered"], wide["one"] + wide["choice"])
    assert wide.index[wide.index.get_level_values("by") == "sex"].size == 2
    assert (found.table["low"] <= found.table["estimate"]).all()
    assert (found.table["estimate"] <= found.table["high"]).all()
    assert found.table["low"].min() >= 0
    assert found.table["high"].max() <= 1
    assert found.by_size.columns[:3].tolist() == ["size", "share", "estimate"]
    sizes = found.by_size.pivot_table("estimate", "size", "share")
    assert (sizes["only_size"] <= sizes["fits"]).all()
    assert sizes["only_size"].sum() == pytest.approx(
        wide["one"].loc["everyone"].iloc[0]
    )


def test_the_order_of_people_and_sizes_does_not_matter(rng):
    people, chart = invented(rng), demo_chart()
    order = rng.permutation(len(people.frame))
    frame, weight = (
        one.iloc[order].reset_index(drop=True) for one in (people.frame, people.weight)
    )
    mixed = replace(people, frame=frame, weight=weight)
    turned = SizeChart(chart.frame.iloc[::-1].reset_index(drop=True))
    plain = estimate_coverage(people, chart, by="sex").table[NUMBERS]
    for other in (
        estimate_coverage(mixed, chart, by="sex"),
        estimate_coverage(people, turned, by="sex"),
    ):
        pd.testing.assert_frame_equal(other.table[NUMBERS], plain, rtol=1e-5)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6), more=st.floats(0.1, 9))
def test_widening_any_size_never_lowers_coverage(seed, more):
    rng = np.random.default_rng(seed)
    people, chart = invented(rng, 60, 2), demo_chart()
    wide = chart.frame.copy()
    measure, size = rng.choice(chart.measures), rng.integers(len(wide))
    end, sign = (("low", -1), ("high", 1))[rng.integers(2)]
    wide.loc[size, f"{measure}_{end}"] += sign * more
    before, after = (
        estimate_coverage(people, c, replicates=50).table["estimate"].iloc[0]
        for c in (chart, SizeChart(wide))
    )
    assert after >= before


def test_whole_weights_equal_people_repeated(rng):
    people, times = invented(rng, 80, 1), rng.integers(1, 4, 80)
    repeated = people.frame.loc[people.frame.index.repeat(times)].reset_index(drop=True)
    repeated["person"] = range(len(repeated))
    weighted = replace(people, weight=pd.Series(times))
    left = estimate_coverage(weighted, demo_chart(), by=BY).table
    right = estimate_coverage(people_with(repeated), demo_chart(), by=BY).table
    assert np.allclose(left["estimate"], right["estimate"])
    assert left["level"].tolist() == right["level"].tolist()


def test_shares_against_pandas(rng):
    people = invented(rng)
    found = estimate_coverage(people, CHART, by="sex").table
    x = people.frame["stature_cm"].round(1)
    inside = x.between(150, 168) | x.between(172, 190)
    for sex in ("female", "male"):
        here = people.frame["sex"] == sex
        want = np.average(inside[here], weights=people.weight[here])
        row = found.query("level == @sex and outcome == 'covered'").iloc[0]
        assert row["estimate"] == pytest.approx(want)
        assert row["n"] == people.frame.loc[here, "person"].nunique()
        w = people.weight[here & (people.frame["draw"] == 0)]
        assert row["n_effective"] == pytest.approx(w.sum() ** 2 / (w**2).sum())


def test_interval_against_scipy_where_nobody_and_where_some(rng):
    frame = pd.DataFrame({"stature_cm": np.r_[np.full(60, 160.0), np.full(140, 140.0)]})
    table = estimate_coverage(people_with(frame), CHART, replicates=4000).table
    rows = table.set_index("outcome")
    got = rows.loc["covered", ["low", "high"]].to_numpy(float)
    want = stats.binomtest(60, 200).proportion_ci(method="wilson")
    assert np.allclose(got, [want.low, want.high], atol=0.004)
    nobody = rows.loc["over_load"]
    assert (nobody["estimate"], nobody["low"]) == (0, 0)
    t2 = stats.t.ppf(0.975, 199) ** 2
    assert nobody["high"] == pytest.approx(t2 / (200 + t2))
    all_in = estimate_coverage(people_with(frame[:60]), CHART).table.iloc[0]
    assert all_in["high"] == 1
    assert 0.9 < all_in["low"] < 1


@pytest.mark.parametrize("top", [168.0, 154.0])
def test_95_per_cent_intervals_hold_the_truth_when_all_is_measured(rng, top):
    """200 studies of 120 weighted persons, told as groups of one population."""
    chart = chart_of(one=(150, top))
    # Values are rounded to whole mm, so the band is wider by 0.05 at each end.
    truth = np.diff(stats.norm.cdf([149.95, top + 0.05], 168, 9))[0]
    held = []
    for _ in range(4):
        study = np.repeat(np.arange(50), 120)
        frame = pd.DataFrame({"study": study, "stature_cm": rng.normal(168, 9, 6000)})
        people = people_with(frame, rng.gamma(4, 1, 6000))
        table = estimate_coverage(people, chart, by="study", replicates=200).table
        rows = table.query("by == 'study' and outcome == 'covered'")
        held.append(((rows["low"] <= truth) & (truth <= rows["high"])).mean())
    assert 0.92 <= np.mean(held) <= 0.98


def test_groups_that_differ_between_draws(rng):
    people = invented(rng, 200, 2)
    frame = people.frame.copy()
    frame["drawn"] = np.where(rng.random(len(frame)) < 0.5, "yes", "no")
    found = estimate_coverage(
        replace(people, frame=frame), demo_chart(), by="drawn"
    ).table
    yes = frame["drawn"] == "yes"
    row = found.query("level == 'yes'").iloc[0]
    assert row["n"] == round(yes.groupby(frame["draw"]).sum().mean())


def test_a_paired_difference_against_its_formula(rng):
    n = 500
    frame = pd.DataFrame({"stature_cm": rng.normal(168, 9, n)})
    wider = chart_of(one=(150, 170), two=(172, 190))
    found = compare_charts(people_with(frame), CHART, wider, replicates=2000)
    row = found.table.iloc[0]
    gained = frame["stature_cm"].round(1).between(168.1, 170)
    assert row["estimate"] == pytest.approx(gained.mean())
    assert row["standard_error"] == pytest.approx(gained.std() / np.sqrt(n), rel=0.06)
    alone = estimate_coverage(people_with(frame), wider).table.iloc[0]
    assert row["standard_error"] < 0.75 * np.sqrt(2) * alone["standard_error"]
    assert row["share_b"] == pytest.approx(alone["estimate"])
    assert row["share_b"] - row["share_a"] == pytest.approx(row["estimate"])
    assert "points" in found.summary()
    assert "competent person" in found.summary()


def test_degrees_of_freedom_are_those_of_the_people_who_count(rng):
    """The effective number less 1, and never less than 1."""
    people = invented(rng, 40, 1)
    size = np.where(people.frame["person"] < 2, "two", "others")
    size[2] = "one"
    weight = people.weight.where(people.frame["person"] > 1, 1.0)
    some = replace(people, frame=people.frame.assign(ward=size), weight=weight)
    table = estimate_coverage(some, demo_chart(), by="ward").table
    df = table.query("outcome == 'covered'").set_index("level")["df"]
    assert df["two"] == pytest.approx(1) and df["one"] == pytest.approx(1)
    w = weight[size == "others"]
    assert df["others"] == pytest.approx(w.sum() ** 2 / (w**2).sum() - 1)


def test_the_evidence_of_each_group_is_told(rng):
    people = invented(rng, 100, 1)
    evidence = people.evidence.copy()
    evidence.loc[people.frame["sex"] == "male", "hip_circumference_cm"] = "unsupported"
    graded = replace(people, evidence=evidence)
    told = estimate_coverage(graded, demo_chart(), by="sex")
    rows = told.table.query("outcome == 'covered'").set_index("level")
    assert rows.loc["female", ["predicted", "unsupported"]].tolist() == [1, 0]
    assert rows.loc["male", ["predicted", "unsupported"]].tolist() == [0, 1]
    share = people.weight[people.frame["sex"] == "male"].sum() / people.weight.sum()
    assert rows.loc["everyone", "unsupported"] == pytest.approx(share)
    assert f"For {100 * share:.1f} % of these people" in told.summary()


def test_what_is_said_are_the_figures_of_everyone(rng):
    """Were these the figures, far from nothing so that a hundredth part is seen."""
    people = replace(invented(rng, 100, 1), limits=("Nobody sat.",))
    found = estimate_coverage(people, demo_chart(), by="sex")
    for words in ("Nobody sat.", "sling's own label", "competent person"):
        assert words in found.summary()
    table = found.table.copy()
    table.loc[0, ["estimate", "low", "high"]] = [0.901, 0.804, 0.963]
    table.loc[0, ["extrapolated", "unsupported", "missing"]] = [0.3, 0.4, 0.25]
    table.loc[1:, "estimate"] = 0.0
    table.loc[table["outcome"] == "between", ["estimate", "low", "high"]] = 0.5
    table["n"] = 1234
    told = replace(found, table=table).summary().splitlines()
    method = table["method"].iloc[0]
    assert told[0] == (
        "invented demo chart covers 90.1 % (80.4 to 96.3) of some (n = 1,234; "
        f"{method})."
    )
    words = OUTCOME_WORDS["between"]
    assert told[1] == f"{words}: 50.0 %."
    assert told[2].startswith("Why some have no size. Their nearest size is too large:")
    assert told[3].startswith("For 95.0 % of these people the answer rests on")
    assert "Fewer than 30" not in "".join(told)
    assert found.table.loc[0, "level"] == "everyone"


def test_a_chart_by_weight_alone_beats_no_chart_of_measures(rng):
    """It fits nearly everyone, since it looks at one thing; no winner is named."""
    people = invented(rng, 300, 2)
    weight = pd.DataFrame({"size": ["S", "M", "L"], "body_mass_kg_low": [0, 60, 90]})
    weight["body_mass_kg_high"] = [60.0, 90.0, 400.0]
    light = chart_from(weight, name="by weight", warn=False)
    lengths = demo_chart().frame.filter(regex="size|group|^shoulder|^hip")
    full = chart_from(lengths, name="by tape", warn=False)
    found = compare_charts(people, full, light, replicates=50)
    told = found.summary().splitlines()[0]
    assert found.shared == () and "no measure in common" in told
    assert "Neither can be said to be better" in told and "covers" not in told
    assert "never looks at the " in told
    # By hand: for each size, the best band of the width the other chart has.
    size = assign(people, light).table["size"]
    back = (10 * people.frame["shoulder_height_sitting_cm"] + 0.5 + 1e-7).astype(int)
    ends = lengths.filter(like="shoulder_height_sitting_cm")
    wide = round(10 * ends.diff(axis=1).iloc[:, 1].median())
    held = 0.0
    for name in light.sizes:
        x, w = back[size == name].to_numpy(), people.weight[size == name].to_numpy()
        held += max((w * ((x >= low) & (x <= low + wide))).sum() for low in set(x))
    want = 1 - held / people.weight[size.notna()].sum()
    rows = found.unchecked.set_index(["chart", "measure"])
    row = rows.loc[("by weight", "shoulder_height_sitting_cm")]
    assert row["estimate"] == pytest.approx(want) and row["width"] == wide / 10
    assert row["low"] <= row["estimate"] <= row["high"]


def test_charts_that_share_some_measures_are_judged_by_those_alone(rng):
    people = invented(rng, 200, 1)
    hip, both = "hip_circumference_cm", demo_chart()
    alone = SizeChart(both.frame.filter(regex=f"size|group|load|^{hip}"), name="hip")
    found = compare_charts(people, both, alone, replicates=50)
    assert found.shared == (hip,)
    # Judged by hip girth alone they are the same chart.
    assert found.table["estimate"].abs().max() == 0
    assert set(found.unchecked["chart"]) == {"hip"}
    assert "which both limit" in found.summary()


def test_the_two_harms_are_those_of_the_nearest_size(rng):
    people = invented(rng, 200, 2)
    found = estimate_coverage(people, demo_chart(), replicates=50)
    table = assign(people, demo_chart()).table
    left = table["outcome"].isin(["between", "beyond_largest", "below_smallest"])
    weight = people.weight / people.weight.sum()
    small, large = table["too_small"], table["too_large"]
    want = [weight[left & large & ~small], weight[left & small & ~large]]
    want.append(weight[left & small & large])
    got = found.harms["estimate"]
    assert got.tolist() == pytest.approx([part.sum() for part in want])
    outcomes = found.table.set_index("outcome")["estimate"]
    none = outcomes[["between", "beyond_largest", "below_smallest"]].sum()
    assert got.sum() == pytest.approx(none)
    assert (found.harms["low"] <= got).all() and (got <= found.harms["high"]).all()


def test_harms_are_said_and_weighed_as_by_hand():
    """4, 10 and 1 %: (2 x 4 + 10 + 2 x 1) / 2 = 10 %; counted alike 15 %."""
    row = {"harm": ["too_large", "too_small", "both"], "estimate": [0.04, 0.1, 0.01]}
    harms = pd.DataFrame(row | {"low": 0.0, "high": 0.2})
    told = harm_words(harms)
    assert "Too large counts 2 here and too small 1 " in told
    assert "as great as if 10.0 % met" in told and "Counted alike, 15.0 %" in told
    assert weighed_harm(harms, 1, 4) == pytest.approx((0.04 + 4 * 0.11) / 4)
    for weights in ((0, 1), (1, 0), (1, -1)):
        with pytest.raises(SizingError, match="the weight of a size too"):
            weighed_harm(harms, *weights)


@pytest.mark.parametrize(
    ("low", "high", "shown"), [(0.02, 0.9, True), (-0.1, 0.9, False), (-0.9, 0, False)]
)
def test_a_difference_is_said_and_doubted_where_nothing_is_in_it(rng, low, high, shown):
    people = invented(rng, 60, 1)
    found = compare_charts(people, demo_chart(), demo_chart(), replicates=50)
    table = found.table.copy()
    row = {"share_a": 0.123, "share_b": 0.901, "estimate": 0.778, "low": low}
    table.loc[0, [*row, "high"]] = [*row.values(), high]
    told = replace(found, table=table).summary()
    name = demo_chart().name
    assert told.startswith(
        "Invented for demonstration: the size chart. Choose and order nothing by it. "
        f"{name} covers 90.1 % of some, {name} 12.3 %: a difference in points "
        f"of +77.8 ({points(low, places=1)} to {points(high, places=1)}) (n = 60; "
    )
    assert ("do not show that either covers more" in told) == (not shown)


def test_the_bootstrap_against_a_plain_loop(rng):
    """A group that some replicates lack is told by the others."""
    people = invented(rng, 30, 1)
    x = people.frame[["stature_cm", "body_mass_kg"]].to_numpy(float)
    groups = np.column_stack([np.ones(30), np.arange(30) < 3])
    found = group_means(layout(people), [x], [groups], replicates=60, seed=5)
    w = people.weight.to_numpy()
    means: list[list[np.ndarray]] = [[], []]
    for count in replicate_counts(30, 60, np.random.default_rng(5)):
        for group in range(2):
            weight = count * w * groups[:, group]
            if weight.sum() > 0:
                means[group].append(np.average(x, axis=0, weights=weight))
    assert 30 < len(means[1]) < 60 == len(means[0])
    for group in range(2):
        want = np.var(means[group], axis=0, ddof=1)
        np.testing.assert_allclose(found.variance[group], want, rtol=1e-3)


def test_design_errors_against_samplics(rng):
    samplics, n = pytest.importorskip("samplics"), 400
    frame = pd.DataFrame({"stature_cm": rng.normal(168, 9, n)})
    frame["sex"] = np.where(rng.random(n) < 0.4, "female", "male")
    frame["stratum"] = rng.integers(0, 6, n)
    frame["unit"] = 3 * frame["stratum"] + rng.integers(0, 3, n)
    weight = rng.gamma(2, 1, n)
    found = estimate_coverage(people_with(frame, weight), CHART, by="sex").table
    x = frame["stature_cm"].round(1)
    inside = (x.between(150, 168) | x.between(172, 190)).astype(int)
    estimator = samplics.TaylorEstimator(samplics.PopParam.prop)
    estimator.estimate(
        y=inside,
        samp_weight=weight,
        stratum=frame["stratum"],
        psu=frame["unit"],
        domain=frame["sex"],
    )
    for sex in ("female", "male"):
        row = found.query("level == @sex and outcome == 'covered'").iloc[0]
        assert "linearisation" in row["method"] and row["df"] == 12
        assert row["estimate"] == pytest.approx(estimator.point_est[sex][1], rel=1e-9)
        assert row["standard_error"] == pytest.approx(
            estimator.stderror[sex][1], rel=1e-6
        )
