"""What is written is the same bytes at any time; test_offline runs the commands."""

import io
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.files.writing import rounded, workbook_bytes


def test_a_workbook_does_not_tell_when_it_was_made():
    frame = pd.DataFrame({"size": ["a"], "share": [0.5]})
    content = workbook_bytes({"sheet": frame})
    assert content.count(b"PK\x03\x04") > 5
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"dcterms:created" not in parts.read("docProps/core.xml")
    assert pd.read_excel(io.BytesIO(content)).equals(frame)


@given(st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9), st.floats(-1e-15, 1e-15))
def test_rounding_keeps_six_digits_and_cents(number, noise):
    made = rounded(number)
    assert abs(made - number) <= max(5.1e-6 * abs(number), 1e-15)
    assert abs(made - number) <= 0.00501 or abs(number) < 1000
    assert rounded(made) == made
    near = rounded(number * (1 + noise))
    assert near == made or abs(near - made) <= 1.1e-5 * abs(number)


def test_what_is_no_fraction_stays_as_it_is():
    frame = pd.DataFrame(
        {"n": [1, 2], "share": [1 / 3, np.nan], "size": ["a", None], "yes": [True] * 2}
    )
    made = rounded(frame)
    assert made["share"].iloc[0] == pytest.approx(0.333333, abs=1e-12)
    assert made.drop(columns="share").equals(frame.drop(columns="share"))
    assert made.dtypes.equals(frame.dtypes)
    assert rounded({"a": [1 / 3, None, 7, "x"]}) == {"a": [0.333333, None, 7, "x"]}
