"""What a fit says of itself; and the groups' sizes: whose, how judged, how many."""

import numpy as np
import pandas as pd
import pytest

from sizing.bands import (
    BandFit,
    coverage_by_sizes,
    default_widths,
    fit_bands,
    fit_fairest,
    fit_groups,
    group_of,
)
from sizing.bands.fairest import FairestFit
from sizing.bands.fit import HeldOut, common_group, with_owned
from sizing.bands.groups import by_group, judge_groups, widths_of
from sizing.charts import SizeChart
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.words.numbers import in_100

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


def chart_of(low, high, load=np.nan, **names):
    frame = pd.DataFrame({f"{HIP}_low": low, f"{HIP}_high": high})
    sizes = names.get("sizes", [f"adult {k + 1}" for k in range(len(low))])
    return SizeChart(frame.assign(size=sizes, group="adult", load_limit_kg=load))


def test_a_fit_tells_its_figures_and_how_it_was_made():
    """By hand, of invented halves: 71 and 69 % against 60 and 64 %."""
    splits = HeldOut(np.array([0.71, 0.69]), np.array([0.60, 0.64]), 20)
    chart = chart_of([80.0, 90.0], [90.0, 100.0])
    told = BandFit(
        chart=chart,
        share=0.753,
        objective="covered",
        value=0.753,
        upper_bound=0.9,
        held_out_splits=splits,
        rival=chart_of([81.0, 90.0], [91.0, 100.0]),
        rival_value=0.651,
        people="invented",
        persons=40,
    )
    # Student's t of one degree of freedom is 12.706 (any table).
    reach = 12.706 * np.std([0.71, 0.69], ddof=1) * np.sqrt(1.5)
    low, high = 100 * (0.7 - reach), 100 * (0.7 + reach)
    assert told.summary() == (
        "2 sizes fit 75 in 100 of these people (40 people, 'invented': 75.3 %). "
        "No chart with these "
        "widths can fit more than 90.0 % of them. The bound is loose by up to 14.7 "
        "points: whether a chart on a finer grid does better is not settled. "
        "tolerance=0.01 presses it for half a minute, and may still fall short. "
        "Fitted to half of the people, it fits 70.0 % of the other half (95 % "
        f"interval {low:.1f} % to {high:.1f} %). Bands of the same widths centred on "
        "quantiles fit 62.0 % of them."
    )
    ends = told.held_out_splits.told()[1:]
    assert ends == pytest.approx((low / 100, high / 100), abs=1e-4)
    assert told.gap == pytest.approx(0.147)
    table = told.table
    told_of = [0.753, 0.9, 0.651, 0.7, 0.62, 0.08]
    assert table["estimate"].tolist() == pytest.approx(told_of)
    assert table["n"].tolist() == [40] * 3 + [20] * 3
    assert table["low"].isna().tolist() == [True] * 3 + [False] * 3
    assert (table["low"][3], table["high"][3]) == ends
    assert table["chart"].tolist()[3:] == ["fitted", "rival", "fitted less rival"]
    levels = {"chart": ["fairest", *["best on average"] * 2]}
    levels = pd.DataFrame(levels).assign(estimate=[0.643, 0.9, 0.511])
    fair = FairestFit(chart, "sex", 0.643, 0.657, levels, 0.785, 0.812)
    assert fair.summary() == (
        "Of the group worst-served by sex, 64.3 % have a size; no chart can do better "
        "than 65.7 %. Under the chart best on average 51.1 % have one. The average "
        "falls from 81.2 % to 78.5 %."
    )


def test_sizes_owned_keep_their_names_and_limits_in_order():
    """Two owned sizes alike but for their limits, between two new ones."""
    low, high = [78.0, 80.0, 80.0, 80.0, 85.0], [83.0, 85.0, 85.0, 85.0, 90.0]
    fitted = chart_of(low, high, [200.0, 200.0, 160.0, 180.0, 200.0])
    owned = chart_of([80.0] * 2, [85.0] * 2, [160.0, 180.0], sizes=["old", "new"])
    named = with_owned(fitted, owned, (HIP,)).frame
    assert named["size"].tolist() == ["adult 1", "adult 2", "old", "new", "adult 5"]
    assert named["load_limit_kg"].tolist() == [200.0, 200.0, 160.0, 180.0, 200.0]
    assert with_owned(fitted, None, (HIP,)) is fitted


def grown(seed=0, n=60):
    """Ages about 18 and body-mass indices about 40, none on either."""
    rng = np.random.default_rng(seed)
    age = np.array([17.4, 18.6, 50.0])[np.arange(n) % 3]
    bmi = np.array([39.4, 40.6, 25.0, 39.4])[np.arange(n) % 4]
    stature = rng.integers(1500, 1800, n) / 10
    mass = np.round(bmi * (stature / 100) ** 2, 2)
    values = 80 + rng.integers(0, 400, (n, 2)) / 10
    columns = {"age_years": age, "stature_cm": stature, "body_mass_kg": mass}
    return make_people(values, rng.integers(1, 3, n), **columns)


