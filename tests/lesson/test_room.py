"""The room's answers: published examples, other code, brute force, bad input."""

from collections import Counter
from itertools import product

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.formula.api import ols

from sizing.charts import demo_chart
from sizing.errors import InputProblems, SizingError
from sizing.lesson import (
    limits_of_agreement,
    measuring_error,
    practice_clients,
    room_result,
)
from sizing.people import load_people
from tests.lesson.cases import HIP, answers_of, brute_outcome, chart_of, demo_answers

# Peak expiratory flow, l/min, 17 people, two readings with a large and a small
# meter: Bland and Altman, Lancet 1986;327:307-310, table (digits from memory).
LARGE = [
    (494, 490), (395, 397), (516, 512), (434, 401), (476, 470), (557, 611),
    (413, 415), (442, 431), (650, 638), (433, 429), (417, 420), (656, 633),
    (267, 275), (478, 492), (178, 165), (423, 372), (427, 421),
]  # fmt: skip
SMALL = [
    (512, 525), (430, 415), (520, 508), (428, 444), (500, 500), (600, 625),
    (364, 460), (380, 390), (658, 642), (445, 432), (432, 420), (626, 605),
    (260, 227), (477, 467), (259, 268), (350, 370), (451, 443),
]  # fmt: skip
# Six people rated by four judges: Shrout and Fleiss, Psychol Bull 1979;86:420-428,
# table 2 (digits from memory); within mean square 6.26, ICC(1,1) 0.17.
RATINGS = [(9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9),
           (6, 2, 4, 7)]  # fmt: skip


def readings(table, *, by_participant=False):
    """Return rows of readings: one subject per row of the table."""
    cells = [
        (f"s{s}", k, float(value))
        for s, values in enumerate(table)
        for k, value in enumerate(values, start=1)
    ]
    frame = pd.DataFrame(cells, columns=["subject", "reading", "value"])
    frame = frame.assign(participant="1", measure=HIP)
    who = frame["reading"].astype(str)
    return frame.assign(participant=who, reading=1) if by_participant else frame


def test_agreement_against_the_published_example():
    """Mean -2.1, SD 38.8, limits -79.7 and 75.5 l/min (Bland and Altman 1986)."""
    found = limits_of_agreement([a for a, _ in LARGE], [a for a, _ in SMALL])
    told = found.table.query("participant == 'together'").set_index("statistic")
    bias, sd = told.loc["bias", "estimate"], told.loc["sd", "estimate"]
    assert (bias, sd) == pytest.approx((-2.1, 38.8), abs=0.05)
    # The paper takes 2 SD; the limits here are at 1.96.
    assert (bias - 2 * sd, bias + 2 * sd) == pytest.approx((-79.7, 75.5), abs=0.1)
    # Standard error of the bias 9.4; interval -22.0 to 17.8.
    ends = told.loc["bias", ["low", "high"]].tolist()
    assert ends == pytest.approx([-22.0, 17.8], abs=0.15)


@settings(max_examples=15, deadline=None)
@given(st.integers(3, 40), st.integers(0, 10**6))
def test_agreement_against_statsmodels(n, seed):
    rng = np.random.default_rng(seed)
    truth = rng.normal(75, 15, n)
    guess = truth * (1 + rng.normal(0, 0.1, n))
    figure, ax = plt.subplots()
    sm.graphics.mean_diff_plot(guess, truth, ax=ax)
    lines = sorted(float(line.get_ydata()[0]) for line in ax.lines)
    plt.close(figure)
    told = limits_of_agreement(guess, truth).table
    told = told.query("participant == 'together'").set_index("statistic")["estimate"]
    # statsmodels divides by n, Bland and Altman by n - 1.
    expected = lines[1] + np.sqrt(n / (n - 1)) * (np.array(lines) - lines[1])
    found = told[["lower_limit", "bias", "upper_limit"]].tolist()
    assert found == pytest.approx(expected)


def test_guesses_without_a_truth_are_counted_not_used():
    found = limits_of_agreement([70, 80, np.nan], [72, np.nan, 60], ["1", "1", "2"])
    assert len(found.points) == 1
    row = found.table.query("participant == '1' and statistic == 'bias'").iloc[0]
    assert row["estimate"] == -2 and np.isnan(row["low"])


