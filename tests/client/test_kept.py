"""Clients kept: what was entered comes back, and nothing of anybody's is lost."""

import io
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.client.visits import (
    Decision,
    Visit,
    client_path,
    day_of,
    delete_client,
    keep_visit,
    kept_clients,
    read_visits,
)
from sizing.errors import SizingError

from .cases import HIP, MASS, run

FIRST = Visit(
    date(2026, 3, 2),
    {"sex": "female", "age_years": "74", MASS: 61.0, HIP: 101.0},
    {MASS: "hoist scale", HIP: "tape twice"},
    ("swelling",),
    {"hoist": 160.0},
    {"leg_stop": -5.0},
    chart="ours",
    pattern="bathing",
    decision=Decision(size="adult 1", reason='=1+1, "hips"', reference="A-17"),
)
LATER = replace(FIRST, on=date(2026, 9, 2), entries={**FIRST.entries, MASS: 64.5})

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=20)


@given(
    kilograms=st.integers(300, 2000),
    words=TEXT,
    review=st.none() | st.dates(date(2020, 1, 1)),
    own=TEXT,
)
@settings(max_examples=20)
def test_what_is_kept_comes_back(tmp_path_factory, kilograms, words, review, own):
    folder = tmp_path_factory.mktemp("clients")
    entries = {**FIRST.entries, MASS: kilograms / 10}
    decision = replace(FIRST.decision, reason=words, review_on=review)
    visit = replace(FIRST, entries=entries, decision=decision, own={"my own": own})
    keep_visit(folder, "A-17", visit)
    path = keep_visit(folder, "a-17", replace(LATER, own={"my own": ""}))
    assert read_visits(folder, "A-17")[0] == visit
    # Another reader finds a row a visit.
    assert pd.read_csv(path)["visit_on"].tolist() == ["2026-03-02", "2026-09-02"]
    assert len(list(folder.glob("*.csv"))) == 1


def test_two_that_write_at_once_lose_nothing(tmp_path):
    script = (
        "import sys; from datetime import date, timedelta\n"
        "from sizing.client.visits import Visit, keep_visit\n"
        "for day in range(4):\n"
        "    on = date(2026, int(sys.argv[2]), 1) + timedelta(days=day)\n"
        "    keep_visit(sys.argv[1], 'A-17', Visit(on, {'sex': 'male'}))\n"
    )
    runs = [
        subprocess.Popen([sys.executable, "-c", script, str(tmp_path), month])
        for month in ("1", "2")
    ]
    assert [run.wait(120) for run in runs] == [0, 0]
    assert len(read_visits(tmp_path, "A-17")) == 8


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("name,age\nx,4\n", "holds no visits"),
        ("visit_on,sex\n2026-03-02,female\n2026-03-02,male\n", "two visits of one day"),
        (
            "visit_on,sex\n03/04/2026,female\n",
            "row 2, column 'visit_on': the day could",
        ),
        (f"visit_on,{MASS}\n2026-03-02,heavy\n", f"row 2, column '{MASS}'"),
        ("visit_on,sex\n", "no visit is kept in it"),
        ("visit_on,visit_on\n2026-03-02,2026-03-02\n", "a heading twice"),
        ("\0\1", "not"),
    ],
)
def test_a_broken_or_foreign_file_is_named_and_left_as_it_is(tmp_path, content, words):
    path = tmp_path / "client A-17.csv"
    path.write_text(content)
    (tmp_path / "shopping.csv").write_text("milk")
    table = kept_clients(tmp_path)
    assert table["reference"].tolist() == ["A-17"] and words in table["problem"][0]
    # Before, what was found was said twice.
    assert table["problem"][0].count("(found: ") <= 1
    for act in (
        lambda: read_visits(tmp_path, "A-17"),
        lambda: keep_visit(tmp_path, "A-17", FIRST),
    ):
        with pytest.raises(SizingError, match=r"client A-17\.csv"):
            act()
    assert path.read_text() == content
    delete_client(tmp_path, "A-17")
    assert [one.name for one in tmp_path.glob("*.csv")] == ["shopping.csv"]


@pytest.mark.parametrize(
    ("was", "now"),
    [(",101,", ",1010,"), (",160,", ",5,"), (",-5,", ",-95,"), ("chumlea", "x")],
)
def test_a_value_that_no_client_can_have_names_its_file_and_day(tmp_path, was, now):
    path = keep_visit(tmp_path, "A-17", FIRST)
    path.write_text(path.read_text().replace(was, now))
    with pytest.raises(SizingError, match=r"client A-17\.csv.*visit of 2026-03-02"):
        read_visits(tmp_path, "A-17")


def test_of_files_that_differ_by_capitals_the_one_named_is_meant(tmp_path):
    # Before, the first in order was read, written and deleted for either.
    keep_visit(tmp_path, "ab", FIRST)
    other = tmp_path / "client AB.csv"
    other.write_bytes((tmp_path / "client ab.csv").read_bytes())
    if len(list(tmp_path.glob("*.csv"))) < 2:
        pytest.skip("this file system does not tell capitals apart")
    keep_visit(tmp_path, "ab", LATER)
    assert len(read_visits(tmp_path, "ab")) == 2
    assert len(read_visits(tmp_path, "AB")) == 1
    delete_client(tmp_path, "ab")
    assert [one.name for one in tmp_path.glob("*.csv")] == ["client AB.csv"]


