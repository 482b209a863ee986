"""Doubts, growth and words of one client: each worked out anew, or by hand."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import chi2

from sizing.client import client_from, growth
from sizing.client.answer import ClientAnswer
from sizing.client.doubts import _among, _people, _words, doubtful
from sizing.client.how import Reading, reading
from sizing.client.judged import evidence_limits, sources
from sizing.client.nudge import nudge_layout
from sizing.client.posterior import draw_bodies
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.people import limits
from sizing.people.body.moments import moments
from sizing.people.growth import z_score
from sizing.people.own import people_from
from sizing.words.client_notes import growth_words, play_words, summary_lines

from .cases import HIP, MASS, SITTING, STATURE, WAIST, WOMAN, check, edges, made


def test_doubts_by_scipy_one_reading_left_out_at_a_time():
    client = client_from({"sex": "male", "age_years": 40, MASS: 80})
    mean, covariance = _people(client, client.readings, seed=3)
    # Doubts hold a reading against people as surveyed, not against those unlike them.
    bodies = draw_bodies("male", 40.0, client.readings, seed=3, draws=256, unlike=0)
    logs = np.log(bodies.values)
    assert mean == pytest.approx(np.average(logs, axis=0, weights=bodies.weight))
    spread = np.cov(logs.T, aweights=bodies.weight, ddof=0)
    np.testing.assert_allclose(covariance, spread, atol=1e-12)
    names = [HIP, WAIST, SITTING]
    place = [MEASURES.index(name) for name in names]

    def doubted(factor):
        values = np.exp(mean[place]) * [factor, 1.0, 1.0]
        taken = [reading(m, float(v)) for m, v in zip(names, values, strict=True)]
        gap = np.array([one.log_value for one in taken]) - mean[place]
        whole = covariance[np.ix_(place, place)]
        whole = whole + np.diag([one.log_sd**2 for one in taken])
        rest = np.linalg.solve(whole[1:, 1:], np.column_stack([whole[1:, 0], gap[1:]]))
        centre, less = whole[0, 1:] @ rest[:, 1], whole[0, 1:] @ rest[:, 0]
        z = (gap[0] - centre) / np.sqrt(whole[0, 0] - less)
        rare = chi2(3).sf(gap @ np.linalg.solve(whole, gap))
        told = _among(taken, mean, covariance, client)
        return z, rare, [problem.column for problem in told]

    turn = brentq(lambda f: min(doubted(f)[0] - 4, 1e-4 / doubted(f)[1] - 1), 1.01, 3)
    for factor, columns in ((turn * 0.999, []), (turn * 1.001, [HIP])):
        z, rare, told = doubted(factor)
        assert told == columns == ([HIP] if z > 4 and rare < 1e-4 else [])


def test_a_doubtful_build_is_left_out_where_the_rest_is_judged():
    entry = {"sex": "female", "age_years": 60, MASS: 60, STATURE: 228}
    client = client_from(entry | {HIP: 98}, confirmed=True)
    assert [one.column for one in doubtful(client)] == [STATURE]
    client = client_from(entry | {HIP: 190}, confirmed=True)
    told = doubtful(client)
    assert [one.column for one in told] == [STATURE, HIP]
    assert told[1].value == 190.0 and "measure it again" in told[1].action


def test_a_doubt_says_what_to_measure_again_and_how_old_such_a_child_would_be():
    client = client_from({"sex": "male", "age_years": 40})
    tall = Reading(STATURE, 161.0, "tape once", 0.5)
    told = _words(tall, np.log(180.0), 0.01, client)
    assert told.action.startswith("it is that of a child of about 14 years")
    assert "; measure it again; if it is right, say that it is confirmed" in told.action
    assert "a height of about 180 cm would" in told.what
    ends = [180 * np.exp(-0.03), 180 * np.exp(0.03)]
    assert "people: {:.0f} to {:.0f} cm)".format(*ends) in told.what
    assert (told.column, told.value) == (STATURE, 161.0)
    reckoned = Reading(STATURE, 183.26, "estimated", 3.0)
    told = _words(reckoned, np.log(160.0), 0.01, client)
    assert told.action.startswith("measure the segment again; if it is right")
    assert told.value == 183.3


# Growth, thresholds and words


@pytest.mark.parametrize("sex", ["female", None])
def test_a_child_keeps_her_centiles_and_her_distance_from_the_model(monkeypatch, sex):
    got = {}

    def kept(path, at, chart, size, z):
        got.update(path=path, at=at, z=z)
        return pd.DataFrame()

    monkeypatch.setattr(growth, "_leaving", kept)
    taken = [reading(STATURE, 130.0), reading(HIP, 70.0)]
    bodies = draw_bodies(sex, 8.25, taken)
    growth.outgrows(bodies, edges(made({HIP: [(0, 90)]})), "one", seed=2)
    path, at, z = got["path"], got["at"], got["z"]
    assert at.tolist() == [*np.arange(8.25, 20, 0.5), 20.0]
    assert path.shape == (200, len(at), len(MEASURES))
    rows = [np.flatnonzero((bodies.values == body[0]).all(axis=1))[0] for body in path]
    assert (bodies.weight[rows] > 0).all() and len(set(rows)) > 100
    theirs = bodies.sex[rows]
    for word in set(theirs):
        mine = np.flatnonzero(theirs == word)
        for j, name in enumerate(MEASURES[:2]):
            for k in (0, 7, len(at) - 1):
                told = z_score(name, word, at[k], path[mine, k, j])
                assert told == pytest.approx(z[mine, j], abs=1e-6)
    apart = []
    for k in (0, 9, len(at) - 1):
        # A little past a birthday: a whole number would be completed years.
        age = np.full(200, at[k] + 1e-6)
        model = moments(theirs, path[:, k, 0], path[:, k, 1], age)
        apart.append((np.log(path[:, k, 2:]) - model.mean) / model.sd)
    np.testing.assert_allclose(apart[1:], [apart[0]] * 2, atol=1e-4)


@pytest.fixture(scope="module")
def answer() -> ClientAnswer:
    return check(WOMAN | {HIP: 104})


def test_sizes_in_play_and_the_answer_without_any(answer):
    sizes = answer.sizes.assign(estimate=0.0, low=0.0, high=0.01)
    none = replace(answer, sizes=sizes)
    assert none.in_play == [] and play_words(none) == "Sizes in play: none."
    assert none.runner_up is None
    sizes = sizes.assign(estimate=[0.5, 0.05] + [0.049] * 7)
    some = replace(answer, sizes=sizes)
    names = sizes["size"].tolist()
    assert play_words(some) == (
        f"Sizes in play: {names[0]} 50 % (0 to 1), {names[1]} 5 % (0 to 1)."
    )
    assert some.runner_up["size"] == names[1]
    assert replace(answer, sizes=sizes.head(1)).runner_up is None
    assert growth_words(answer) == []


def test_where_evidence_and_figures_come_from_is_said_once(answer):
    child = client_from({"sex": "f", "age_years": 8, STATURE: 128})
    assert limits.SAID["children_1977"] in evidence_limits(child)
    assert limits.SAID["soldiers"] not in evidence_limits(child)
    unknown = client_from({"sex": "f", STATURE: 158})
    told = evidence_limits(unknown)
    assert limits.SAID["soldiers"] in told and limits.SAID["children_1977"] in told
    last = (limits.SAID["at_home"], limits.SAID["no_posture"])
    assert evidence_limits(answer.client)[-2:] == last
    told = sources(answer.client)
    assert len(set(told)) == len(told) == 5
    assert told[2].startswith("Weight: ") and told[4].startswith("Hip girth: ")


def test_ways_go_with_entries_and_the_nearest_size_is_told():
    with pytest.raises(SizingError, match="'how' goes with entries"):
        check(client_from({"age_years": 40}), how="guessed")
    one = client_from({HIP: 100, STATURE: 160}, how="guessed")
    assert one.table["how"].tolist() == ["guessed", "guessed"]
    narrow = made({STATURE: [(185, None)]}, load=[150])
    told = check({"sex": "f", "age_years": 40, STATURE: 160}, narrow)
    near = told.nearest
    assert near["size"] == "one" and near["direction"] == "too_large_for"
    assert near["miss"] == pytest.approx(25, abs=0.5)
    plain = json.loads(json.dumps(told.to_dict()))
    assert plain["nearest"] == near and plain["status"] == "below_smallest"
    assert plain["sex"] == "female" and plain["in_play"] == []


def test_of_whom_no_part_bears_nothing_is_said_but_that(answer):
    assert answer.table is answer.sizes
    heavy = {"sex": "female", "age_years": 8, MASS: 30, STATURE: 128}
    borne, over = (check(heavy, loads={"hoist": load}) for load in (30, 29))
    assert not borne.nothing_bears and over.nothing_bears
    for told, said in ((borne, True), (over, False)):
        lines = summary_lines(told)
        for words in ("Sizes in play", "Measure again"):
            assert any(words in line for line in lines) == said, words
        assert any(line.startswith("Note: ") for line in lines)
    assert "Weigh again before any lift: weight, 30 kg" in over.answer()
    limit = "lowest load limit of all parts 29 kg."
    assert f"Over the load limit: weight 30 kg, {limit}" in over.answer()


def test_a_survey_design_is_kept_where_an_edge_is_moved():
    frame = pd.DataFrame({STATURE: np.linspace(150, 190, 24)})
    people = people_from(frame)
    alone = nudge_layout(people)
    assert alone.unit.tolist() == list(range(24)) and set(alone.stratum) == {0}
    design = people.frame.assign(stratum=1, unit=np.arange(24) // 4)
    place = nudge_layout(replace(people, frame=design))
    assert place.unit.tolist() == [i // 4 for i in range(24)]