def test_resampling_participants_widens_the_interval_where_they_differ():
    rng = np.random.default_rng(1)
    who = np.repeat([str(i) for i in range(10)], 20)
    truth = rng.normal(75, 10, 200)
    guess = truth + np.repeat(rng.normal(0, 8, 10), 20) + rng.normal(0, 1, 200)
    apart = limits_of_agreement(guess, truth, who).table
    alike = limits_of_agreement(guess, truth).table
    both = (t.iloc[0] for t in (apart, alike))  # The bias of all together.
    width = [row["high"] - row["low"] for row in both]
    assert width[0] > 2 * width[1]


#: A table, who read it again, a figure of its error, and what was published: the
#: coefficient of repeatability, 2 sqrt(2) TEM; the mean square within, and ICC(1,1).
PUBLISHED = [
    (LARGE, "within", lambda row: 2 * np.sqrt(2) * row["tem"], 43.2, 0.1),
    (SMALL, "within", lambda row: 2 * np.sqrt(2) * row["tem"], 56.4, 0.1),
    (RATINGS, "between", lambda row: row["tem"] ** 2, 6.26, 0.005),
    (RATINGS, "between", lambda row: row["icc"], 0.17, 0.005),
]


@pytest.mark.parametrize(("table", "kind", "figure", "published", "near"), PUBLISHED)
def test_errors_of_measurement_as_published(table, kind, figure, published, near):
    found = measuring_error(readings(table, by_participant=kind == "between")).table
    row = found.set_index("kind").loc[kind]
    assert figure(row) == pytest.approx(published, abs=near)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(2, 4), min_size=3, max_size=6), st.integers(0, 10**6))
def test_tem_is_the_residual_of_an_analysis_of_variance(sizes, seed):
    rng = np.random.default_rng(seed)
    table = [tuple(rng.normal(rng.normal(100, 10), 2, k)) for k in sizes]
    frame = readings(table)
    row = measuring_error(frame).table.query("kind == 'within'").iloc[0]
    fitted = ols("value ~ C(subject)", frame).fit()
    assert row["tem"] ** 2 == pytest.approx(fitted.mse_resid)
    assert (row["df"], row["n"]) == (fitted.df_resid, len(frame))
    assert row["reliability"] == pytest.approx(1 - row["tem"] ** 2 / row["sd"] ** 2)
    assert row["relative_tem"] == pytest.approx(row["tem"] / frame["value"].mean())


def test_one_reading_is_left_out_of_the_sums_with_a_count():
    alone = readings([(92,)]).assign(participant="2")
    found = measuring_error(
        pd.concat([readings([(90, 91), (102, 100), (80, 80)]), alone])
    )
    within = found.table.query("kind == 'within'").iloc[0]
    assert within["tem"] == pytest.approx(np.sqrt(5 / 6)) and within["n"] == 6
    left = found.left_out.query("kind == 'within' and participant == '2'")
    assert len(left) == 1 and "only one reading" in left["reason"].iloc[0]


def test_confusion_and_outcomes_against_a_brute_force_count():
    chart = demo_chart()
    cards = practice_clients(load_people("adults", draws=1), chart, n=10, seed=2)
    rng, sizes = np.random.default_rng(7), [*chart.sizes, "none"]
    room = pd.DataFrame(product(range(1, 9), cards.cards["card"]))
    room = room.set_axis(["participant", "subject"], axis=1)
    room["chosen_size"] = rng.choice(sizes, len(room))
    found = room_result(answers_of(room), chart, practice=cards)
    right = room["subject"].map(cards.answers.set_index("card")["right"])
    outcomes = Counter(
        brute_outcome(
            -1 if chosen == "none" else sizes.index(chosen),
            [size in fits.split(" or ") for size in chart.sizes],
        )
        for chosen, fits in zip(room["chosen_size"], right, strict=True)
    )
    got = found.confusion.set_index(["right", "chosen"])["count"].to_dict()
    assert got == Counter(zip(right, room["chosen_size"], strict=True))
    told = found.sizes.query("participant == 'together'").set_index("outcome")["count"]
    assert told[told > 0].to_dict() == outcomes
    assert found.sizes.query("participant != 'together'")["count"].sum() == len(room)