def test_what_a_stopped_writer_left_is_deleted_with_the_client(tmp_path):
    keep_visit(tmp_path, "A-17", FIRST)
    left = tmp_path / ".sizing-0123456789abcdef.part"
    left.write_text("visits")
    delete_client(tmp_path, "A-17")
    assert not left.exists()


def test_a_place_that_cannot_be_used_is_told_in_plain_words(tmp_path):
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file", tmp_path / "file" / "clients"):
        with pytest.raises(SizingError, match="folder cannot be written"):
            keep_visit(folder, "A-17", FIRST)
    (tmp_path / "client A-17.csv").mkdir()
    with pytest.raises(SizingError, match="cannot be deleted"):
        delete_client(tmp_path, "A-17")


@pytest.mark.parametrize("name", ["", "../A", "a/b", " . ", "A*", "x" * 61, "-\n"])
def test_a_reference_is_no_path(tmp_path, name):
    with pytest.raises(SizingError, match="reference"):
        client_path(tmp_path, name)


def test_the_list_says_what_is_due(tmp_path):
    assert kept_clients(tmp_path).empty
    review_on = {"late": date(2026, 11, 1), "soon": date(2026, 12, 1)}
    for name in ("late", "soon", "child", "open"):
        decision = replace(FIRST.decision, review_on=review_on.get(name))
        entries = FIRST.entries | {"age_years": "9.5" if name == "child" else "74"}
        keep_visit(tmp_path, name, replace(FIRST, entries=entries, decision=decision))
    table = kept_clients(tmp_path, today=date(2026, 11, 27)).set_index("reference")
    assert table["due"].to_dict() == {
        "late": "overdue since 2026-11-01",
        "soon": "due 2026-12-01",
        "child": "not yet due",
        "open": "no review day",
    }
    assert table.index.tolist() == ["late", "soon", "child", "open"]
    assert table["due_on"]["child"] == "2027-03-02"
    assert table.index[table["last"]].tolist() == ["open"]
    delete_client(tmp_path, "LATE")
    with pytest.raises(SizingError, match="no client is kept as 'late'"):
        delete_client(tmp_path, "late")


def test_days_as_people_write_them():
    assert day_of("27.11.2026") == day_of("11/27/2026") == date(2026, 11, 27)
    for wrong in ("3/4/2026", "2026-13-01", "soon", "31/2/2026"):
        with pytest.raises(SizingError, match="2026-03-14"):
            day_of(wrong)


def test_the_command_keeps_opens_lists_and_deletes(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    child = ["sex=f", "age=9", "weight=55lb:scale", "hips=68"]
    chosen = ["--size", "paediatric 2", "--why", "hips", "--review", "30.6.2026"]
    run(*child, "--load", "hoist=150", *chosen, "--keep", "K-3", "--day", "2026-01-05")
    assert "health records" in capsys.readouterr().out
    (visit,) = read_visits("my-results/clients", "K-3")
    assert round(visit.entries[MASS], 2) == 24.95 and visit.how[MASS] == "scale"
    assert visit.decision.review_on == date(2026, 6, 30)
    # Sex and load limits come with her; readings and age are of the day.
    later = ["--open", "k-3", "age=9", "weight=30", "--keep", "K-3"]
    run(*later, "--day", "2026-11-05", "--size", "paediatric 2")
    newer = read_visits("my-results/clients", "K-3")[1]
    assert newer.loads == {"hoist": 150.0} and newer.entries["sex"] == "female"
    assert HIP not in newer.entries and newer.decision.review_on is None
    capsys.readouterr()
    run("--kept")
    assert (
        "K-3: not yet due; last seen 2026-11-05 (2 visits)" in capsys.readouterr().out
    )
    run("--kept", "--open", "K-3")
    assert "change a year 6.1 kg" in capsys.readouterr().out
    run("--open", "K-3", "--note", "note.md")
    assert "reference K-3; female; 9 years" in Path("note.md").read_text()
    with pytest.raises(SizingError, match="kept already"):
        run(*later, "--day", "2026-11-05")
    # Before, one word was enough, and nothing asked.
    with pytest.raises(SizingError, match="nothing was deleted"):
        run("--delete", "K-3")
    assert len(read_visits("my-results/clients", "K-3")) == 2
    run("--delete", "K-3", "--sure")
    with pytest.raises(SizingError, match="no client is kept"):
        run("--open", "K-3")


def test_what_is_not_said_is_asked_for_until_it_is_understood(monkeypatch, capsys):
    for piped, words in (("", "nobody can be asked"), ("x\n74\n", "this sex")):
        monkeypatch.setattr(sys, "stdin", io.StringIO(piped))
        with pytest.raises(SizingError, match=words):
            run()
    capsys.readouterr()
    said = iter(["x", "f", "74", "68:hoist scal", "68:hoist scale", "5 ft 3"])
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(isatty=lambda: True))

    def asked(question):
        print(question)
        try:
            return next(said)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", asked)
    assert run() == 0
    told = capsys.readouterr().out
    assert told.count("Sex (f or m)") == told.count("Weight (kg") == 2
    assert "Weight: read 68 kg" in told and "hoist scale" in told
