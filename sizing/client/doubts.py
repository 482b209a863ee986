"""What looks wrong among the entries, judged against people's joint measures."""

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtrc

from sizing.client.client import Client, like_a_child
from sizing.client.how import ESTIMATED, Reading
from sizing.client.posterior import build_of, draw_bodies
from sizing.errors import Problem
from sizing.measures import (
    MEASURES,
    OF_KIND,
    UNIT_WORDS,
    Amount,
    Said,
    Worded,
    joined,
    plain,
)
from sizing.resources import texts
from sizing.stats.formulas import Floats

_T = texts("problems")

#: A reading this many SDs from what the others let expect is doubted, if the
#: readings together are also rarer than RARE among people (our choice, no
#: source; a test counts how many survey people are doubted).
FAR, RARE = 4.0, 1e-4
#: Draws behind the joint distribution.
_DRAWS = 256
#: A slip of unit is named if it brings the reading this near.
_NEAR = 2.0


def doubtful(client: Client, *, seed: int = 1) -> tuple[Problem, ...]:
    """Name readings that do not go with the rest of the person.

    On the logarithmic scale, with mean ``m`` and covariance ``S`` of people of
    that sex and age, ``V`` the error variances and ``P = (S + V)^-1``, reading
    ``k`` lies ``z_k = (P (y - m))_k / sqrt(P_kk)`` SDs from what all the
    others let expect, and ``(y - m)' P (y - m)`` is chi-square. Where body
    mass and stature are known, ``m`` and ``S`` of the seated measures and
    girths are those of people of that build.
    """
    found: list[Problem] = []
    readings = list(client.readings)
    build = [one for one in readings if one.measure in MEASURES[:2]]
    if build:
        mean, covariance = build_of(client.sex, client.age_years)
        found += _among(build, mean, covariance, client)
        for problem in found:
            readings = [one for one in readings if one.measure != problem.column]
    seated = [one for one in readings if one.measure not in MEASURES[:2]]
    if seated:
        kept = [one for one in build if one in readings]
        mean, covariance = _people(client, kept, seed)
        found += _among(seated, mean, covariance, client)
    return tuple(found)


def _people(
    client: Client, build: Sequence[Reading], seed: int
) -> tuple[Floats, Floats]:
    """Mean and covariance of ln measures among people of that sex, age, build."""
    bodies = draw_bodies(
        client.sex, client.age_years, build, seed=seed, draws=_DRAWS, unlike=0.0
    )
    logs = np.log(bodies.values)
    mean = bodies.weight @ logs
    gap = logs - mean
    return mean, (gap * bodies.weight[:, None]).T @ gap


def _among(
    readings: Sequence[Reading], mean: Floats, covariance: Floats, client: Client
) -> list[Problem]:
    found: list[Problem] = []
    rest = list(readings)
    while rest:
        place = np.array([MEASURES.index(one.measure) for one in rest])
        gap = np.array([one.log_value for one in rest]) - mean[place]
        error = np.diag([one.log_sd**2 for one in rest])
        precision = np.linalg.inv(covariance[np.ix_(place, place)] + error)
        pull = precision @ gap
        z = pull / np.sqrt(np.diag(precision))
        chance = float(chdtrc(len(rest), gap @ pull))
        worst = int(np.abs(z).argmax())
        if abs(z[worst]) < FAR or chance > RARE:
            break
        one = rest.pop(worst)
        # y_k - pull_k / P_kk is its mean given the others, 1 / P_kk the variance.
        spread = 1.0 / np.sqrt(precision[worst, worst])
        centre = one.log_value - z[worst] * spread
        found.append(_words(one, centre, spread, client))
    return found


def _words(one: Reading, centre: float, spread: float, client: Client) -> Problem:
    low, mid, high = np.exp(centre + spread * np.array([-3.0, 0.0, 3.0])).round()
    what = Said(
        "with the rest of what was entered, a {name} of about {mid} would be expected "
        "(nearly all such people: {usual})",
        name=plain(one.measure),
        mid=Amount(mid, one.measure),
        usual=Amount(low, one.measure, high),
    )
    child = ""
    if client.age_years is not None:
        sex = client.sex or ""
        child = like_a_child(one.measure, one.value, sex, client.age_years)
    hints = [*_units(one, centre, spread), *([f"{child}; "] if child else [])]
    again = "measure it again" if one.how != ESTIMATED else "measure the segment again"
    do = "{again}; if it is right, {confirm}"
    last = Said(do, again=again, confirm=Worded(**_T.confirm))
    action = joined([*hints, last], link="")
    return Problem(
        what, action=action, column=one.measure, value=round(float(one.value), 1)
    )


def _units(one: Reading, centre: float, spread: float) -> list[str]:
    """Name units in which the number would be what is expected.

    On a form in other units the number is not the one that was typed.
    """
    kind = "mass" if one.measure.endswith("_kg") else "length"
    standard = {"mass": "kg", "length": "cm"}[kind]
    return [
        Worded(
            f"it would fit if the number were in {UNIT_WORDS[unit]}; ", form_other=""
        )
        for unit, factor in OF_KIND[kind].items()
        if unit != standard
        and abs(np.log(one.value * factor) - centre) < _NEAR * max(spread, 0.03)
    ]
