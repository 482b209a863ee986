"""A share is written in one way, and never as more certain than it is."""

import re
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import given

import sizing
from sizing.cautions import cautions, closing
from sizing.resources import source_table
from sizing.words.numbers import in_100, interval, points, share, span

shares = st.floats(0, 1)


@given(shares, st.integers(0, 2))
def test_an_estimate_is_never_said_to_be_all_or_none(value, places):
    told = share(value, places=places)
    assert float(told.split()[-2]) not in (0.0, 100.0)
    assert in_100(value, places=places).removesuffix(" in 100") == told[:-2]


@given(shares, st.integers(0, 2))
def test_a_share_is_written_to_half_a_step_or_as_beyond_the_last(value, places):
    words = share(value, places=places).split()
    number, step = float(words[-2]), 10.0**-places
    if words[0] == "under":
        assert value * 100 <= number
    elif words[0] == "over":
        assert value * 100 >= number
    else:
        assert abs(value * 100 - number) <= step / 2 + 1e-9


@pytest.mark.parametrize("change", [0.0, -0.0, 4e-4, -4e-4])
def test_no_change_has_no_sign(change):
    assert points(change) == points(change, places=1, sign=False)[:1] == "0"


def test_an_interval_that_adds_nothing_is_left_out():
    assert interval({"estimate": 0.5, "low": 0.498, "high": 0.502}) == "50 %"
    assert span(1.0, 2.0, "stature_cm") == "1 to 2 cm"


#: A hundred times something, written out: a share in a way of its own. The level of an
#: interval and other set figures, in capitals, are no estimates.
OWN_WAY = re.compile(r"\{100 \* (?![A-Z_]+:)[^}]*:[+.0-9]*[fg]\}")
ROOMS = (
    "client/*.py",
    "words/client*.py",
    "words/chart.py",
    "pages/client_*.py",
    "app/client_*.py",
    "pages/own_chart.py",
    "app/own_chart*.py",
    "plots/chart.py",
    "cli/client.py",
    "charts/assign.py",
    "coverage/coverage.py",
    "coverage/sensitivity.py",
    "bands/f*.py",
    "bands/nine_sizes.py",
    "pages/study.py",
    "study/*.py",
)


@pytest.mark.parametrize("room", ROOMS)
def test_no_share_is_written_in_another_way(room):
    paths = sorted(Path(sizing.__file__).parent.glob(room))
    assert paths
    for path in paths:
        for line in path.read_text(encoding="utf-8").splitlines():
            assert not OWN_WAY.search(line), f"{path.name}: {line.strip()}"
    assert OWN_WAY.search("f\"{100 * row['low']:.0f} %\"")
    assert not OWN_WAY.search('f"{100 * LEVEL:.0f} %"')


def test_an_answer_closes_with_one_limit_and_each_caution_in_short():
    lines = closing(["Nobody sat.", "Nobody stood.", "Nobody lay."]).splitlines()
    assert lines[0].startswith(
        "Where the evidence stops: Nobody sat. For 2 more limits"
    )
    assert len(lines) == 2 and closing() == lines[1]
    short = source_table("cautions.csv").set_index("key")["short"]
    assert all(words in lines[1] for words in short) and len(short) == len(cautions())
    for key, word in {"load": "lowest", "wrong_size": "slip out"}.items():
        assert word in short[key] and word in cautions(key)[0]
