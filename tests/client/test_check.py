"""check_client: loads, margins, labels, agreement with coverage."""

import json
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from
from sizing.client import Client, Reading, client_from, suggested_allowances
from sizing.client.judged import evidence_limits, sources
from sizing.client.measuring import next_measures
from sizing.client.outcomes import allowance_table
from sizing.client.posterior import Bodies, bodies_of
from sizing.client.readings import HOW, how_measured, reading, usual_error
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.measures import MEASURES, plain, vocabulary
from sizing.pages.client_answer import drawn_answer
from sizing.people import load_people
from sizing.people.people import LIMITS
from sizing.resources import closing
from sizing.surveys import read_embedded
from sizing.words.client import answer_lines
from sizing.words.client_notes import (
    allowance_words,
    borderline_words,
    next_words,
    summary_lines,
)

from .cases import (
    BACK,
    CHEST,
    DEMO,
    FULL,
    HIP,
    KNEE,
    MASS,
    SEAT,
    STATURE,
    WOMAN,
    check,
    fits,
    made,
    row_of,
)
from .test_calibration import without_bias


@pytest.fixture(scope="module")
def woman():
    return check(WOMAN, loads={"hoist": 160})


@pytest.mark.parametrize("part", ["hoist", "spreader bar", "leg strap"])
def test_over_the_lowest_load_limit_nothing_fits(part):
    """And that for certain."""
    answer = check(FULL, loads={part: 67.9, "other": 300})
    assert (answer.sizes[["estimate", "low", "high"]] == 0).all(axis=None)
    assert answer.sizes["over_load"].all()
    assert answer.status == "over_load"
    assert "67.9 kg" in answer.answer() and "No size may be used" in answer.answer()
    assert answer.loads.loc[answer.loads["lowest"], "part"].tolist() == [part]
    # Exactly on the limit still bears.
    borne = check(FULL, loads={part: 68.0})
    assert not borne.sizes["over_load"].any()


def test_between_and_outside_are_said_with_what_is_missing():
    gap = made({HIP: [(80, 98), (110, 130)]}, load=[200, 200])
    found = check(WOMAN | {HIP: 104}, gap)
    assert found.status == "between"
    assert found.answer().startswith("Between sizes. Nearest is ")
    found = check(WOMAN | {MASS: 110, HIP: 140}, gap)
    assert found.status == "beyond_largest"
    assert "larger than its largest" in found.answer()
    # To half a cm, and never less than it is.
    miss = np.ceil(2 * found.nearest["miss"]) / 2
    assert f"too small by {miss:g} cm in hip girth" in found.answer()
    narrow = made({STATURE: [(185, None)]}, load=[150])
    found = check({"sex": "f", "age_years": 40, STATURE: 160}, narrow)
    assert found.status == "below_smallest"
    assert found.nearest["direction"] == "too_large_for"
    assert found.nearest["miss"] == pytest.approx(25, abs=0.5)


@pytest.mark.parametrize(("hip", "miss"), [(98.4, 0.4), (98.0, None), (99.6, 1.6)])
def test_the_nearest_size_is_told_however_little_it_misses(hip, miss):
    one = made({HIP: [(80, 98)]}, load=[200])
    near = check(Client("female", 50.0, (reading(HIP, hip, "exact"),)), one).nearest
    if miss is None:
        assert near == {}
    else:
        assert near["size"] == "one" and near["direction"] == "too_small_for"
        assert near["miss"] == pytest.approx(miss)


def with_chances(answer, *chances, none):
    """The same answer, were the first sizes' chances and that of none these."""
    sizes = answer.sizes.copy()
    sizes["estimate"] = [*chances, *[0.0] * (len(sizes) - len(chances))]
    outcomes = answer.outcomes.copy()
    outcomes["estimate"] = 0.0
    outcomes.loc[outcomes["outcome"] == "one", "estimate"] = 1 - none
    outcomes.loc[outcomes["outcome"] == "between", "estimate"] = none
    return replace(answer, sizes=sizes, outcomes=outcomes)