def test_the_slips_of_the_demo_room_are_named_and_left_out():
    demo = demo_answers()
    reasons = demo.left_out.set_index(["participant", "subject"]).sort_index()["reason"]
    for key, words in {
        ("4", "A"): "inches",
        ("6", "B"): "not on the chart",
        ("10", "A"): "pounds",
        ("8", "A"): "A and C look exchanged",
        ("12", "C"): "nothing is filled in",
        ("2",): "exchanged throughout",
    }.items():
        assert reasons.loc[[key] if key[1:] else "2"].str.contains(words).all(), key
    assert len(reasons.loc["8"]) == 6 and len(demo.left_out) == 16
    assert "16 left out" in demo.summary() and "nan" not in demo.summary()
    assert set(demo.readings.query("participant == '8'")["subject"]) == {"B"}


def test_a_reading_far_from_the_others_is_left_out_and_shown_with_and_without():
    room = pd.DataFrame(product(range(1, 6), "AB"), columns=["participant", "subject"])
    read = np.random.default_rng(3).normal([98.0, 112.0] * 5, 1)
    read[0] += 12
    room[HIP] = read.round(1)
    found = room_result(answers_of(room), demo_chart())
    reason = found.answers.left_out["reason"].tolist()
    assert len(reason) == 1 and "more than 5 typical errors" in reason[0]
    tem = [
        one.error.table.query("measure == @HIP and kind == 'between'")["tem"].iloc[0]
        for one in (found, found.with_slips)
    ]
    assert tem[1] > 2 * tem[0]
    assert found.with_slips.answers.left_out["reason"].tolist() == reason
    assert found.with_slips.with_slips is None


def test_the_gain_of_guessing_again_against_a_paired_t_test():
    rng, mass = np.random.default_rng(4), {"A": 60.0, "B": 95.0}
    told = pd.DataFrame(product(range(1, 9), (1, 2), mass))
    told = told.set_axis(["participant", "reading", "subject"], axis=1)
    true = told["subject"].map(mass)
    off = rng.normal(0, 1, len(told)) * told["reading"].map({1: 0.15, 2: 0.06})
    told["guessed_body_mass_kg"] = (true * (1 + off)).round(1)
    reference = pd.DataFrame({"participant": "reference", "body_mass_kg": mass})
    reference = reference.rename_axis("subject").reset_index()
    found = room_result(answers_of(pd.concat([reference, told])), demo_chart())
    told["off"] = (told["guessed_body_mass_kg"] / true - 1).abs()
    each = told.pivot_table("off", "participant", "reading")
    ends = stats.ttest_rel(each[1], each[2]).confidence_interval()
    row = found.gain.iloc[0]
    assert row["estimate"] == pytest.approx((each[1] - each[2]).mean())
    assert (row["low"], row["high"]) == pytest.approx((ends.low, ends.high))
    # Agreement is of the first guesses alone.
    assert len(found.guesses["body_mass_kg"].points) == 16


def test_sizes_chosen_again_are_a_gain_and_the_first_alone_are_the_room_s():
    """Before, a size chosen again after measuring threw out both."""
    card = practice_clients(load_people("bariatric", draws=1), demo_chart(), n=1)
    right = card.answers["right"].iloc[0].split(" or ")[0]
    wrong = next(s for s in demo_chart().sizes if s not in card.answers["right"][0])
    room = pd.DataFrame(product(range(1, 5), ["card 1"], (1, 2)))
    room = room.set_axis(["participant", "subject", "reading"], axis=1)
    rightly = (room["reading"] == 2) | (room["participant"] == 1)
    answers = answers_of(room.assign(chosen_size=np.where(rightly, right, wrong)))
    assert len(answers.left_out) == 0
    found = room_result(answers, demo_chart(), practice=card)
    row = found.gain.set_index("measure").loc["chosen_size"]
    assert (row["before"], row["after"], row["estimate"]) == (0.75, 0.0, 0.75)
    ends = stats.ttest_1samp([0, 1, 1, 1], 0).confidence_interval()
    assert (row["low"], row["high"]) == pytest.approx((ends.low, ends.high))
    told = found.wrong.query("participant == 'together' and source == 'chosen'")
    assert told[["count", "n"]].values.tolist() == [[3, 4]]


