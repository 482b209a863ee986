"""Reading, checking and writing charts: every message, and the round trip."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import (
    SizeChart,
    chart_from,
    demo_chart,
    read_chart,
    review_chart,
    write_chart,
)
from sizing.charts.files import chart_from_text, keep_chart, kept_charts
from sizing.errors import InputProblems, Problem, SizingError, SizingWarning
from sizing.measures import MEASURES, plausible_range
from tests.charts.cases import HIGH, LOW, found, good, problems


@pytest.mark.parametrize(
    ("column", "cell", "what", "action"),
    [
        (LOW, "wide", "text instead of a number", ""),
        (LOW, True, "this is not a number", ""),
        (LOW, "88 kg", "in kilograms, where", ""),
        (LOW, "35 1/2 in", "in inches, and the", "write 90.17, or correct the head"),
        (LOW, "1,885", "may mark thousands", "write 1885 or 1.885"),
        (LOW, -3.0, "no body can have", ""),
        (LOW, math.inf, "no body can have", ""),
        (HIGH, 0.0, "fits nobody", ""),
        (HIGH, 10_000.1, "a limit that no body can have", ""),
        (LOW, 111.0, "the low limit is above", ""),
        ("load_limit_kg", 0.0, "an upper limit of nothing", ""),
        ("size", "one", "the size stands twice, also in row 2", ""),
        ("size", " ", "a size without a name", ""),
        ("size", "=one", "would run as a formula", ""),
        ("group", "adlut", "unknown group", "did you mean 'adult'?"),
        ("group", "xxx", "unknown group", "choose one"),
    ],
)
def test_a_wrong_cell_is_named_with_its_place_and_what_to_write(
    column, cell, what, action
):
    (row,) = problems(good(**{column: [good()[column][0], cell]})).to_dict("records")
    assert what in row["what"] and row["action"].startswith(action)
    assert (row["row"], row["column"]) == (3, column)
    assert row["value"] == (None if cell == " " else cell)
    assert row["allowed"] and row["action"]
    if "?" in action:
        said = str(Problem(row["what"], action=action))
        assert said == f"unknown group. What to do: {action}"


def test_every_problem_is_named_at_once():
    frame = good(
        size=["one", "one"],
        group=["adlut", "adult"],
        hip_circumference_cm_low=["7o", 300],
        thigh_grth_cm_low=[1, 2],
    )
    found = problems(frame)
    assert len(found) == 5
    assert found["row"].tolist() == [1, 2, 2, 3, 3]
    with pytest.raises(SizingError, match="5 problems in the chart 'mine'"):
        chart_from(frame, name="mine")


@pytest.mark.parametrize(
    ("heading", "what", "action"),
    [
        ("thigh_circumference_kg_low", "'kg' is no unit", "thigh_circumference_cm_low"),
        ("thigh_circumference_cm", "does not say which", "thigh_circumference_cm_low"),
        ("load_limit", "this measure has no unit", "write the unit"),
        ("", "column 6 has no heading", "write one in row 1"),
    ],
)
def test_a_wrong_heading_is_named(heading, what, action):
    (found,) = problems(good(**{heading: [1, 2]})).to_dict("records")
    assert what in found["what"] and action in found["action"] and found["row"] == 1


def test_limits_at_their_ends_are_taken():
    for column, values in ((HIGH, [90, 10_000]), (LOW, [0, 88]), (LOW, [90, 110.0])):
        taken = chart_from(good(**{column: values}), warn=False)
        assert taken.frame[column].tolist() == values
    chart = chart_from(good(body_mass_kg_low=[120, 160]), warn=False)
    assert chart.frame["load_limit_kg"].tolist() == [120, 160]
    found = problems(good(body_mass_kg_low=[120, 160.1]))
    assert "the load limit is under the size's weight band" in found.loc[0, "what"]


# Files


def test_what_is_no_chart_is_refused_and_no_chart_written(tmp_path):
    (tmp_path / "chart.pdf").write_bytes(b"x")
    with pytest.raises(InputProblems, match="the wrong kind of file"):
        read_chart(tmp_path / "chart.pdf")
    for name, words in (("a.txt", "let the name end"), ("no/a.csv", "no such folder")):
        with pytest.raises(InputProblems, match=words):
            write_chart(demo_chart(), tmp_path / name)


edge = st.one_of(st.none(), st.floats(0.1, 300, allow_nan=False))
own = st.one_of(st.none(), st.text("abc 0,;'\"\n=+-@", min_size=1, max_size=5))


@st.composite
def charts(draw) -> SizeChart:
    n = draw(st.integers(1, 5))
    measures = draw(st.lists(st.sampled_from(MEASURES), min_size=1, unique=True))
    groups = ["", "paediatric", "adult", "bariatric"]
    data: dict[str, list] = {
        "size": [f"size {i}" for i in range(n)],
        "group": draw(st.lists(st.sampled_from(groups), min_size=n, max_size=n)),
    }
    for measure in measures:
        lows, highs = [], []
        for _ in range(n):
            low, high = draw(edge), draw(edge)
            if low is not None and high is not None:
                low, high = min(low, high), max(low, high)
            lows.append(draw(st.floats(0.1, 9)) if low is high is None else low)
            highs.append(high)
        data |= {f"{measure}_low": lows, f"{measure}_high": highs}
    data["owned"] = draw(st.lists(st.integers(0, 9), min_size=n, max_size=n))
    data["list_price"] = draw(st.lists(st.floats(0.25, 900), min_size=n, max_size=n))
    words = draw(st.lists(own, min_size=n, max_size=n))
    data["note"] = [
        w if w and w.strip() and not w.strip()[0].isdigit() else "x" for w in words
    ]
    return chart_from(pd.DataFrame(data), name="mine", source="invented", warn=False)


@settings(max_examples=25, deadline=None)
@given(chart=charts(), kind=st.sampled_from(["csv", "xlsx"]))
def test_a_chart_comes_back_as_it_was_written(chart, kind, tmp_path_factory):
    path = tmp_path_factory.mktemp("charts") / f"mine.{kind}"
    write_chart(chart, path)
    back = read_chart(path, warn=False)
    # A workbook does not tell 1.0 from 1 and holds 16 digits of a number; the
    # kit's own limits, rounded to 9 places, come back to the last digit.
    digits = {"check_exact": True} if kind == "csv" else {"rtol": 1e-14}
    pd.testing.assert_frame_equal(back.frame, chart.frame, check_dtype=False, **digits)
    for measure in chart.measures:
        for end in ("low", "high"):
            column = f"{measure}_{end}"
            assert back.frame[column].equals(chart.frame[column])
    assert (back.name, back.source) == (chart.name, chart.source)


def test_a_file_without_a_name_is_named_by_the_file(tmp_path):
    path = tmp_path / "ward seven.csv"
    path.write_text("size;load_limit_kg;stature_cm_low\n1;99;150,5\n")
    chart = read_chart(path)
    assert (chart.name, chart.sizes) == ("ward seven", ("1",))
    assert chart.frame["stature_cm_low"].tolist() == [150.5]


def test_charts_are_kept_by_name_and_never_written_over_unasked(tmp_path):
    assert kept_charts(tmp_path / "none") == {}
    mine = replace(chart_from(good(), warn=False), name="Ward A/B: 2")
    path = keep_chart(mine, tmp_path / "kept")
    assert path.name == "Ward A-B- 2.csv" and keep_chart(mine, path.parent) == path
    again = read_chart(path, warn=False)
    assert (again.name, again.frame.equals(mine.frame)) == (mine.name, True)
    other = replace(demo_chart(), name=mine.name)
    before = path.read_bytes()
    with pytest.raises(SizingError, match="another chart is kept by this name"):
        keep_chart(other, path.parent)
    assert path.read_bytes() == before
    keep_chart(other, path.parent, over=True)
    assert len(read_chart(path, warn=False).sizes) == 9
    assert list(kept_charts(path.parent)) == ["Ward A-B- 2"]


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    [
        *((f"80{mark}104", 80, 104) for mark in ("-", " - ", " to ", "—", "−")),
        ("80,5 \u2013 104 cm", 80.5, 104),
        ("from 80 to 104cm", 80, 104),
        ("up to 104", math.nan, 104),
        ("104 cm or less", math.nan, 104),
        ("80+", 80, math.nan),
        ("80+ cm", 80, math.nan),
        ("80 cm and over", 80, math.nan),
        ("\u2265 80", 80, math.nan),
    ],
)
def test_a_range_is_read_as_people_write_it(cell, low, high):
    text = f"Size\tHip girth (cm)\nS\t{cell}\nL\t104-130"
    found = chart_from_text(text, "mine").frame.iloc[0]
    assert found.iloc[3:].tolist() == pytest.approx([low, high], nan_ok=True)


def test_a_pasted_table_loses_nothing_and_names_what_it_cannot_read():
    rows = ["Size  SWL (kg)  Height  Colour", "S  150  4'8\" - 5'2\"  blue"]
    chart = chart_from_text("\n".join([*rows, "L  200  5'2\"+  red"]), "Ward 3")
    assert (chart.name, chart.measures) == ("Ward 3", ("stature_cm",))
    assert chart.frame["stature_cm_high"].iloc[0] == pytest.approx(62 * 2.54)
    assert chart.frame["Colour"].tolist() == ["blue", "red"]
    rows = ["Size;Hip girth (cm);Height", "S;31 in-41 in;140-150", ";>104;9"]
    with pytest.raises(InputProblems) as caught:
        chart_from_text("\n".join(rows), "x")
    found = caught.value.table
    assert found["row"].tolist()[:3] == [1, 2, 2]
    assert set(found["file"]) == {"the pasted table"}
    assert "no unit" in found["what"].iloc[0] and "in inches" in found["what"].iloc[1]
    assert "a size without a name" in set(found["what"])


def banded(low: list, high: list, **columns: object) -> pd.DataFrame:
    more = {LOW: low, HIGH: high, "load_limit_kg": 150, **columns}
    return good(size=["size 1", "size 2"], **more)


LEAST, MOST = plausible_range("hip_circumference_cm")
MASS_LOW, MASS_HIGH = "body_mass_kg_low", "body_mass_kg_high"
SOUND, NO, LOAD = ([70, 88], [90, 110]), [None, None], "load_limit_kg"
OVER = {MASS_LOW: [40, 80], MASS_HIGH: [90, 150.1]}
TWO = {"group": ["adult", "bariatric"]}
GAP = "belongs to neither 'size 1' nor 'size 2'"
ORDER = "begins or ends lower: list the sizes from small to large"
DOUBT = "leave the cell empty for no limit"
INSIDE = "nobody above the load limit is counted as fitting"


@pytest.mark.parametrize(
    ("low", "high", "more", "kind", "where", "words"),
    [
        ([70, 88], [90, 110], {}, "", None, ""),
        ([70, 90.1], [90, 110], {}, "", None, ""),
        ([70, 90], [90, 110], {}, "", None, ""),
        ([70, None], [90, 110], {}, "gap", None, ""),
        ([70, 90.2], [90, 110], {}, "gap", ("size 1", "size 2", 90, 90.2), GAP),
        ([70, 95], [90, 120], TWO, "gap", ("size 1", "size 2", 90, 95), GAP),
        # A step down to another group is none; the same ends are no disorder.
        ([70, 60], [90, 65], TWO, "gap", None, ""),
        ([80, 80], [100, 110], {}, "out_of_order", None, ""),
        ([80, 80], [100, 110], {}, "inside_another", ("size 1", "size 2"), "also fits"),
        ([80, 70], [110, 120], {}, "out_of_order", ("size 2", "size 1"), ORDER),
        ([80, 85], [110, 105], {}, "out_of_order", ("size 2", "size 1"), ORDER),
        ([70, MOST], [90, MOST + 9], {}, "nobody_fits", None, ""),
        ([70, MOST + 0.1], [MOST + 1, MOST + 9], {}, "nobody_fits", ("size 2",), ""),
        ([LEAST - 9, 70], [LEAST, 90], {}, "nobody_fits", None, ""),
        ([LEAST - 9, 70], [LEAST - 0.1, 90], {}, "nobody_fits", ("size 1",), ""),
        ([70, 88], [90, 1.5 * MOST], {}, "", None, ""),
        ([70, 88], [90, 1.5 * MOST + 0.1], {}, "doubtful_number", ("size 2",), DOUBT),
        (*SOUND, {"stature_cm_low": NO}, "measure_not_limited", (None,), "limits it"),
        (*SOUND, {LOAD: NO}, "no_load_limit", (None,), "read each sling's own label"),
        (*SOUND, {LOAD: [9, None]}, "no_load_limit", ("size 2",), "the sling's own"),
        (*SOUND, {MASS_LOW: 40, MASS_HIGH: [90, 150]}, "", None, ""),
        (*SOUND, OVER, "load_limit_inside_band", ("size 2", None, 150, 150.1), INSIDE),
    ],
)
def test_a_finding_begins_where_it_should_and_names_its_place(
    low, high, more, kind, where, words
):
    table = found(banded(low, high, **more))
    if where is None:
        assert kind not in {*table["kind"]} if kind else table.empty
        return
    row = table[table["kind"] == kind].iloc[0]
    place = row[["size", "other_size", "low", "high"][: len(where)]].tolist()
    assert place == [*where] and words in row["words"]


def test_a_sound_chart_has_no_warnings_and_every_finding_is_one():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        chart_from(banded([70, 88], [90, 110]))
    assert review_chart(demo_chart()).empty
    table = banded([70, 95], [90, 85 + 25], load_limit_kg=[np.nan, np.nan])
    with pytest.warns(SizingWarning) as caught:
        chart = chart_from(table, name="mine")
    told = [str(w.message) for w in caught]
    assert told == [f"mine: {words}" for words in review_chart(chart)["words"]]
    # A warning points at the line that made the chart.
    assert len(told) == 2 and {w.filename for w in caught} == {__file__}