@pytest.mark.parametrize(
    ("chances", "none", "status", "said", "unsaid"),
    [
        ((0.95, 0.03), 0.05, "fits", "No size fits 5 in 100", "not ruled out"),
        ((0.95, 0.10), 0.04, "fits", "not ruled out (10 in 100)", "No size fits"),
        ((0.90, 0.09), 0.04, "fits", "Likely: it fits 90 in 100", "not ruled out"),
        ((0.89, 0.05), 0.04, "fits", "not ruled out (5 in 100)", "No size fits"),
        ((0.89, 0.04), 0.04, "fits", "Size", "not ruled out"),
        ((0.89, 0.50), 0.04, "fits", "both fit", "not ruled out"),
        ((0.89, 0.49), 0.04, "fits", "not ruled out (49 in 100)", "both fit"),
        ((0.50, 0.00), 0.50, "fits", "About even: it fits 50 in 100", "Between"),
        ((0.49, 0.00), 0.50, "between", "Between sizes", "Not settled"),
        ((0.05, 0.00), 0.95, "between", "Likeliest to fit nevertheless", "not ruled"),
        ((0.04, 0.00), 0.96, "between", "Between sizes", "nevertheless"),
        ((0.49, 0.30), 0.49, "not_settled", "Not settled", "Between"),
    ],
)
def test_what_is_said_turns_at_its_thresholds(
    woman, chances, none, status, said, unsaid
):
    answer = with_chances(woman, *chances, none=none)
    assert answer.status == status
    words = answer.answer()
    assert said in words, words
    assert unsaid not in words, words
    play = [chance >= 0.05 for chance in chances]
    assert answer.in_play == list(answer.sizes["size"].head(len(play))[play])


@pytest.mark.parametrize(
    ("chances", "taken", "said"),
    [
        ((0.96,), True, "fits."),
        ((0.94,), True, "probably fits."),
        ((0.79,), True, "may fit."),
        ((0.96, 0.55), True, "may both fit."),
        ((0.96, 0.85), True, "probably both fit."),
        ((0.99,), False, "may fit."),
    ],
)
def test_a_size_fits_no_surer_than_its_chance_and_what_was_measured(
    chances, taken, said
):
    """Before, sizes of 67 and 51 in 100 "both fit", by measures nobody had taken."""
    given = FULL if taken else {k: v for k, v in FULL.items() if "popliteal" not in k}
    whole = check(given)
    assert bool(whole.to_measure) != taken
    answer = with_chances(whole, *chances, none=0.01)
    assert answer.status == "fits"
    assert answer_lines(answer)[0].endswith(said)
    bare = answer_lines(answer)[0].removesuffix(said)
    assert not bare.endswith(("may ", "probably ", "both "))


def test_an_answer_has_three_lines_and_no_figure_before_its_words(woman):
    for answer in (woman, check(FULL)):
        what, sure, now = answer_lines(answer)
        # Names of sizes hold numbers; nothing else in the first line does.
        for size in answer.chart.sizes:
            what = what.replace(size, "")
        assert not re.search(r"\d|%", what) and not sure[0].isdigit()
        assert now.startswith("Now: ")
        assert answer.lines()[-3:] == list(answer_lines(answer))


def test_sizes_that_both_fit_are_no_rivals():
    both = check(FULL | {HIP: 99, BACK: 55.5, SEAT: 46})
    assert set(both.both) == {"adult 1", "adult 2"}
    what, sure, now = answer_lines(both)
    assert what.endswith("both fit.") and "not ruled out" not in sure
    assert "Keep the one" in now and "slip through" in now and "tips" in now