@pytest.mark.parametrize("size", ["Adult-2", "adult2", "ADULT 2 ", "adlt 2"])
def test_a_size_written_nearly_as_on_the_chart_is_that_size_or_asked_about(size):
    answers = answers_of({"participant": [1], "subject": "A", "chosen_size": [size]})
    if size == "adlt 2":
        assert answers.sizes.empty and not answers.mapped
        assert "did you mean 'adult 2'?" in answers.left_out["reason"].iloc[0]
        return
    assert answers.sizes["chosen_size"].tolist() == ["adult 2"]
    assert answers.mapped == (f"Size '{size.strip()}' was read as 'adult 2'.",)
    assert answers.mapped[0] in answers.summary()


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6))
def test_an_honest_room_loses_nothing(seed):
    rng = np.random.default_rng(seed)
    true = {"A": 92.0, "B": 118.0, "C": 101.0}
    rows = pd.DataFrame(product(range(1, 7), true, (1, 2)))
    rows = rows.set_axis(["participant", "subject", "reading"], axis=1)
    read = rows["subject"].map(true) + rng.normal(0, 1.4, len(rows))
    answers = answers_of(rows.assign(**{HIP: read.round(1)}))
    assert len(answers.left_out) == 0 and len(answers.readings) == len(rows)


@pytest.mark.parametrize(
    ("cells", "left", "reason"),
    [
        (["98 kg", 99.0], 1, "kilograms, where"),
        (["39 in", 99.0], 1, "inches, and the heading in"),
        (["9.8", 99.0], 1, "no body"),
        ([-3, 99.0], 1, "no body"),
        ([None, 99.0], 1, "nothing is filled in"),
        # The same reading given twice: both of them.
        ([98.0, 97.0, 99.0], 2, "more than once"),
    ],
)
def test_a_cell_that_is_no_plain_number_is_left_out(cells, left, reason):
    who = [1] * (len(cells) - 1) + [2]
    rows = pd.DataFrame({"participant": who, "subject": "A", HIP: cells}, dtype=object)
    answers = answers_of(rows)
    assert answers.readings["participant"].tolist() == ["2"]
    assert len(answers.left_out) == left
    assert answers.left_out["reason"].str.contains(reason).all()


@pytest.mark.parametrize(
    "rows",
    [
        {"participant": [], "subject": []},
        {"participant": [1], "chosen_size": ["adult 1"]},
        {"participant": [1], "subject": ["A"], "hip_circumference": [99]},
    ],
    ids=["no rows", "no subject", "no unit"],
)
def test_what_cannot_be_read_is_refused_in_plain_words(rows):
    with pytest.raises((SizingError, InputProblems), match=r"(?i)allowed"):
        answers_of(rows)


def test_empty_answers_give_a_count_and_no_figures():
    none = {"participant": [1, 2], "subject": "A", "chosen_size": [None] * 2}
    answers = answers_of(none)
    assert (len(answers.left_out), answers.empty) == (2, 2)
    found = room_result(answers, demo_chart())
    assert len(found.sizes) == 0 and len(found.error.table) == 0
    assert "2 left out" in answers.summary()


def test_a_missing_measure_is_not_counted_by_tape():
    chart = chart_of(**{HIP: [(80, 120)], "sitting_height_cm": [(70, 95)]})
    rows = {"participant": ["reference", 1, 2], "subject": "A", HIP: [99.0, 98, 97]}
    answers = answers_of(rows | {"sitting_height_cm": [85.0, 84, None]}, chart)
    found = room_result(answers, chart)
    assert found.sizes.query("participant == 'together'")["n"].iloc[0] == 1
    assert found.not_counted["participant"].tolist() == ["2"]