def test_groups_turn_at_eighteen_years_and_an_index_of_forty():
    people = make_people(
        np.full((5, 1), 90.0),
        age_years=[17.99, 18.0, 18.0, 30.0, 9.0],
        body_mass_kg=[90.0, 89.9, 90.0, np.nan, 90.0],
        stature_cm=[150.0] * 5,
    )
    groups = ["paediatric", "adult", "bariatric", "adult", "paediatric"]
    assert group_of(people).tolist() == groups
    of = {"age_years": 18.0, "stature_cm": 150.0, "body_mass_kg": [80.0, 100.2]}
    drawn = make_people(np.full((2, 1), 90.0), draws=2, **of)
    assert group_of(drawn).tolist() == ["bariatric"] * 2
    with pytest.raises(
        SizingError, match=r"stature_cm.*cannot work out.*age_years, body"
    ):
        group_of(make_people([[90.0]], body_mass_kg=90.0))


def test_every_group_is_fitted_to_its_own_people():
    people = grown()
    parts = by_group(people, group_of(people))
    assert list(parts) == ["paediatric", "adult", "bariatric"]
    assert [p.name for p in parts.values()] == [f"invented, {g}" for g in parts]
    asked = {"widths": {HIP: 8.0}, "splits": 0}
    found = fit_groups(people, **asked, load_limits_kg={"adult": 100.0})
    for group, part in parts.items():
        limit = {"adult": 100.0}.get(group)
        alone = fit_bands(part, **asked, sizes=3, group=group, load_limit_kg=limit)
        assert found.fits[group].persons == part.n
        pd.testing.assert_frame_equal(found.fits[group].chart.frame, alone.chart.frame)
    assert found.table["group"].unique().tolist() == list(parts)
    assert found.table.columns[0] == "group" and len(found.table) == 18
    assert found.chart.name == "fitted chart"
    named = ", ".join(f"'invented, {g}'" for g in parts)
    assert found.chart.source == f"fitted to {named}"
    whole = found.judged[found.judged["group"] == "everyone"].groupby("outcome")
    other = 100 * whole["estimate"].sum()["other"]
    assert f"Of everyone, {other:.1f} % fits only a size of another" in found.summary()
    fits = in_100(whole["estimate"].sum()[["own", "other"]].sum())
    first, second = found.summary().splitlines()[:2]
    assert first == f"9 sizes fit {fits} of these people."
    assert second.startswith("paediatric: 3 sizes fit")
    assert found.judged["n"][0] == 60 and (found.judged["people"] == "invented").all()
    again = judge_groups(people, found.chart, group_of(people))
    pd.testing.assert_frame_equal(again, found.judged)
    # A group may have no size.
    alone = fit_groups(people, **asked, sizes={"adult": 2})
    assert list(alone.fits) == ["adult"] and len(alone.chart.sizes) == 2
    with pytest.raises(SizingError, match="no group has both people and sizes"):
        fit_groups(people, **asked, sizes=0)


def test_nothing_is_named_for_adults_that_is_fitted_to_all_ages():
    """Once every chart's sizes were called "adult 1", whoever they were for."""
    people = grown()
    parts = by_group(people, group_of(people))
    assert {g: common_group(part) for g, part in parts.items()} == {g: g for g in parts}
    assert common_group(people) == ""
    grown_up = people.frame["age_years"] >= 18
    assert common_group(by_group(people, grown_up.map({True: "adult"}))["adult"])
    assert common_group(make_people([[90.0]], age_years=np.nan)) == ""
    assert common_group(make_people([[90.0]])) == "adult"
    asked = {"widths": {HIP: 8.0}, "sizes": 2}
    chart = fit_bands(people, **asked, splits=0).chart.frame
    assert chart["size"].tolist() == ["size 1", "size 2"]
    assert chart["group"].tolist() == ["", ""]
    fair = fit_fairest(people, by="age_band", smallest=5, **asked).chart
    assert fair.sizes == ("size 1", "size 2")
    child = fit_bands(parts["paediatric"], **asked, splits=0).chart
    assert child.sizes == ("paediatric 1", "paediatric 2")
    named = fit_bands(people, **asked, group="adult", splits=0).chart
    assert named.sizes == ("adult 1", "adult 2")


def test_what_more_sizes_cover_is_what_their_charts_cover():
    people = grown(3, 90)
    asked = {"widths": {HIP: 5.0}, "load_limits_kg": {"adult": 100.0}}
    table = coverage_by_sizes(people, **asked, numbers=(1, 2), seed=4)
    assert table["sizes"].tolist() == [3, 6] and table["each_group"].tolist() == [1, 2]
    for row in table.to_dict("records"):
        chart = fit_groups(people, **asked, sizes=row["each_group"], splits=0).chart
        told = estimate_coverage(people, chart, seed=4).table
        (covered,) = told[told["outcome"] == "covered"].to_dict("records")
        for name in ("estimate", "low", "high", "method", "n"):
            assert row[name] == covered[name]
    assert set(default_widths()) == {"paediatric", "adult", "bariatric"}


def test_widths_are_for_all_groups_or_for_each():
    each = {"adult": {HIP: 5.0}, "paediatric": {HIP: 4.0}}
    assert widths_of({HIP: 5.0}, "adult") == {HIP: 5.0}
    assert widths_of(each, "paediatric") == {HIP: 4.0}
    with pytest.raises(SizingError, match=r"a group has no widths.*bariatric"):
        widths_of(each, "bariatric")
    with pytest.raises(SizingError, match=r"unknown group among the widths.*teenage"):
        widths_of({**each, "teenage": {HIP: 4.0}}, "adult")