@pytest.mark.parametrize("hip", [103.0, 104.5, 106.0, 108.0])
def test_what_a_step_would_change_is_what_is_said_of_that_reading(hip):
    """Each row of the table is the answer to the reading that much larger or less."""
    taken = FULL | {BACK: 55.5, HIP: hip, SEAT: 46}
    now = check(taken)
    near = now.sizes[now.sizes["estimate"] >= 0.05]
    near = near[near["margin"].abs() <= 2]
    assert set(now.borderline["measure"]) == set(near["deciding_measure"])
    for row in now.borderline.itertuples():
        moved = taken | {row.measure: taken[row.measure] + row.change}
        then = check(moved)
        assert row.fits == " and ".join(then.both)
        assert row.estimate == pytest.approx(then.first["estimate"])
        assert row.same == (then.both == now.both)


def test_what_a_step_would_change_is_drawn_on_the_body_where_it_changes_anything():
    taken = FULL | {BACK: 56, SEAT: 46}
    near, far = (check(taken | {HIP: hip}) for hip in (97.3, 103.0))
    assert not near.borderline["same"].all() and far.borderline["same"].all()
    drawn = drawn_answer(near)["client_one_more_or_less"]
    words = " ".join(text.get_text() for text in drawn.texts).replace("\n", " ")
    for line in borderline_words(near)[0].split(": ", 1)[1].rstrip(".").split("; "):
        assert line in words
    assert list(drawn_answer(far)) == list(drawn_answer(near))[:2]


def next_of(answer, *gains):
    table = answer.next_measure.head(len(gains)).copy()
    table["now"], table["after"] = 0.42, [0.42 + gain for gain in gains]
    table["estimate"], table["low"], table["high"] = gains, 0.005, 0.33
    return next_words(replace(answer, next_measure=table))


def test_what_to_measure_next_is_said_with_its_gain(woman):
    first, second = (plain(name) for name in woman.next_measure["measure"][:2])
    assert next_of(woman, 0.21, 0.10) == (
        f"Measure next: {first}. The chance that the likeliest answer is right is "
        "expected to go from 42 % to 63 % (gain in points: +21 (0 to +33)). Next "
        f"after it: {second} (52 %)."
    )
    # A gain of a point is worth a measure, less is not.
    assert "Next after it" in next_of(woman, 0.21, 0.01)
    assert "Next after it" not in next_of(woman, 0.21, 0.009)
    assert next_of(woman, 0.01).startswith("Measure next")
    decides = plain(woman.first["deciding_measure"])
    # What was not taken cannot be taken a second time.
    assert woman.first["deciding_measure"] in woman.limiting
    assert next_of(woman, 0.009, 0.008) == (
        f"No further measure is expected to settle more; measure {decides} all the "
        "same: it is only predicted."
    )
    taken = replace(woman, limiting=())
    assert next_of(taken, 0.009, 0.008) == (
        f"No further measure is expected to settle more; taking {decides} a second "
        "time is the best check of this answer."
    )


def test_loads_and_allowances_count_up_to_their_ends_and_no_further():
    """Just above the most, just below the least, and what is no number."""
    for load in (20, 1000):
        told = check({"age_years": 30}, loads={"hoist": load}).loads
        assert told.loc[told["part"] == "hoist", "load_limit_kg"].item() == load
    for value in (40, -40):
        table = allowance_table({"leg_stop": value}).set_index("key")["used_cm"]
        assert table["leg_stop"] == value and (table.drop("leg_stop") == 0).all()
    for off in (True, "200", None, float("nan")):
        for load, value in ((off, off), (1000.1, 40.1), (19.9, -40.1)):
            with pytest.raises(SizingError, match="of the hoist cannot be right"):
                check(WOMAN, loads={"hoist": load})
            with pytest.raises(SizingError, match="this allowance cannot be used"):
                allowance_table({"leg_stop": value})


