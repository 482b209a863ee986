"""Conditions stated of a client: what is then neither predicted nor predicts."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.client_form import answer_html, pictures_html
from sizing.charts import OUTCOMES, assign, chart_from
from sizing.cli.main import main
from sizing.client import check_client, client_from, conditions_table
from sizing.client.posterior import draw_bodies
from sizing.client.readings import condition_keys, touched
from sizing.errors import InputProblems
from sizing.measures import MEASURES
from sizing.pages.client_answer import sizes_table
from sizing.pages.client_note import client_note
from sizing.people.people import People
from sizing.resources import invented_words

from .cases import DEMO, HIP, MASS, STATURE, THIGH, check, fits, made, whole_body

KEYS = list(conditions_table()["key"])


def test_each_condition_changes_measures_of_the_kit_and_says_why():
    table = conditions_table()
    assert table["key"].is_unique and table["label"].is_unique
    for _, row in table.iterrows():
        names = row["measures"].split(";")
        assert set(names) <= set(MEASURES) and len(set(names)) == len(names)
        assert list(touched([row["key"]])) == sorted(names, key=MEASURES.index)
        assert row["why"].strip()
    assert touched(["other"]) == MEASURES


@pytest.mark.parametrize("key", KEYS)
def test_a_condition_is_understood_by_its_key_and_by_its_label(key):
    label = conditions_table().set_index("key")["label"][key]
    for word in (key, label, label.upper(), key.replace("_", " "), f" {key} "):
        assert condition_keys(word) == ((key,), [])


def test_conditions_are_kept_once_in_the_order_of_the_table():
    stated = client_from({"sex": "f"}, conditions=["swelling", "curved spine"] * 2)
    assert stated.conditions == ("curved_spine", "swelling")
    assert client_from({"sex": "f"}).conditions == ()
    assert client_from({"sex": "f"}, conditions=["", "  "]).conditions == ()


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("curved_spin", "curved_spine"),
        ("contracture", "contracture_hip or contracture_knee or contracture_other"),
        ("left above knee", "limb_missing_left_above_knee"),
        ("amputation", "'other' stands for"),
    ],
)
def test_an_unknown_condition_is_refused_with_the_nearest_words(word, near):
    with pytest.raises(InputProblems) as caught:
        client_from({"sex": "f"}, conditions=["swelling", word])
    assert near in str(caught.value) and f"(found: '{word}')" in str(caught.value)


WOMAN = {"sex": "female", "age_years": 74}
USUAL = whole_body(74)
THIGHS = made(
    {HIP: [(70, 98), (96, 130), (90, 110)], THIGH: [(30, 52), (50, 70), (None, None)]},
    load=[150, None, 120],
    sizes=["first", "second", "free"],
)
taken_sets = st.sets(st.sampled_from(MEASURES))
stated_sets = st.sets(st.sampled_from(KEYS), min_size=1, max_size=3)


@settings(max_examples=12, deadline=None)
@given(taken=taken_sets, stated=stated_sets, demo=st.booleans())
def test_what_a_condition_changes_is_never_predicted(taken, stated, demo):
    """Not taken, it has no value, no chance, and no part in any chance."""
    chart = DEMO if demo else THIGHS
    away = set(touched(stated)) - taken
    answer = check_client(
        chart,
        WOMAN | {m: USUAL[m] for m in taken},
        conditions=sorted(stated),
        confirmed=True,
    )
    rows = answer.measures.set_index("measure")
    columns = ["estimate", "low", "high"]
    assert rows.loc[sorted(away), columns].isna().all(axis=None)
    assert rows.loc[sorted(set(MEASURES) - away), columns].notna().all(axis=None)
    assert set(rows.index[rows["evidence"] == "missing"]) == away
    assert not away & set(answer.next_measure["measure"])
    margins = answer.margins[answer.margins["measure"].isin(away)]
    assert margins[["estimate", "margin"]].isna().all(axis=None)
    edges = margins[["low_edge", "high_edge"]].notna().any(axis=1)
    assert (margins["chance"].isna() == edges).all()
    sizes = answer.sizes.set_index("size")
    for size in sizes.index:
        mine = margins[edges & (margins["size"] == size)]
        limited = set(mine["measure"])
        if MASS in away and np.isfinite(sizes["load_limit_kg"][size]):
            limited.add(MASS)
        row = sizes.loc[size]
        if row["not_judged"]:
            assert set(row["not_judged"].split(";")) == limited
            assert np.isnan(row["estimate"]) and row["low"] == 0
        elif limited:
            # The rest alone rules the size out.
            assert row["estimate"] == 0
    words = answer.summary()
    assert "at most under" not in "".join(map(str, sizes_table(answer).to_numpy()))
    first = words.removeprefix(invented_words("chart") if demo else "").lstrip()
    assert first.startswith("Stated: ") and "a person competent" in first
    # With a size that fits all the same, the word stands among the sizes in play.
    assert bool(answer.unjudged) == ("not judged" in words.lower())


@settings(max_examples=7, deadline=None)
@given(stated=stated_sets, more=st.sampled_from([0.9, 1.1]), guessed=st.booleans())
def test_what_a_condition_changes_predicts_nothing(stated, more, guessed):
    """The rest is the same whatever it is, and it is as read, with its own error."""
    away = touched(stated)
    how = dict.fromkeys(away, "guessed") if guessed else None
    moved = USUAL | {name: more * USUAL[name] for name in away}
    rest = {name: v for name, v in USUAL.items() if name not in away}
    told = [
        check_client(THIGHS, WOMAN | one, conditions=stated, confirmed=True, how=way)
        for one, way in ((USUAL, how), (moved, how), (rest, None))
    ]
    same = [MEASURES.index(name) for name in rest]
    for other in told[1:]:
        ours, theirs = (one.bodies.values[:, same] for one in (told[0], other))
        np.testing.assert_array_equal(ours, theirs)
    for name in away:
        one = told[1].client.known[name]
        row = told[1].measures.set_index("measure").loc[name]
        middle = np.exp(one.log_value)
        assert row["estimate"] == pytest.approx(middle, abs=0.01 * one.sd)
        ends = middle * np.exp(1.6449 * one.log_sd * np.array([-1, 1]))
        assert row[["low", "high"]].to_list() == pytest.approx(ends, abs=0.01 * one.sd)


def test_outcomes_with_unknown_measures_are_those_of_assign():
    """The oracle knows people of whom a measure is missing."""
    rng = np.random.default_rng(3)
    for seed, away in enumerate([(), MASS, HIP, THIGH, ";".join(MEASURES)]):
        values = draw_bodies(None, None, [], seed=seed).values.copy()
        values = values[rng.permutation(len(values))[:1000]]
        values[:60, 0] = rng.uniform(110, 330, 60)
        values[:, [name in away for name in MEASURES]] = np.nan
        frame = pd.DataFrame(values, columns=list(MEASURES))
        frame = frame.assign(person=np.arange(len(frame)), draw=0)
        weight = pd.Series(np.ones(len(frame)))
        people = People("drawn", frame, weight, pd.DataFrame(index=frame.index))
        for chart in (THIGHS, DEMO):
            ours, theirs = fits(values, chart), assign(people, chart)
            assert (ours.fits == theirs.fits).all()
            names = np.array(OUTCOMES)[ours.outcome]
            assert (names == theirs.table["outcome"].astype(str).to_numpy()).all()
            assert away or len(set(names)) >= 4


def test_a_missing_leg_leaves_the_thigh_to_the_tape():
    """Before, the thigh of 20 cm read was taken as one of 38.5 beside two legs."""
    entry = WOMAN | {MASS: 64.0, HIP: 101.0}
    stated = "limb_missing_left_above_knee"
    open_one = check_client(THIGHS, entry, conditions=stated)
    assert open_one.status == "fits" and open_one.first["size"] == "free"
    assert open_one.sizes["estimate"].isna().any()
    thighs_alone = chart_from(THIGHS.frame.iloc[:2], warn=False)
    waits = check_client(thighs_alone, entry, conditions=stated)
    assert waits.status == "not_measured" and waits.unjudged == [MEASURES[7]]
    assert "No size is named before it is measured" in waits.answer()
    read = entry | {THIGH: 20.0}
    judged = check_client(thighs_alone, read, conditions=stated, confirmed=True)
    row = judged.measures.set_index("measure").loc[THIGH]
    assert row["estimate"] == pytest.approx(20.0, abs=0.1)
    assert judged.sizes["estimate"].max() < 0.01


def test_of_a_growing_child_nothing_changed_is_projected():
    boy = {"sex": "male", "age_years": 8, MASS: 26, STATURE: 128}
    answer = check(boy, conditions="curved_spine")
    assert answer.growth.empty
    taken = boy | {HIP: 66.0}
    low = check(taken, conditions="low_muscle_tone")
    assert not set(low.growth["measure"]) & set(touched(["low_muscle_tone"]))
    assert len(low.growth) and "present centile" not in answer.summary()


def test_note_page_and_json_begin_with_what_cannot_be_judged():
    entry = WOMAN | {MASS: 64.0, HIP: 101.0}
    answer = check(entry, conditions=["other"])
    note = client_note(answer)
    for text in (note.html(), note.markdown(), answer_html(answer)):
        assert text.index("another condition") < text.index("Not judged")
        assert "The kit proposes" not in text
    told = answer.to_dict()
    assert told["conditions"] == ["other"]
    assert told["opening"][1].startswith("Stated: another condition")
    assert "not judged" in pictures_html(answer)
    told_first = {row["size"]: row["estimate"] for row in told["sizes"]}
    assert told_first["adult 2"] is None


def test_the_command_takes_conditions_again_and_again(capsys):
    words = ["sex=f", "age_years=74", "body_mass_kg=64"]
    told = ["condition=curved spine", "condition=swelling"]
    assert main(["client", *words, *told]) == 0
    second = capsys.readouterr().out.splitlines()[1]
    assert second.startswith("Stated: curved spine; swelling. ")
    assert main(["client", *words, "condition=curvy"]) == 2
    assert "curved_spine" in capsys.readouterr().err
