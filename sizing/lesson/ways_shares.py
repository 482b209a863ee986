"""Shares of each way's outcomes by group, with intervals, and differences."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from sizing.coverage.coverage import memberships
from sizing.errors import one_of
from sizing.lesson.choosing import (
    CHOICE_OUTCOMES,
    CHOICE_WORDS,
    Bools,
    Ints,
    outcome_of_choice,
)
from sizing.people import People
from sizing.people.layout import layout
from sizing.stats.intervals import LEVEL, student
from sizing.stats.shares import SMALL_GROUP, Means, group_means

#: Outcomes of ``compare_ways`` beside those that add up to 1.
WRONG_OF_SOME = "wrong_of_those_a_size_fits"
PUT_WRONG = "put_in_a_wrong_size"
#: Those in which the person is put in a size that does not fit.
PUT_WRONG_OUTCOMES: tuple[str, ...] = (
    "one_too_small",
    "one_too_large",
    "two_or_more_off",
    "chosen_though_none_fits",
)
_PUT_WRONG_CODES = [CHOICE_OUTCOMES.index(name) for name in PUT_WRONG_OUTCOMES]
_DIFFERENCES = [
    "way",
    "against",
    "outcome",
    "estimate",
    "low",
    "high",
    "method",
    "n",
]
MORE_WORDS = {
    WRONG_OF_SOME: "not in a fitting size, of those whom some size fits",
    PUT_WRONG: "put in a size that does not fit",
}


def shares_of_ways(
    people: People,
    chosen: Mapping[str, Ints],
    fits: Bools,
    by: Sequence[str],
    against: str,
    *,
    replicates: int,
    seed: int,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the shares of every way, group and outcome, and the differences.

    ``compare_ways`` describes both frames. ``chosen`` has the position of the
    size that each way chose, -1 for none; ``fits`` which sizes truly fit.
    """
    place = layout(people)
    labels, members = memberships(people, list(by), place)
    some = np.asarray(fits.any(axis=1))[place.rows].astype(float)
    with_size = [m * s[:, None] for m, s in zip(members, some, strict=True)]
    options: dict[str, Any] = {"replicates": replicates, "seed": seed}
    method = f"{100 * LEVEL:.0f} % score interval on the effective number; {place.how}"
    method += place.joined
    each = []
    for codes in chosen.values():
        code = outcome_of_choice(codes, fits)
        own = (code[:, None] == np.arange(len(CHOICE_OUTCOMES))).astype(float)
        each.append(np.hstack([own, own[:, _PUT_WRONG_CODES].sum(axis=1)[:, None]]))
    columns = np.stack(each, axis=1)[place.rows]
    flat = columns.reshape(*columns.shape[:2], -1)
    missed = 1 - columns[..., 0]
    ways, names = list(chosen), [*CHOICE_OUTCOMES, PUT_WRONG]
    of_all = group_means(place, list(flat), members, **options)
    of_some = group_means(place, list(missed), with_size, **options)
    table = pd.concat(
        [
            _long(of_all, labels, ways, names),
            _long(of_some, labels, ways, [WRONG_OF_SOME]),
        ],
        ignore_index=True,
    )
    table.insert(7, "method", method)
    order = pd.Categorical(table["way"], ways)
    table = table.iloc[order.argsort(kind="stable")].reset_index(drop=True)
    others = [way for way in ways if way != against]
    differences = pd.DataFrame(columns=_DIFFERENCES)
    if against in chosen and others:
        told = [0, len(CHOICE_OUTCOMES)]
        base = columns[:, :, [ways.index(against)]][..., told]
        gaps = columns[:, :, [ways.index(way) for way in others]][..., told] - base
        gaps = gaps.reshape(*gaps.shape[:2], -1)
        everyone = [member[:, :1] for member in members]
        means = group_means(place, list(gaps), everyone, **options)
        half = student(means.df[0]) * np.sqrt(means.variance[0])
        differences = pd.DataFrame(
            {
                "way": np.repeat(others, 2),
                "against": against,
                "outcome": ["fitting", PUT_WRONG] * len(others),
                "estimate": means.estimate[0],
                "low": means.estimate[0] - half,
                "high": means.estimate[0] + half,
                "method": f"paired difference, Student's t; {place.how}",
                "n": round(means.n[0]),
            }
        )
    return table, differences


def _long(
    means: Means,
    labels: Sequence[tuple[str, str]],
    ways: Sequence[str],
    outcomes: Sequence[str],
) -> pd.DataFrame:
    """Return one row per group, way and outcome, with the score interval."""
    low, high = means.shares()
    n = np.round(means.n).astype(int)
    width = means.estimate.shape[1]
    return pd.DataFrame(
        {
            "way": np.tile(np.repeat(ways, len(outcomes)), len(labels)),
            "by": np.repeat([label[0] for label in labels], width),
            "level": np.repeat([label[1] for label in labels], width),
            "outcome": np.tile(outcomes, len(ways) * len(labels)),
            "estimate": means.estimate.ravel(),
            "low": low.ravel(),
            "high": high.ravel(),
            "n": np.repeat(n, width),
            "n_effective": np.repeat(means.n_effective, width),
            "standard_error": np.sqrt(means.variance).ravel(),
            "small_group": np.repeat(n < SMALL_GROUP, width),
        }
    )


def outcome_words(outcome: str) -> str:
    """Return what an outcome of ``compare_ways`` is called in words."""
    words = CHOICE_WORDS | MORE_WORDS
    one_of("outcome", outcome, list(words))
    return words[outcome]
