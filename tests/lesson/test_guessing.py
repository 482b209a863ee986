"""Guessing curves against published figures, other code and brute force."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from sizing.errors import SizingError
from sizing.lesson.choosing import (
    GuessModel,
    check_guesses,
    fit_guess,
    guessing_figures,
)
from sizing.pages.lesson import check_table
from sizing.surveys import read_embedded


@pytest.mark.parametrize("shape", [1.0, 1.4, 2.0])
def test_the_curve_s_figures_against_quadrature(shape, rng):
    curve, known = GuessModel(-0.02, 0.1, shape), stats.gennorm(shape, -0.02, 0.1)
    mean = known.expect(np.abs)
    assert curve.figure("mean_absolute", 0) == pytest.approx(mean, rel=0.005)
    within = quad(known.pdf, -0.1, 0.1)[0]
    assert curve.figure("within", 0.1) == pytest.approx(within, abs=1e-6)
    assert np.abs(curve.errors(50_000, rng)).mean() == pytest.approx(mean, rel=0.02)


#: Shares as published: nurses and patients within 10 % (Acad Emerg Med 2005;12:262-266;
#: Can Fam Physician 1999;45:2373-2376); nurses beyond 20 %, predicted, n = 394, within
#: 2 points (Am J Emerg Med 2004;22:526-529); of children aged 0 to 8 beyond 15 %
#: (Pediatr Emerg Care 1999;15).
PUBLISHED = [
    ("nurse", "adults", "within", 0.10, 0.496, 0.66),
    ("patient", "adults", "within", 0.10, 0.906, 0.97),
    ("nurse", "adults", "beyond", 0.20, 0.139, 0.179),
    ("nurse", "children", "beyond", 0.15, 0.399, 0.401),
]


@pytest.mark.parametrize(
    ("guesser", "subjects", "statistic", "bound", "low", "high"), PUBLISHED
)
def test_the_model_reproduces_the_published_shares(
    guesser, subjects, statistic, bound, low, high
):
    assert low <= fit_guess(guesser, subjects).figure(statistic, bound) <= high


def test_fitted_shares_lie_inside_their_own_interval_and_misses_are_shown():
    check = check_guesses()
    shares = check[check["statistic"].isin(["within", "beyond"])]
    assert shares.loc[shares["role"] == "fitted", "inside"].all()
    # The studies disagree: a model that hid it would claim that none is missed.
    predicted = shares[shares["role"] == "predicted"]
    assert 0 < predicted["inside"].astype(bool).mean() < 1
    assert check["miss"].notna().all()
    assert set(check["role"]) == {"fitted", "predicted"}


def test_a_curve_s_quantile_is_written_as_an_error_and_not_as_a_share():
    """Before, -13 % was written as "under 1 %"."""
    rows = [row for row in check_table(check_guesses()).rows if "are lower" in row[2]]
    given = [float(row[3].split()[0]) for row in rows]
    curve = [float(row[4].split()[0]) for row in rows]
    assert len(rows) > 5 and min(curve) < -10
    assert curve == pytest.approx(given, abs=1)


def test_every_study_can_be_fitted_and_then_reproduces_its_own_shares():
    keys = ["guesser", "subjects", "study"]
    for (guesser, subjects, study), own in guessing_figures().groupby(keys):
        curve = fit_guess(guesser, subjects, study=study)
        for row in own[own["statistic"].isin(["within", "beyond"])].itertuples():
            # One curve misses the share of physicians beyond 15 % (Fernandes) by 0.053.
            miss = curve.figure(row.statistic, row.bound) - row.value
            assert abs(miss) < 0.06, study


def test_what_adults_say_of_their_body_mass_is_derived_from_the_survey():
    frame = read_embedded().frame
    adults = frame[frame["age_years"] >= 18]
    error = (adults["reported_mass_kg"] / adults["body_mass_kg"] - 1).dropna().abs()
    figures = guessing_figures().query("study == 'NHANES 2017-18'")
    told = figures.set_index(["statistic", "bound"])["value"]
    assert told["within", 0.10] == pytest.approx((error <= 0.10).mean(), abs=1e-4)
    assert told["within", 0.05] == pytest.approx((error <= 0.05).mean(), abs=1e-4)
    assert figures["n"].iloc[0] == len(error)


@pytest.mark.parametrize(
    "wrong",
    [("uncle", "adults", None), ("nurse", "cats", None), ("nurse", "adults", "x")],
)
def test_unknown_guessers_are_refused_in_plain_words(wrong):
    guesser, subjects, study = wrong
    with pytest.raises(SizingError, match="unknown"):
        fit_guess(guesser, subjects, study=study)
