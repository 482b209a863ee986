"""What is typed after a command, and what hypothesis thinks of: never a traceback."""

import json
import shlex

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import chart_from, read_chart
from sizing.cli.main import main
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

#: A line for each command that is refused; behind the bar what is said of it.
REFUSED = """

nothing
client
client sex
client sex=x age_years=70
client sex=f age_years=old
client sex=f age_years=-1
client sex=f age_years=999
client sex=f age_years=nan
client sex=f age_years=70 sex=m
client sex=f age_years=70 body_mass_kg=-60
client sex=f age_years=70 body_mass_kg=60cm
client sex=f age_years=70 body_mass_kg=6,050
client sex=f age_years=70 body_mass_kg=inf
client sex=f age_years=70 body_mass_kg=1e99
client sex=f age_years=70 body_mass_kg=60:sworn
client sex=f age_years=70 weigth=60
client sex=f age_years=70 name=Zanzibar
client =3 | an entry is written NAME=VALUE
client sex=f stature_cm=160 stature_cm=161 | is entered twice
client sex=f --load hoist=nan
client sex=f --load hoist=inf
client sex=f --load hoist=-1
client sex=f --load hoist
client sex=f --load "hoist=a lot"
client sex=f --load =200 | --load is written NAME=VALUE
client sex=f --load hoist=200 --load hoist=300 | --load hoist is given twice
client sex=f --load spreader_bar=2 --load "spreader bar=3" | bar is given twice
client sex=f --allowance seat_edge=nan
client sex=f --allowance seat_edge=1e9
client sex=f --allowance toes=3
client sex=f age_years=70 --knee-equation mine
client sex=f age_years=70 --note note.pdf
client sex=f age_years=70 --note no_folder/note.html
client sex=f age_years=70 --note .
study --draws 0
study --draws 1000000000
study --draws 1.5
study --draws ²
study --seed -1
study --seed 9999999999999999999999999999999999999999
study --people ../../etc/passwd
study --chart no_file.csv
study --out a --out b | --out: it is given twice
study --out a\0b | ?
chart no_file.csv
chart ""
chart .
chart a\0b.csv | ?
chart a.csv --people adults --people children | --people: it is given twice
lesson --clients -1
lesson --clients 1000000000
lesson --chart no_file.csv
lesson --date yesterday
lesson --seed 1 --seed 1 | --seed: it is given twice
lesson --out a\0b | ?
lab --folder a --folder b | --folder: it is given twice
lab --folder a\0b | ?
stock --people care_home_nordic
stock --people care_home_nordic=²
stock --people care_home_nordic=--5
stock --people care_home_nordic=99999999999999
stock --people nobody=5
stock --people care\0home=3 | ?
stock --caseload no_file.csv
stock --budget 100 --budget 900 | --budget: it is given twice
stock --target 0.9 --targ=0.8 | --target: it is given twice
stock --out laundry=1/0
stock --out laundry=nan/7
stock --out laundry=9/7
stock --out laundry=1/7 --out laundry=1/3 | --out laundry is given twice
stock --order order.pdf
stock --order no_folder/order.csv
stock --report page.csv
stock --seed one
bands --sizes 2 --widths hip_circumference_cm=1001 | from 0.1 to 1,000
bands --sizes 2 --widths hip_circumference_cm=9 --step 1001 | the step
bands --sizes 2 --widths hip_circumference_cm=9 --load-limit -3 | load
bands --sizes 2 --widths hip_circumference_cm=9 --tolerance nan | toler
bands --sizes 2 --widths hip_circumference_cm=9 --splits -1 | splits
bands --widths hip_circumference_cm=2 hip_circumference_cm=3 | twice after --widths
"""


@pytest.mark.parametrize("line", REFUSED.splitlines()[1:])
def test_wrong_words_are_told(line, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words, _, told = line.partition(" | ")
    outcome = outcome_of_command(shlex.split(words))
    assert outcome.code == 2, outcome.said
    assert outcome.said.strip() and not JARGON.search(outcome.said)
    assert told in outcome.said and ("twice" not in told or "keep one" in outcome.said)
    assert list(tmp_path.iterdir()) == []


def test_measures_may_follow_one_option_or_have_one_each(capsys):
    """One answer, whichever way the widths are written; no call remembers another's."""
    bands = "bands --people bariatric --sizes 2 --splits 2 --widths "
    widths = "hip_circumference_cm=25 {}shoulder_height_sitting_cm=12"
    told = []
    for again in ("", "--widths "):
        assert main((bands + widths.format(again)).split()) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert "Hip girth, cm" in told[0] and "Seat-to-shoulder height, cm" in told[0]


ANY_TEXT = st.text(max_size=12) | st.sampled_from(list(NAMES)) | st.none()
#: Made once: a workbook holds the time at which it was made.
BOOK = workbook(CASELOAD)


def changed(changes: list[tuple[int, int]]) -> bytes:
    content = bytearray(BOOK)
    for place, value in changes:
        content[place % len(content)] = value
    return bytes(content)


def with_cells(cells: list[list[str | None]]) -> bytes:
    return as_text([*CHART[:1], *cells]).encode("utf-8", errors="replace")


CELLS = st.lists(st.lists(ANY_TEXT, max_size=4), max_size=4)
CHANGE = st.tuples(st.integers(0, 10_000), st.integers(0, 255))
CHANGES = st.lists(CHANGE, min_size=1, max_size=5)


@given(st.binary(max_size=300) | CELLS.map(with_cells) | CHANGES.map(changed))
@settings(max_examples=180)
def test_any_file_is_read_or_refused_in_words(tmp_path, content):
    for name in ("mine.csv", "mine.xlsx"):
        path = tmp_path / name
        path.write_bytes(content)
        for read in (
            lambda path=path: read_chart(path).frame,
            lambda path=path: read_table(path, CASELOAD_COLUMNS),
        ):
            outcome = outcome_of(read)
            assert outcome.code == 0 or not JARGON.search(outcome.said)
        assert outcome_of(lambda path=path: read_margins(path)).code == 2


@pytest.mark.parametrize("name", [n for n, allowed in NAMES.items() if allowed])
def test_a_name_stands_in_page_and_note_as_words(name):
    frame = pd.DataFrame(CHART[1:], columns=CHART[0]).astype({"size": object})
    frame.loc[0, "size"] = name
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
