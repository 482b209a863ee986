"""Doubts, growth and words of one client: each worked out anew, or by hand."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from sizing.charts import chart_from, demo_chart
from sizing.client import check_client, client_from, growth
from sizing.client.answer import ClientAnswer
from sizing.client.client import _empty, like_a_child
from sizing.client.doubts import _among, _people, _units, _words, doubtful
from sizing.client.growth import _leaving
from sizing.client.how import Reading, reading
from sizing.client.judged import evidence_limits, sources
from sizing.client.outcomes import Edges
from sizing.client.own_chart import nudge_layout
from sizing.client.posterior import (
    draw_bodies,
)
from sizing.client.stature import _stature_of
from sizing.errors import InputProblems, SizingError
from sizing.measures import MEASURES
from sizing.measures.edges import NO_HIGH
from sizing.people import limits
from sizing.people.body.donors import donors
from sizing.people.body.moments import moments
from sizing.people.growth import value_at, z_score
from sizing.people.own import people_from
from sizing.words.client import room_words
from sizing.words.client_notes import growth_words, play_words, summary_lines
from sizing.words.numbers import share

HIP = "hip_circumference_cm"
SITTING = "sitting_height_cm"


def test_doubts_by_scipy_one_reading_left_out_at_a_time():
    client = client_from({"sex": "male", "age_years": 40, "body_mass_kg": 80})
    mean, covariance = _people(client, client.readings, seed=3)
    # Doubts hold a reading against people as surveyed, not against those unlike them.
    bodies = draw_bodies("male", 40.0, client.readings, seed=3, draws=256, unlike=0)
    logs = np.log(bodies.values)
    assert mean == pytest.approx(np.average(logs, axis=0, weights=bodies.weight))
    spread = np.cov(logs.T, aweights=bodies.weight, ddof=0)
    np.testing.assert_allclose(covariance, spread, atol=1e-12)
    names = [HIP, "waist_circumference_cm", "sitting_height_cm"]
    place = [MEASURES.index(name) for name in names]

    def doubted(factor):
        values = np.exp(mean[place]) * [factor, 1.0, 1.0]
        taken = [reading(m, float(v)) for m, v in zip(names, values, strict=True)]
        gap = np.array([one.log_value for one in taken]) - mean[place]
        whole = covariance[np.ix_(place, place)]
        whole = whole + np.diag([one.log_sd**2 for one in taken])
        rest = np.linalg.solve(whole[1:, 1:], np.column_stack([whole[1:, 0], gap[1:]]))
        centre, variance = (
            whole[0, 1:] @ rest[:, 1],
            whole[0, 0] - whole[0, 1:] @ rest[:, 0],
        )
        z = (gap[0] - centre) / np.sqrt(variance)
        rare = chi2(3).sf(gap @ np.linalg.solve(whole, gap))
        told = _among(taken, mean, covariance, client)
        return z, rare, [problem.column for problem in told]

    turn = brentq(lambda f: min(doubted(f)[0] - 4, 1e-4 / doubted(f)[1] - 1), 1.01, 3)
    for factor, columns in ((turn * 0.999, []), (turn * 1.001, [HIP])):
        z, rare, told = doubted(factor)
        assert told == columns == ([HIP] if z > 4 and rare < 1e-4 else [])


def test_a_doubtful_build_is_left_out_where_the_rest_is_judged():
    entry = {"sex": "female", "age_years": 60, "body_mass_kg": 60, "stature_cm": 228}
    client = client_from(entry | {HIP: 98}, confirmed=True)
    assert [one.column for one in doubtful(client)] == ["stature_cm"]
    client = client_from(entry | {HIP: 190}, confirmed=True)
    told = doubtful(client)
    assert [one.column for one in told] == ["stature_cm", HIP]
    assert told[1].value == 190.0 and "measure it again" in told[1].action


def test_a_slip_of_unit_is_named_however_sure_the_rest_is():
    """At least three hundredths of spread are allowed for, and two of them."""
    for off, named in ((0.059, True), (0.061, False)):
        one = Reading(HIP, 40.0 * np.exp(off), "tape once", 1.4)
        assert bool(_units(one, np.log(101.6), 0.001)) == named
    assert not _units(Reading(HIP, 100.0, "tape once", 1.4), np.log(100.0), 0.01)


def test_a_doubt_says_what_to_measure_again_and_how_old_such_a_child_would_be():
    client = client_from({"sex": "male", "age_years": 40})
    tall = Reading("stature_cm", 161.0, "tape once", 0.5)
    told = _words(tall, np.log(180.0), 0.01, client)
    assert told.action.startswith("it is that of a child of about 14 years")
    assert "; measure it again; if it is right, say that it is confirmed" in told.action
    assert "a height of about 180 cm would" in told.what
    ends = [180 * np.exp(-0.03), 180 * np.exp(0.03)]
    assert "people: {:.0f} to {:.0f} cm)".format(*ends) in told.what
    assert (told.column, told.value) == ("stature_cm", 161.0)
    # Girls of 14 are shorter at the median; of unknown sex theirs is taken.
    for sex in ({"sex": "female"}, {}):
        other = client_from({"age_years": 40} | sex)
        assert "child" not in _words(tall, np.log(180.0), 0.01, other).action
    reckoned = Reading("stature_cm", 183.26, "estimated", 3.0)
    told = _words(reckoned, np.log(160.0), 0.01, client)
    assert told.action.startswith("measure the segment again; if it is right")
    assert told.value == 183.3
    ageless = client_from({"sex": "male", HIP: 100})
    assert "child" not in _words(tall, np.log(180.0), 0.01, ageless).action


def test_how_of_an_entry_that_is_not_there_names_those_that_are():
    with pytest.raises(InputProblems) as told:
        client_from({"sex": "f", HIP: 100}, how={"stature_cm": "guessed"})
    assert told.value.problems[0].allowed == f"sex, {HIP}"
    with pytest.raises(InputProblems) as told:
        client_from({}, how={"stature_cm": "guessed"})
    assert told.value.problems[0].allowed == "the entries"


@pytest.mark.parametrize("sex", ["f", "male"])
def test_an_adult_of_a_childs_size_is_asked_for_the_age(sex):
    for measure in ("stature_cm", "body_mass_kg"):
        word = "female" if sex == "f" else "male"
        ends = [float(value_at(measure, word, age, 0.0)) for age in (3, 9, 14)]
        told = like_a_child(measure, ends[1], sex, 18.0)
        assert told == "it is that of a child of about 9 years, so check the age too"
        assert like_a_child(measure, ends[1], sex, 17.9) == ""
        assert like_a_child(measure, ends[0] * 0.999, sex, 40) == ""
        assert like_a_child(measure, ends[2] * 1.001, sex, 40) == ""
        assert "of about 14 years" in like_a_child(measure, ends[2] * 0.999, sex, 40)
        assert "of about 3 years" in like_a_child(measure, ends[0] * 1.001, sex, 40)
    assert like_a_child(HIP, 70.0, sex, 40) == ""
    assert _empty(pd.NA) and _empty(" ") and not _empty(0) and not _empty([1])


# Growth, thresholds and words


def test_edges_are_passed_between_two_steps_as_evenly_as_they_grow():
    at = np.array([9.0, 9.5, 10.0, 10.2])
    path = np.full((20, 4, 10), 50.0)
    hip = MEASURES.index(HIP)
    path[:, :, hip] = [69.0, 69.5, 71.5, 75.0]
    path[:2, :, hip] = [70.1, 72.0, 74.0, 75.0]
    path[2, :, hip] = 69.0
    path[:, 3, MEASURES.index(SITTING)] = 50.15
    path[:, :, 0] = [29.0, 30.0, 31.0, 41.0]
    edges = Edges(
        ("other", "one"),
        {HIP: np.array([0, 500]), "stature_cm": np.array([0, 0]), SITTING: np.zeros(2)},
        {
            HIP: np.array([600, 700]),
            "stature_cm": np.array([NO_HIGH] * 2),
            SITTING: np.array([490, 501]),
        },
        np.array([200, 360]),
    )
    z = np.column_stack([np.full(20, 0.5), np.full(20, 1.5)])
    told = _leaving(path, at, edges, "one", z).set_index("measure")
    assert told.index.tolist() == [HIP, "body_mass_kg", SITTING]
    sitting = told.loc[SITTING]
    # 50 to 50.15 in a fifth of a year: 50.1 after two thirds of it.
    assert sitting["estimate"] == pytest.approx(10 + 0.4 / 3)
    assert np.isnan(sitting["centile"])
    row = told.loc[HIP]
    # 69.5 to 71.5 in half a year: 70 after an eighth.
    assert row["estimate"] == pytest.approx(9.625)
    assert (row["low"], row["high_edge"]) == (9.0, 70.0)
    assert row["high"] == pytest.approx(9.625) and row["beyond_20"] == pytest.approx(
        0.05
    )
    assert np.isnan(row["centile"]) and row["n"] == 20
    mass = told.loc["body_mass_kg"]
    assert mass["estimate"] == pytest.approx(10.1) and mass["high_edge"] == 36.0
    assert mass["centile"] == pytest.approx(norm.cdf(0.5)) and mass["beyond_20"] == 0
    open_edges = replace(
        edges,
        high=edges.high | {HIP: np.array([600, NO_HIGH]), SITTING: np.full(2, NO_HIGH)},
    )
    alone = _leaving(path, at, replace(open_edges, load=np.full(2, NO_HIGH)), "one", z)
    assert alone.empty
    path[:, :, hip] = 69.0
    never = _leaving(path, at, edges, "one", z).set_index("measure").loc[HIP]
    assert np.isnan([never["low"], never["estimate"], never["high"]]).all()
    assert never["beyond_20"] == 1


@pytest.mark.parametrize("sex", ["female", None])
def test_a_child_keeps_her_centiles_and_her_distance_from_the_model(monkeypatch, sex):
    got = {}

    def kept(path, at, chart, size, z):
        got.update(path=path, at=at, z=z)
        return pd.DataFrame()

    monkeypatch.setattr(growth, "_leaving", kept)
    taken = [reading("stature_cm", 130.0), reading(HIP, 70.0)]
    bodies = draw_bodies(sex, 8.25, taken)
    one = Edges(
        ("one",), {HIP: np.zeros(1)}, {HIP: np.full(1, 900)}, np.full(1, NO_HIGH)
    )
    growth.outgrows(bodies, one, "one", seed=2)
    path, at, z = got["path"], got["at"], got["z"]
    assert at.tolist() == [*np.arange(8.25, 20, 0.5), 20.0]
    assert path.shape == (200, len(at), 10)
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
        model = moments(
            theirs, path[:, k, 0], path[:, k, 1], np.full(200, at[k] + 1e-6)
        )
        apart.append((np.log(path[:, k, 2:]) - model.mean) / model.sd)
    np.testing.assert_allclose(apart[1], apart[0], atol=1e-4)
    np.testing.assert_allclose(apart[2], apart[0], atol=1e-4)


def test_builds_are_fewer_where_readings_fix_them():
    both = [reading("body_mass_kg", 70.0, "scale"), reading("stature_cm", 165.0)]
    rough = [reading("body_mass_kg", 70.0, "guessed"), reading("stature_cm", 165.0)]
    for taken, draws, count in (
        (both, 4096, 256),
        (rough, 4096, 512),
        (both[:1], 4096, 512),
        ([], 256, 256),
    ):
        bodies = draw_bodies("female", 40.5, taken, draws=draws)
        assert len(bodies.weight) == draws
        assert set(bodies.build) == set(range(count))
        assert (np.bincount(bodies.build) == draws // count).all()
    assert len(draw_bodies("female", 40.5, both).weight) == 4096


def test_stature_of_an_age_is_weighed_over_years_near_it():
    for year, near in ((20, 10.0), (19, 1.0), (70, 10.0), (95, 10.0)):
        theirs = donors()["male"].build
        ages = np.where(theirs[:, 2] < 20, theirs[:, 2] + 0.5, theirs[:, 2])
        weight = norm.pdf(ages, min(year, 80), near)
        stature = np.exp(theirs[:, 1])
        mean = np.average(stature, weights=weight)
        sd = np.sqrt(np.average((stature - mean) ** 2, weights=weight))
        assert _stature_of("male", year) == pytest.approx((mean, sd))


@pytest.fixture(scope="module")
def answer() -> ClientAnswer:
    entry = {"sex": "female", "age_years": 74, "body_mass_kg": 68, "stature_cm": 160}
    return check_client(demo_chart(), entry | {HIP: 104})


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


def test_room_and_shares_are_never_flattered():
    assert [share(p) for p in (0.99, 0.994, 0.01, 0.006, 0.004)] == [
        "99 %",
        "99 %",
        "1 %",
        "1 %",
        "under 1 %",
    ]
    assert room_words(np.inf, HIP) == "with no edge"
    assert room_words(0.0, HIP) == "only just inside its nearer edge"
    assert room_words(1.0, HIP) == "1 cm inside its nearer edge"


def test_where_evidence_and_figures_come_from_is_said_once(answer):
    child = client_from({"sex": "f", "age_years": 8, "stature_cm": 128})
    assert limits.CHILDREN_1977 in evidence_limits(child)
    assert limits.SOLDIERS not in evidence_limits(child)
    unknown = client_from({"sex": "f", "stature_cm": 158})
    told = evidence_limits(unknown)
    assert limits.SOLDIERS in told and limits.CHILDREN_1977 in told
    assert evidence_limits(answer.client)[-2:] == (limits.AT_HOME, limits.NO_POSTURE)
    told = sources(answer.client)
    assert len(set(told)) == len(told) == 5
    assert told[2].startswith("Weight: ") and told[4].startswith("Hip girth: ")


def test_a_client_refused_is_told_which_entry_and_what_else_could_be():
    for entry, words in (
        ({"age_years": 1.99}, "no figures for a child under 2 years"),
        ({"shoe": 39, "age_years": 40}, "the kit has no use for this entry"),
        ({"knee_height_cm": 50, "sex": "f"}, "knee_height_cm without sex and age"),
    ):
        with pytest.raises(InputProblems, match=words):
            client_from(entry)
    assert client_from({"sex": "f", "age_years": 2, HIP: 50}).age_years == 2.0
    with pytest.raises(SizingError, match="'how' goes with entries"):
        check_client(demo_chart(), client_from({"age_years": 40}), how="guessed")
    one = client_from({HIP: 100, "stature_cm": 160}, how="guessed")
    assert one.table["how"].tolist() == ["guessed", "guessed"]
    narrow = chart_from(
        pd.DataFrame(
            {"size": ["one"], "load_limit_kg": [150], "stature_cm_low": [185]}
        ),
        warn=False,
    )
    told = check_client(narrow, {"sex": "f", "age_years": 40, "stature_cm": 160})
    near = told.nearest
    assert near["size"] == "one" and near["direction"] == "too_large_for"
    assert near["miss"] == pytest.approx(25, abs=0.5)
    plain = json.loads(json.dumps(told.to_dict()))
    assert plain["nearest"] == near and plain["status"] == "below_smallest"
    assert plain["sex"] == "female" and plain["in_play"] == []


def test_of_whom_no_part_bears_nothing_is_said_but_that(answer):
    assert answer.table is answer.sizes
    heavy = {"sex": "female", "age_years": 8, "body_mass_kg": 30, "stature_cm": 128}
    borne, over = (
        check_client(demo_chart(), heavy, loads={"hoist": load}) for load in (30, 29)
    )
    assert not borne.nothing_bears and over.nothing_bears
    for told, said in ((borne, True), (over, False)):
        lines = summary_lines(told)
        for words in ("Sizes in play", "Measure again"):
            assert any(words in line for line in lines) == said, words
        assert any(line.startswith("Note: ") for line in lines)
    assert "Weigh again before any lift: weight, 30 kg" in over.answer()
    assert (
        "Over the load limit: weight 30 kg, lowest load limit of all parts 29 kg."
        in (over.answer())
    )


def test_a_survey_design_is_kept_where_an_edge_is_moved():
    frame = pd.DataFrame({"stature_cm": np.linspace(150, 190, 24)})
    people = people_from(frame)
    alone = nudge_layout(people)
    assert alone.unit.tolist() == list(range(24)) and set(alone.stratum) == {0}
    design = people.frame.assign(stratum=1, unit=np.arange(24) // 4)
    place = nudge_layout(replace(people, frame=design))
    assert place.unit.tolist() == [i // 4 for i in range(24)]
