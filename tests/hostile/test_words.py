"""What is typed after a command, and what hypothesis thinks of: never a traceback."""

import json
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import read_chart
from sizing.client import check_client
from sizing.client.client import client_from
from sizing.measures.tables import CASELOAD as CASELOAD_COLUMNS
from sizing.pages.client_note import client_note
from sizing.people import read_margins
from sizing.people.files import read_table

from .cells import NAMES
from .files import as_text, workbook
from .tables import CASELOAD, CHART, outcome_of, outcome_of_command
from .test_damaged_files import JARGON

CLIENT = ["client", "sex=f", "age_years=70", "body_mass_kg=60"]
WORDS: list[list[str]] = [
    [],
    ["nothing"],
    ["client"],
    ["client", "sex"],
    ["client", "sex=x", "age_years=70"],
    ["client", "sex=f", "age_years=old"],
    ["client", "sex=f", "age_years=-1"],
    ["client", "sex=f", "age_years=999"],
    ["client", "sex=f", "age_years=nan"],
    ["client", "sex=f", "age_years=70", "sex=m"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=-60"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=60cm"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=6,050"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=inf"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=1e99"],
    ["client", "sex=f", "age_years=70", "body_mass_kg=60:sworn"],
    ["client", "sex=f", "age_years=70", "weigth=60"],
    ["client", "sex=f", "age_years=70", "name=Zanzibar"],
    [*CLIENT, "--load", "hoist=nan"],
    [*CLIENT, "--load", "hoist=inf"],
    [*CLIENT, "--load", "hoist=-1"],
    [*CLIENT, "--load", "hoist"],
    [*CLIENT, "--load", "hoist=a lot"],
    [*CLIENT, "--allowance", "seat_edge=nan"],
    [*CLIENT, "--allowance", "seat_edge=1e9"],
    [*CLIENT, "--allowance", "toes=3"],
    [*CLIENT, "--knee-equation", "mine"],
    [*CLIENT, "--note", "note.pdf"],
    [*CLIENT, "--note", "no_folder/note.html"],
    [*CLIENT, "--note", "."],
    ["study", "--draws", "0"],
    ["study", "--draws", "1000000000"],
    ["study", "--draws", "1.5"],
    ["study", "--draws", "\u00b2"],
    ["study", "--seed", "-1"],
    ["study", "--seed", "9" * 40],
    ["study", "--people", "../../etc/passwd"],
    ["study", "--chart", "no_file.csv"],
    ["chart", "no_file.csv"],
    ["chart", ""],
    ["chart", "."],
    ["lesson", "--clients", "-1"],
    ["lesson", "--clients", "1000000000"],
    ["lesson", "--chart", "no_file.csv"],
    ["stock", "--people", "care_home_nordic"],
    ["stock", "--people", "care_home_nordic=\u00b2"],
    ["stock", "--people", "care_home_nordic=--5"],
    ["stock", "--people", "care_home_nordic=99999999999999"],
    ["stock", "--people", "nobody=5"],
    ["stock", "--caseload", "no_file.csv"],
    ["stock", "--out", "laundry=1/0"],
    ["stock", "--out", "laundry=nan/7"],
    ["stock", "--out", "laundry=9/7"],
    ["stock", "--order", "order.pdf"],
    ["stock", "--order", "no_folder/order.csv"],
    ["stock", "--report", "page.csv"],
    ["stock", "--seed", "one"],
]


@pytest.mark.parametrize("words", WORDS, ids=lambda words: " ".join(words)[:60])
def test_wrong_words_are_told(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    outcome = outcome_of_command(words)
    assert outcome.code == 2, outcome.said
    assert outcome.said.strip() and not JARGON.search(outcome.said)
    assert list(tmp_path.iterdir()) == []


ANY_TEXT = st.text(max_size=12) | st.sampled_from(list(NAMES)) | st.none()
#: Made once: a workbook holds the time at which it was made.
BOOK = workbook(CASELOAD)
LOOSE = settings(max_examples=60)


def readable(path: Path) -> None:
    """Each reader reads it or refuses it in words; anything else is an error."""
    for read in (
        lambda: read_chart(path).frame,
        lambda: read_table(path, CASELOAD_COLUMNS),
    ):
        outcome = outcome_of(read)
        assert outcome.code in (0, 2)
        assert outcome.code == 0 or not JARGON.search(outcome.said)


@given(content=st.binary(max_size=300))
@LOOSE
def test_any_bytes(tmp_path, content):
    for name in ("mine.csv", "mine.xlsx"):
        (tmp_path / name).write_bytes(content)
        readable(tmp_path / name)


@given(cells=st.lists(st.lists(ANY_TEXT, max_size=4), max_size=4))
@LOOSE
def test_any_cells(tmp_path, cells):
    path = tmp_path / "mine.csv"
    text = as_text([*CHART[:1], *cells]).encode("utf-8", errors="replace")
    path.write_bytes(text)
    readable(path)
    assert outcome_of(lambda: read_margins(path)).code == 2


@given(data=st.data())
@LOOSE
def test_any_change_of_a_workbook(tmp_path, data):
    content = bytearray(BOOK)
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, 10_000)) % len(content)
        content[at] = data.draw(st.integers(0, 255))
    path = tmp_path / "mine.xlsx"
    path.write_bytes(bytes(content))
    readable(path)


@pytest.mark.parametrize("name", [n for n, allowed in NAMES.items() if allowed])
def test_a_name_stands_in_page_and_note_as_words(name):
    frame = pd.DataFrame(CHART[1:], columns=CHART[0]).astype({"size": object})
    frame.loc[0, "size"] = name
    from sizing.charts import chart_from

    chart = chart_from(frame, warn=False)
    client = client_from({"sex": "f", "age_years": "70", "hip_circumference_cm": "85"})
    answer = check_client(chart, client)
    note = client_note(answer)
    page, text = note.html(), note.markdown()
    for tag in ("<script>alert", "<img src=x", "<b>adult"):
        assert tag not in page
        assert tag not in text.replace("\\<", "")
    assert "](" not in text.replace("\\](", "")
    json.dumps(answer.to_dict())