def test_margins_are_those_of_the_middle_body_and_its_nine_in_ten(woman):
    """Each from the draws and the chart's own edges."""
    chart = DEMO.frame.set_index("size")
    for row in woman.margins.itertuples():
        value = woman.bodies.values[:, MEASURES.index(row.measure)]
        weight = woman.bodies.weight
        edges = [chart.loc[row.size, f"{row.measure}_{end}"] for end in ("low", "high")]
        np.testing.assert_array_equal([row.low_edge, row.high_edge], edges)
        tenths = np.floor(value * 10 + 0.5)
        inside = ~(tenths < round(10 * edges[0])) & ~(tenths > round(10 * edges[1]))
        # She is 74 and measures are predicted: no chance above 95 % is given.
        assert row.chance == pytest.approx(min(weight @ inside, 0.95))
        below = [weight @ (value < end) for end in (row.low, row.estimate, row.high)]
        assert below == pytest.approx([0.05, 0.5, 0.95], abs=0.005)
        assert row.margin_low == pytest.approx(row.estimate - edges[0])
        assert row.margin_high == pytest.approx(edges[1] - row.estimate)
        assert row.allowance == 0


def test_an_estimated_stature_is_shown_not_the_reading_it_is_counted_as():
    answer = check({"sex": "f", "age_years": 74, KNEE: 48})
    row = row_of(answer.measures, STATURE)
    assert row["how"] == "estimated"
    assert row["reading"] == answer.client.stature.best["estimate"]
    assert row["error_sd"] == answer.client.stature.best["sd_cm"]


def test_what_is_known_of_the_entries_is_noted():
    def notes(entry, chart=DEMO, **more):
        return " ".join(check(entry, chart, **more).notes)

    hips = {"sex": "f", "age_years": 74, HIP: 104}
    weighed = hips | {MASS: 68}
    assert "Weight was not measured" in notes(hips)
    assert "Weight was guessed, not weighed" in notes(weighed, how={MASS: "guessed"})
    assert "Sex was not stated" in notes({"age_years": 74, MASS: 68})
    assert "Age was not stated" in notes({"sex": "f", MASS: 68})
    other = notes(weighed | {CHEST: 95})
    assert "Not limited by the chart, but of use" in other and "chest girth" in other
    for words in ("before any lift", "was not stated", "Not limited by the chart"):
        assert words not in notes(weighed)
    # Body mass always counts, if only for the load limits.
    assert "Not limited" not in notes(weighed, made({HIP: [(80, 120)]}))
    assert "Predicted, not measured: " in notes(weighed)
    missing = set(DEMO.measures) - set(FULL)
    assert ("Predicted, not measured" in notes(FULL)) == bool(missing)
    chests = notes({"sex": "f", "age_years": 40, HIP: 100}, made({CHEST: [(80, 120)]}))
    assert "none of the measures that were taken" in chests
    assert "weigh before any lift" in chests


def test_allowances_are_settings_in_sight():
    plain = check(FULL)
    assert (plain.allowances["used_cm"] == 0).all()
    fabric = DEMO.frame.copy()
    for end in ("low", "high"):
        fabric[f"{SEAT}_{end}"] -= 5
        fabric[f"{BACK}_{end}"] += 10
    chart = chart_from(fabric, warn=False)
    suggested = suggested_allowances()
    del suggested["seat_edge_head"]
    moved = check(FULL, chart, allowances=suggested)
    pd.testing.assert_series_equal(plain.sizes["estimate"], moved.sizes["estimate"])
    rows = moved.margins[moved.margins["measure"] == SEAT]
    assert (rows["allowance"] == -5).all()
    assert allowance_words(plain).startswith("Allowances between body and fabric: none")
    words = allowance_words(moved)
    assert words in summary_lines(moved) and " -5 cm" in words and "+10 cm" in words
    with pytest.raises(SizingError, match="seat_edge"):
        check(FULL, chart, allowances={"seat": 3})


