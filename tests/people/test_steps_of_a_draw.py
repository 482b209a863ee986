"""Draws piece by piece: each step of one draw, and how often it is made again."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.measures import MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import donors as model_donors
from sizing.people.body import draw as model_draw
from sizing.people.body import draw_measures
from sizing.people.body.conditional import condition_normal, patterns
from sizing.people.body.draw import _DrawnBetas, _one_draw
from sizing.people.body.moments import moments
from sizing.people.body.noise import even_normal, keys_of

P = len(SEATED_AND_GIRTHS)
HIP = SEATED_AND_GIRTHS.index("hip_circumference_cm")
#: Of one sex and build each: usual, very heavy, a child.
SEX = np.array(["female", "male", "female"], dtype=object)
BUILD = np.array([[70.0, 163, 45.5], [190.0, 172, 50.5], [27.0, 128, 8.25]])


def fitted(seed, draw):
    return moments(SEX, *BUILD.T, betas=_DrawnBetas(seed, draw))


def test_with_no_noise_a_draw_is_its_own_curve_on_the_form_all_share():
    nothing, none = np.full((3, P), np.nan), np.zeros((3, P))
    for draw in (0, 3):
        found = _one_draw(SEX, BUILD, nothing, none, seed=5, draw=draw)
        one = fitted(5, draw)
        assert one.form_shift_sd[1].max() > 0
        form = even_normal(5, draw, "form") * one.form_shift_sd
        np.testing.assert_allclose(np.log(found), one.mean + form)
        # One SD of one measure more, where nothing is known, through the root.
        z = none.copy()
        z[:, 0] = 1.0
        moved = np.log(_one_draw(SEX, BUILD, nothing, z, seed=5, draw=draw))
        root = np.linalg.cholesky(one.correlation())[:, :, 0]
        np.testing.assert_allclose(moved, one.mean + form + one.sd * root)


def test_with_no_noise_a_known_measure_moves_the_others_as_the_normal_says():
    known = np.full((3, P), np.nan)
    known[:, HIP] = [110.0, 165.0, 70.0]
    found = _one_draw(SEX, BUILD, known, np.zeros((3, P)), seed=5, draw=1)
    one = fitted(5, 1)
    form = even_normal(5, 1, "form") * one.form_shift_sd
    for i in range(3):
        assert found[i, HIP] == known[i, HIP]
        # Beyond the range where forms agree, the person's own measure tells which
        # form is hers: the forms' spread then is hers too, and nothing is shared.
        own = one.form_shift_sd[i, HIP] > 0
        shift = one.form_shift_sd[i] * own
        mean = one.mean[i] + (0 if own else form[i])
        spread = np.outer(one.sd[i], one.sd[i]) * one.correlation()[i]
        spread = spread + np.outer(shift, shift)
        gap = np.log(known[i, HIP]) - mean[HIP]
        right = mean + spread[:, HIP] / spread[HIP, HIP] * gap
        np.testing.assert_allclose(np.log(found[i]), right, rtol=1e-7)
    assert (one.form_shift_sd[:, HIP] > 0).tolist() == [False, True, False]


def test_noise_of_who_is_measured_has_the_spread_that_is_left(rng):
    n = 4000
    known = np.full((n, P), np.nan)
    known[:, HIP] = 110.0
    sex, build = np.repeat(SEX[:1], n), np.repeat(BUILD[:1], n, axis=0)
    found = _one_draw(sex, build, known, rng.normal(size=(n, P)), seed=5, draw=1)
    one = moments(sex[:1], *build[:1].T)
    spread = np.outer(one.sd[0], one.sd[0]) * one.correlation()[0]
    left = spread - np.outer(spread[HIP], spread[HIP]) / spread[HIP, HIP]
    rest = [j for j in range(P) if j != HIP]
    left = left[np.ix_(rest, rest)]
    sd = np.sqrt(np.diag(left))
    told = np.cov(np.log(found[:, rest]).T) / np.outer(sd, sd)
    right = left / np.outer(sd, sd)
    assert np.abs(told - right).max() < 0.08
    assert (found[:, HIP] == 110.0).all()


@pytest.mark.parametrize("gap", ["body_mass_kg", "hip_breadth_sitting_cm"])
def test_a_body_that_cannot_be_is_drawn_again_eight_times_and_then_kept(
    monkeypatch, gap
):
    asked = []

    def never(build, values):
        asked.append(values.copy())
        return np.array([True, False])[: len(values)]

    monkeypatch.setattr(model_draw, "implausible", never)
    frame = pd.DataFrame({"person": [1, 2], "sex": "female", "age_years": 45.5})
    frame["body_mass_kg"], frame["stature_cm"] = 70.0, 163.0
    frame.loc[0, gap] = np.nan
    drawn, evidence = draw_measures(frame, draws=2, seed=1)
    # Once, and eight times more the one that cannot be; the same in each draw.
    assert [len(values) for values in asked] == [2, *[1] * 8] * 2
    kept = drawn[list(SEATED_AND_GIRTHS)].to_numpy()
    for draw in (0, 1):
        tries = [asked[9 * draw + i][0] for i in range(9)]
        assert len({tuple(values) for values in tries}) == 9
        assert (kept[2 * draw] == tries[-1]).all()
        assert (kept[2 * draw + 1] == asked[9 * draw][1]).all()
    first = drawn["person"] == 1
    marked = (evidence[list(SEATED_AND_GIRTHS)] == "unsupported").all(axis=1)
    assert marked.tolist() == first.tolist()
    assert (evidence.loc[~first, "body_mass_kg"] == "measured").all()


def test_pieces_of_work_leave_candidates_as_they_are(monkeypatch):
    frame = pd.DataFrame({"sex": ["female", "male"] * 5, "age_years": 50.0})
    frame["stature_cm"], frame["body_mass_kg"] = np.linspace(150, 185, 10), np.nan
    frame["walking_difficulty"] = pd.array(
        [True, False, None, False, True] * 2, "boolean"
    )
    known = np.full((10, P), np.nan)
    known[::3, HIP] = 120.0
    keys = keys_of(range(10))
    whole = model_donors.candidates(frame, seed=1, keys=keys, known=known)
    monkeypatch.setattr(model_donors, "_CHUNK", 2)
    parts = model_donors.candidates(frame, seed=1, keys=keys, known=known)
    np.testing.assert_array_equal(whole.build, parts.build)
    np.testing.assert_allclose(whole.weight, parts.weight)
    assert whole.weight.sum(axis=1) == pytest.approx(np.ones(10))
    assert (whole.far == parts.far).all()
    assert (whole.build[:, :, 1] == frame["stature_cm"].to_numpy()[:, None]).all()
    # A large hip is likelier of the heavy.
    mean = (whole.weight * whole.build[:, :, 0]).sum(axis=1)
    plain = whole.build[:, :, 0].mean(axis=1)
    assert (mean[::3] > plain[::3]).all()
    rest = np.isnan(known[:, HIP])
    np.testing.assert_allclose(mean[rest], plain[rest])


def test_columns_come_in_order_and_what_else_there_is_is_carried():
    frame = pd.DataFrame({"note": ["x", "y"], "person": [5, 3], "draw": 9})
    frame = frame.assign(sex=["male", "female"], hip_circumference_cm=[100.0, np.nan])
    drawn, evidence = draw_measures(frame, draws=2, seed=1)
    first = ["person", "draw", "sex", "age_years"]
    assert drawn.columns.tolist() == [*first, *MEASURES, "note"]
    assert drawn["person"].tolist() == [5, 3, 5, 3]
    assert drawn["draw"].tolist() == [0, 0, 1, 1]
    assert drawn["note"].tolist() == ["x", "y", "x", "y"]
    assert drawn["age_years"].notna().all()
    assert evidence.columns.tolist() == list(MEASURES)
    told = evidence["hip_circumference_cm"].tolist()
    assert told[0] == told[2] == "measured" and "measured" not in (told[1], told[3])


@given(st.integers(1, 6), st.integers(0, 10**6))
@settings(max_examples=20)
def test_rows_of_a_pattern_are_all_its_rows(columns, seed):
    known = np.random.default_rng(seed).random((12, columns)) < 0.5
    found = patterns(known)
    rows = np.concatenate([rows for rows, _ in found])
    assert sorted(rows.tolist()) == list(range(12))
    for rows, which in found:
        assert (known[rows] == which).all()
    assert len({tuple(which) for _, which in found}) == len(found)


def test_an_exact_value_of_what_is_certain_teaches_nothing():
    covariance = np.array([[[0.0, 0.0], [0.0, 2.0]]])
    mean, spread = condition_normal(
        np.array([[1.0, 3.0]]), covariance, np.array([[9.0, np.nan]]), np.zeros((1, 2))
    )
    assert mean.tolist() == [[9.0, 3.0]] and spread.tolist() == [[[0, 0], [0, 2.0]]]
    # A reading with an error stays uncertain: 4 of 1 + 1/3 of the way.
    mean, spread = condition_normal(
        np.zeros((1, 1)), np.ones((1, 1, 1)), np.array([[4.0]]), np.full((1, 1), 1 / 3)
    )
    assert mean[0, 0] == pytest.approx(3.0) and spread[0, 0, 0] == pytest.approx(0.25)
