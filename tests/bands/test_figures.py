"""Fairness, widths, edges and unordered boxes, figure by figure."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from sizing.bands import (
    edge_stability,
    fairest,
    fit_bands,
    fit_fairest,
    frontier,
    width_needed,
)
from sizing.bands.fitter import Fitter
from sizing.bands.frontier import _scaled, draw_samples, interval
from sizing.errors import SizingError

from .oracle import MEASURES, chart_fits, chart_share, make_people

HIP, SIT = MEASURES[:2]
WIDTHS = {HIP: 1.5, SIT: 1.0}


def few(seed=0, n=24, **columns):
    rng = np.random.default_rng(seed)
    values = 80 + rng.integers(0, 41, (n, 2)) / 10
    return make_people(values, rng.integers(1, 4, n), **columns)


@pytest.mark.parametrize("seed", range(3))
def test_the_fairest_chart_is_told_level_by_level(seed, monkeypatch):
    people = few(seed, 24, sex=["female", "male", "other"] * 8)
    asked = {"by": "sex", "widths": WIDTHS, "sizes": 2, "step_cm": 0.5, "smallest": 8}
    found = fit_fairest(people, **asked)
    sex, weight = people.frame["sex"].to_numpy(), people.weight.to_numpy()
    fits = chart_fits(found.chart, people).any(axis=1)
    table = found.table.set_index(["chart", "level"])
    for level in ("female", "male", "other"):
        share = weight[fits & (sex == level)].sum() / weight[sex == level].sum()
        assert table.loc[("fairest", level), "estimate"] == pytest.approx(share)
        assert table.loc[("fairest", level), "n"] == 8
    assert len(table) == 6
    assert table.loc["fairest", "estimate"].min() == pytest.approx(found.worst_share)
    best = fit_bands(people, widths=WIDTHS, sizes=2, step_cm=0.5, splits=0)
    assert found.best_average == pytest.approx(best.share)
    assert found.average == pytest.approx(chart_share(found.chart, people))
    assert found.chart.name == "fairest chart by sex" and found.by == "sex"
    # Where too many charts are left, the bound is that of the lowest mix alone.
    x = np.round(10 * people.frame[[HIP, SIT]].to_numpy())
    boxes = product(range(800, 841, 5), range(800, 841, 5))
    boxes = [(np.array(b), np.add(b, (15, 10))) for b in boxes]
    inside = np.array([((x >= a) & (x <= b)).all(axis=1) for a, b in boxes])
    upon = [i for i, _ in enumerate(boxes)]
    pairs = [
        inside[i] | inside[j]
        for i, j in product(upon, upon)
        if (boxes[i][0] <= boxes[j][0]).all()
    ]
    members = np.stack([(sex == s) * weight for s in ("female", "male", "other")])
    covers = np.array(pairs) @ (members / members.sum(axis=1, keepdims=True)).T
    mixed = fairest._lowest_mix(np.unique(covers, axis=0))[0]
    with monkeypatch.context() as patch:
        patch.setattr(fairest, "_charts", lambda task, floor: iter([None]))
        bound = fit_fairest(people, **asked).upper_bound
    assert bound == pytest.approx(mixed, abs=1e-7)
    monkeypatch.setattr(fairest, "MOST_CHARTS", 1)
    short = fit_fairest(people, **asked)
    assert short.worst_share <= found.worst_share + 1e-12 <= short.upper_bound + 2e-9
    with pytest.raises(SizingError, match="no subgroup by 'sex' has 9 persons"):
        fit_fairest(people, **{**asked, "smallest": 9})


def test_persons_are_counted_once_however_many_draws_they_have():
    people = few(1, 24, draws=2, sex=np.repeat(["female", "male"], [8, 16]))
    asked = {"by": "sex", "widths": WIDTHS, "sizes": 1, "smallest": 5}
    found = fit_fairest(people, **asked).table
    assert found["level"].unique().tolist() == ["male"] and (found["n"] == 8).all()
    with pytest.raises(SizingError, match="has 30 persons"):
        fit_fairest(people, **{k: v for k, v in asked.items() if k != "smallest"})


def test_a_frontier_is_the_fits_of_every_width_and_number_of_sizes():
    people = few(3)
    table = frontier(people, widths=WIDTHS, step_cm=0.5)
    scales = [0.6, 0.8, 1.0, 1.2, 1.4]
    cases = list(product([2, 3, 4, 5], scales))
    assert list(zip(table["sizes"], table["scale"], strict=True)) == cases
    assert (table["n"] == 24).all()
    assert (table["method"] == "exact optimum; 4 half-splits by person").all()
    for row in table.iloc[[0, 7, 19]].to_dict("records"):
        wide = {HIP: round(1.5 * row["scale"], 6), SIT: row["scale"]}
        assert (row[f"{HIP}_width"], row[f"{SIT}_width"]) == tuple(wide.values())
        fit = fit_bands(
            people, widths=wide, sizes=row["sizes"], step_cm=0.5, splits=4, seed=1
        )
        assert (row["estimate"], row["held_out"]) == (fit.share, fit.held_out)
        assert (row["low"], row["high"]) == (fit.held_out_low, fit.held_out_high)
    other = frontier(people, widths=WIDTHS, sizes=[2], scales=[1], splits=3, seed=8)
    assert "3 half-splits" in other["method"].item()
    assert _scaled({HIP: 10.0, SIT: 1.0}, 1 / 3) == {HIP: 3.333333, SIT: 0.333333}
    assert _scaled({HIP: 10.0}, 0.001) == {HIP: 0.1}
    for scale in (0, -1.0, np.inf, np.nan):
        with pytest.raises(SizingError, match="scale makes no sense"):
            _scaled(WIDTHS, scale)


def test_the_width_needed_reaches_from_person_to_person():
    """By hand: five persons at 80, 83, 90, 95 and 121; the sixth is not measured."""
    values = np.array([80.0, 83, 90, 95, 121, np.nan])[:, None]
    people = make_people(values)
    targets = (0.5, 0.6, 5 / 6, 0.9)
    table = width_needed(people, widths={HIP: 10.0}, sizes=(1, 2), targets=targets)
    needed = [10.0, 15.0, np.nan, np.nan, 3.0, 5.0, 15.0, np.nan]
    assert table[f"{HIP}_width"].tolist() == pytest.approx(needed, nan_ok=True)
    scales = [w / 10 for w in needed]
    assert table["scale"].tolist() == pytest.approx(scales, nan_ok=True)
    shares = np.array([3, 4, 4, 4, 3, 4, 5, 5]) / 6
    assert table["estimate"].tolist() == pytest.approx(shares.tolist())
    assert table["sizes"].tolist() == [1] * 4 + [2] * 4 and (table["n"] == 6).all()
    # 40 is the most, four times what is given; here 41 would do, or 30.
    one = {"widths": {HIP: 10.0}, "sizes": (1,)}
    wide = width_needed(people, **one, targets=(5 / 6,), most=5)
    assert wide[f"{HIP}_width"].item() == pytest.approx(41)
    two = make_people(np.array([80.0, 120, 120])[:, None])
    usual = width_needed(two, widths={HIP: 10.0}, sizes=(1,))
    assert usual["target"].tolist() == [0.9, 0.95, 0.99]
    assert usual[f"{HIP}_width"].tolist() == pytest.approx([40] * 3)
    usual = width_needed(few(), widths={HIP: 9.0})
    assert usual["sizes"].unique().tolist() == [2, 3, 4, 5]


def test_edges_are_those_of_the_charts_fitted_to_each_sample():
    people = few(4, 24, draws=2)
    people = replace(people, weight=pd.Series(np.repeat([1.0, 2.0, 1.5], 8)))
    asked = {"widths": WIDTHS, "sizes": 2, "step_cm": 0.5}
    table = edge_stability(people, **asked, replicates=4, level=0.8, seed=6)
    samples = draw_samples(people, replicates=4, rng=np.random.default_rng(6))
    fitter = Fitter.of(people, **asked)
    charts = [
        fitter.fit(people.weight.to_numpy() * times[people.frame["person"]])
        for times in samples.times
    ]
    whole = fit_bands(people, **asked, splits=0).chart
    keys = []
    for row in table.to_dict("records"):
        end = ("low", "high").index(row["end"])
        edge = whole.edges(row["measure"])[end][row["size"] - 1] / 10
        place = row["size"] - 1, list(WIDTHS).index(row["measure"])
        edges = [chart[end][place] / 10 for chart in charts]
        keys.append((row["size"], row["measure"], row["end"]))
        assert row["spread"] == pytest.approx(np.std(edges, ddof=1))
        ends = interval(edge, edges, 11, 0.8)
        assert (row["low"], row["high"]) == pytest.approx(ends)
        assert row["estimate"] == edge and row["n"] == 12
        assert row["method"] == "4 bootstrap samples of persons"
    assert table["spread"].max() > 0
    assert sorted(keys) == sorted(product((1, 2), (HIP, SIT), ("low", "high")))
    usual = edge_stability(people, **asked)
    assert "40 bootstrap" in usual["method"][0]
    same = edge_stability(people, **asked, replicates=40, level=0.95, seed=1)
    pd.testing.assert_frame_equal(usual, same)
    for change in ({"replicates": 1}, {"level": 0}, {"level": 1}):
        with pytest.raises(SizingError, match="makes no sense"):
            edge_stability(people, **asked, **change)
    assert len(edge_stability(people, **asked, replicates=2)) == 8


def test_a_width_needed_is_looked_for_up_to_the_widest_band_there_may_be():
    """Bands of four metres fit everybody; four times that nobody can ask for."""
    people = make_people(np.array([[90.0], [100.0], [130.0]]))
    found = width_needed(people, widths={HIP: 400.0}, sizes=[1], targets=[0.9])
    row = found.iloc[0]
    assert row["estimate"] == 1
    assert row[f"{HIP}_width"] == pytest.approx(40, abs=1)