def test_averaged_over_people_without_error_it_is_coverage(monkeypatch):
    # Of one person the model's bias counts too, of a population it is the interval's.
    without_bias(monkeypatch)
    people = load_people("adults", draws=20, seed=4)
    persons = people.frame.loc[people.frame["draw"] == 0]
    known = people.evidence.loc[persons.index].eq("measured")
    whole = known[[MASS, STATURE]].all(axis=1)
    # A client older than those surveyed is predicted wider than a population is.
    whole &= persons["age_years"] <= 58
    chosen = persons[whole].sample(100, random_state=6)
    inside = people.frame["person"].isin(chosen["person"]).to_numpy()
    part = replace(
        people,
        frame=people.frame[inside].reset_index(drop=True),
        weight=pd.Series(np.ones(inside.sum())),
        evidence=people.evidence[inside].reset_index(drop=True),
    )
    by_draws = estimate_coverage(part, DEMO).by_size.query("share == 'fits'")
    total = np.zeros(9)
    for index, row in chosen.iterrows():
        readings = tuple(
            reading(m, float(row[m]), "exact") for m in MEASURES if known.loc[index, m]
        )
        client = Client(row["sex"], float(row["age_years"]), readings)
        bodies = bodies_of(client, confirmed=True)
        total += bodies.weight @ fits(bodies.values).fits
    # 100 people x 20 draws, coefficients shared by a draw: their error is 1 point.
    gap = total / 100 - by_draws["estimate"].to_numpy()
    assert total.sum() > 50
    assert np.abs(gap).max() < 0.02


def test_a_measure_is_asked_for_again_where_it_was_taken_poorly(woman):
    """From half as much again as the usual error on."""
    found = fits(woman.bodies.values)
    for measure in (HIP, MASS):
        value = 104.0 if measure.endswith("_cm") else 68.0
        for times, asked in ((1.0, False), (1.45, False), (1.55, True)):
            taken = Reading(measure, value, "tape once", times * usual_error(measure))
            client = Client("female", 74.0, (taken,))
            table = next_measures(client, woman.bodies, found)
            assert (measure in set(table["measure"])) == asked


def test_what_a_reading_tells_of_one_edge_against_the_closed_form(rng):
    """A normal measure, an edge at its mean, and a reading with a normal error.

    Which side of the edge the body is on is right with the chance that two
    normals of correlation r have one sign: 1/2 + arcsin(r) / pi (Sheppard 1899,
    from memory).
    """
    n, sd = 16_384, 2.0
    values = np.tile([70.0, 165, 85, 57, 48, 100, 41, 60, 90, 100, 58], (n, 1))
    hip = MEASURES.index(HIP)
    values[:, hip] += sd * rng.standard_normal(n)
    women, age = np.full(n, "female", dtype=object), np.full(n, 40.0)
    bodies = Bodies(values, np.full(n, 1 / n), np.arange(n), women, age)
    found = fits(values, made({HIP: [(50, 99.95)]}))
    table = next_measures(Client("female", 40.0), bodies, found)
    row = table.set_index("measure").loc[HIP]
    alike = sd / np.hypot(sd, usual_error(HIP))
    assert row["now"] == pytest.approx(0.5, abs=0.015)
    assert row["after"] == pytest.approx(0.5 + np.arcsin(alike) / np.pi, abs=0.015)
    assert table.iloc[0]["measure"] == HIP
    # Nothing else tells anything: the span around nothing holds it.
    rest = table.iloc[1:]
    assert (rest["estimate"].abs() < 0.02).all()


def test_ways_of_measuring_and_their_errors():
    once = reading(HIP, 100.0)
    twice = reading(HIP, 100.0, "tape twice")
    assert once.sd == vocabulary().set_index("name").loc[once.measure, "error_cm"]
    assert twice.sd == pytest.approx(once.sd / np.sqrt(2), abs=0.001)
    assert tuple(how_measured()["how"].unique()) == HOW
    assert how_measured()["source"].str.len().min() > 10
    # Nurses were within 10 % in 49.6 % of guesses (Acad Emerg Med 2005;12:262-266).
    rng = np.random.default_rng(1)
    guess = reading(MASS, 80.0, "guessed")
    within = np.abs(rng.normal(0, guess.log_sd, 200_000)) < 0.10
    assert within.mean() == pytest.approx(0.496, abs=0.01)
    with pytest.raises(SizingError):
        reading(HIP, 100.0, "hoist scale")


