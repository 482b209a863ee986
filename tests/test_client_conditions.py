"""Conditions stated of a client: what is then neither predicted nor predicts."""

import pytest

from sizing.client import client_from, conditions_table
from sizing.client.conditions import condition_keys, touched
from sizing.errors import InputProblems
from sizing.measures import MEASURES

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
