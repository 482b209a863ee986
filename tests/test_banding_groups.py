"""The groups' sizes: whose they are, how they are judged, how many there are."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from banding_oracle import MEASURES, make_people

from sizing.banding import (
    fit_bands,
    fit_groups,
    group_of,
    judge_groups,
    split_sizes,
)
from sizing.banding.groups import by_group, widths_of
from sizing.banding.split import _gains, _splits
from sizing.errors import SizingError

HIP, SIT = MEASURES[:2]


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
    moved = group_of(people, adult_age=9.0, bmi_threshold=39.9)
    assert moved.tolist() == [
        "bariatric",
        "bariatric",
        "bariatric",
        "adult",
        "bariatric",
    ]
    drawn = make_people(
        np.full((2, 1), 90.0),
        draws=2,
        age_years=17.0,
        stature_cm=150.0,
        body_mass_kg=[80.0, 100.2],
    )
    assert group_of(drawn, adult_age=16.0).tolist() == ["bariatric"] * 2
    with pytest.raises(SizingError, match=r"stature_cm.*cannot tell.*age_years, body"):
        group_of(make_people([[90.0]], body_mass_kg=90.0))


def test_every_group_is_fitted_to_its_own_people():
    people = grown()
    parts = by_group(people, group_of(people))
    assert list(parts) == ["paediatric", "adult", "bariatric"]
    assert [p.name for p in parts.values()] == [f"invented, {g}" for g in parts]
    asked = {"widths": {HIP: 8.0}, "splits": 0}
    found = fit_groups(people, **asked, load_limits_kg={"adult": 100.0})
    assert {g: f.persons for g, f in found.fits.items()} == {
        g: p.n for g, p in parts.items()
    }
    for group, part in parts.items():
        limit = {"adult": 100.0}.get(group)
        alone = fit_bands(part, **asked, sizes=3, group=group, load_limit_kg=limit)
        pd.testing.assert_frame_equal(found.fits[group].chart.frame, alone.chart.frame)
    assert found.table["group"].unique().tolist() == list(parts)
    assert found.table.columns[0] == "group" and len(found.table) == 18
    assert found.chart.name == "fitted chart"
    assert found.chart.source == "fitted to " + ", ".join(
        f"'invented, {g}'" for g in parts
    )
    whole = found.judged[found.judged["group"] == "everyone"].groupby("outcome")
    other = 100 * whole["estimate"].sum()["other"]
    assert f"Of everyone, {other:.1f} % fits only a size of another" in found.summary()
    assert found.summary().startswith("paediatric: 3 sizes fit")
    assert found.judged["n"][0] == 60 and (found.judged["people"] == "invented").all()
    # The bootstrap is the same each time, and can be another one.
    own = group_of(people)
    again = judge_groups(people, found.chart, own)
    pd.testing.assert_frame_equal(again, found.judged)
    pd.testing.assert_frame_equal(judge_groups(people, found.chart, own, seed=1), again)
    assert not judge_groups(people, found.chart, own, seed=2)["low"].equals(
        again["low"]
    )
    # Groups given apart: judged only on whom one names; a group may have no size.
    apart = fit_groups(parts, **asked, sizes={"adult": 2})
    assert apart.judged.empty and list(apart.fits) == ["adult"]
    assert "estimate" in apart.judged and len(apart.chart.sizes) == 2
    named = fit_groups(parts, **asked, sizes=1, everyone=people, adult_age=9.0)
    assert "paediatric" not in set(named.judged["group"])
    with pytest.raises(SizingError, match="no group has both people and sizes"):
        fit_groups(parts, **asked, sizes=0)


def test_widths_are_for_all_groups_or_for_each():
    each = {"adult": {HIP: 5.0}, "paediatric": {HIP: 4.0}}
    assert widths_of({HIP: 5.0}, "adult") == {HIP: 5.0}
    assert widths_of(each, "paediatric") == {HIP: 4.0}
    with pytest.raises(SizingError, match=r"a group has no widths.*bariatric"):
        widths_of(each, "bariatric")
    with pytest.raises(SizingError, match=r"unknown group among the widths.*teenage"):
        widths_of({**each, "teenage": {HIP: 4.0}}, "adult")
    with pytest.raises(SizingError, match="unknown group among the people"):
        fit_groups({"teenage": grown()}, widths={HIP: 5.0})


def test_what_sizes_gain_is_counted_by_person():
    """Draws of a person count for parts of her; no better is no other chart."""
    values = np.array([80.0, 80.1, 90.0, 90.1, 90.0, 100.0, 80.0, np.nan])[:, None]
    people = make_people(values, [1, 1, 2, 2, 3, 3, 1, 1], draws=2)
    gains = _gains(people, 4, widths={HIP: 0.2}, step_cm=0.1)
    assert gains[:, 0].tolist() == [1, 2, 3, 1]
    assert gains[:, 1].tolist() == [0] * 4
    # One band at 90, then one at 100, then one at 80: the fourth helps nobody.
    assert gains[:, 2].tolist() == [0, 2, 1.5, 0]
    assert gains[:, 3:].sum(axis=0).tolist() == [5, 6.5, 6.5]
    assert gains[:, 4].tolist() == gains[:, 5].tolist() == [1, 2, 3, 0.5]
    splits = [s for s in product(range(5), repeat=3) if sum(s) == 4]
    assert sorted(_splits(4, 3)) == splits and list(_splits(4, 1)) == [(4,)]


def test_sizes_are_shared_out_over_the_groups_as_asked():
    people = grown(2, 120)
    widths = {HIP: 25.0}
    table = split_sizes(people, widths=widths)
    assert table["sizes"].tolist() == list(range(3, 13))
    method = "bootstrap of persons, 200 samples, charts and split held"
    assert (table["method"] == method).all()
    names = ["paediatric", "adult", "bariatric"]
    parts = by_group(people, group_of(people))
    apart = split_sizes(parts, widths=widths, sizes=[4])
    assert apart[names].values.tolist() == table.loc[[1], names].values.tolist()
    same = split_sizes(people, widths=widths, seed=1, replicates=200, sizes=[4, 3, 3])
    pd.testing.assert_frame_equal(same, table.iloc[:2])
    assert table["equal"].notna().tolist() == [n % 3 == 0 for n in range(3, 13)]
    lost = (table["estimate"] - table["equal"]).to_numpy()
    np.testing.assert_allclose(table["loss_of_equal"], lost)
    # Two bands reach over a group's 40 cm: what is left goes to the earliest group.
    assert table["estimate"].iloc[2] < table["estimate"].iloc[3] == 1
    assert (table["high"].iloc[3:] == 1).all() and (table["high"].iloc[:3] < 1).all()
    assert table[names].iloc[3:].values.tolist() == [[n, 2, 2] for n in range(2, 9)]
    few_draws = split_sizes(people, widths=widths, sizes=[1], replicates=2)
    assert few_draws[names].sum(axis=1).item() == 1 and few_draws["low"].item() >= 0
    for change, words in (
        ({"replicates": 1}, "too few bootstrap samples"),
        ({"sizes": [0, 3]}, "no number of sizes"),
        ({"sizes": []}, "no number of sizes"),
    ):
        with pytest.raises(SizingError, match=words):
            split_sizes(people, widths=widths, **change)