@pytest.mark.parametrize("sex", ["female", "male"])
def test_what_people_report_is_off_as_the_survey_says(sex):
    people = read_embedded().frame
    people = people[people["sex"] == sex]
    # Quartiles, because a few slips of pen would swell a plain SD.
    for measure, said in ((MASS, "reported_mass_kg"), (STATURE, "reported_stature_cm")):
        whole = people[[MASS, STATURE, "age_years", said]].dropna()
        gap = np.log(whole[measure]) - np.log(whole[said])
        spread = (gap.quantile(0.75) - gap.quantile(0.25)) / 1.349
        one = reading(measure, 100.0, "reported", sex=sex)
        assert one.log_sd == pytest.approx(spread, abs=0.0005)
        assert one.bias == pytest.approx(gap.median(), abs=0.0005)


def test_everything_is_json_and_the_cautions_travel(woman):
    told = json.loads(json.dumps(woman.to_dict()))
    assert told["answer"] == woman.answer()
    assert len(told["sizes"]) == 9 and len(told["cautions"]) >= 6
    assert told["limits"] and told["sources"]
    assert woman.summary().endswith(closing())


@pytest.mark.parametrize("known", [{}, {HIP: 104, BACK: 57}])
def test_the_measure_likeliest_to_fail_decides_and_of_equals_the_tightest(known):
    # Over 58 no predicted chance is written above 95 %, so that many would be equal.
    entry = {"sex": "female", "age_years": 50, MASS: 68, STATURE: 160}
    answer = check(entry | known)
    margins = answer.margins
    width = (margins["high_edge"] - margins["low_edge"]).groupby(margins["measure"])
    tight = margins["margin"] / margins["measure"].map(width.median())
    ranked = margins.assign(chance=margins["chance"].round(6), tight=tight)
    ranked = ranked.sort_values(["chance", "tight"], kind="stable")
    first = ranked.groupby("size").first()
    told = margins[margins["decides"]].set_index("size")
    assert len(told) == len(DEMO.sizes)
    assert told["measure"].to_dict() == first["measure"].to_dict()
    edge = margins[["margin_low", "margin_high"]].min(axis=1)
    np.testing.assert_allclose(margins["margin"], edge)
    sizes = answer.sizes.set_index("size")
    borne = ~sizes["over_load"]
    decides = told["measure"].reindex(sizes.index)
    assert (sizes["deciding_measure"] == decides)[borne].all()
    np.testing.assert_allclose(sizes["margin"], told["margin"].reindex(sizes.index))
    order = sizes.assign(rounded=sizes["estimate"].round(3))
    again = order.sort_values(["rounded", "margin"], ascending=False, kind="stable")
    assert again.index.tolist() == sizes.index.tolist()


def test_where_evidence_and_figures_come_from_is_said_once(woman):
    child = client_from({"sex": "f", "age_years": 8, STATURE: 128})
    unknown = client_from({"sex": "f", STATURE: 158})
    told = [evidence_limits(one) for one in (child, unknown)]
    assert all(LIMITS["children_1977"] in limits for limits in told)
    assert [LIMITS["soldiers"] in limits for limits in told] == [False, True]
    last = (LIMITS["at_home"], LIMITS["no_posture"])
    assert evidence_limits(woman.client)[-2:] == last
    told = sources(client_from(WOMAN | {HIP: 104}))
    assert len(set(told)) == len(told) == 5
    assert told[2].startswith("Weight: ") and told[4].startswith("Hip girth: ")
