"""Nothing a command was given is written over, and no place is found unusable late."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from sizing.charts import demo_chart, write_chart
from sizing.cli.main import main
from sizing.cli.places import USES
from sizing.errors import SizingError
from sizing.files.places import Places

from .files import as_text
from .tables import CASELOAD

ROOT = os.geteuid() == 0 if hasattr(os, "geteuid") else False


@pytest.fixture
def mine(tmp_path, monkeypatch):
    """A folder with a chart in several guises, a caseload and its table."""
    monkeypatch.chdir(tmp_path)
    Path("out").mkdir()
    write_chart(demo_chart(), "out/sizes.csv")
    write_chart(demo_chart(), "chart.csv")
    Path("soft.csv").symlink_to("chart.csv")
    os.link("chart.csv", "hard.csv")
    Path("clients.csv").write_text(as_text(CASELOAD))
    Path("ward").symlink_to(".")
    Path("g.csv").write_text("people,count\nclients.csv,\n")
    Path("page.html").write_text(Path("chart.csv").read_text())
    for folder in ("linked", "out/pictures"):
        Path(folder).mkdir()
    os.link("hard.csv", "linked/sizes.csv")
    for name in ("ways.csv", "widths.csv", "SIZES.csv", "pictures/mine.csv"):
        if not Path("out", name).exists():
            Path("out", name).write_text(Path("chart.csv").read_text())
    return tmp_path


CLASHES = """
study --chart out/sizes.csv --out out
study --chart out/SIZES.csv --out out
study --chart hard.csv --out linked
study --chart out/widths.csv --out out
lesson --answers out/ways.csv --out out
lesson --chart out/pictures/mine.csv --out out
stock --groups g.csv --order clients.csv
stock --groups g.csv --order ward/clients.csv
stock --groups g.csv --order CLIENTS.CSV
stock --groups g.csv --order g.csv
stock --caseload clients.csv --order clients.csv
stock --chart chart.csv --order soft.csv
stock --chart soft.csv --order hard.csv
stock --chart out/sizes.csv --order chart.csv --prices ward/chart.csv
stock --order new.csv --order New.csv
stock --order new.csv --order ward/new.csv
chart page.html --out page.html
chart chart.csv --against page.html --out ward/page.html
client sex=female --chart page.html --note PAGE.html
"""


@pytest.mark.parametrize("words", CLASHES.strip().splitlines())
def test_what_is_read_is_not_written_nor_anything_twice(words, mine, capsys):
    before = {p: p.read_bytes() for p in mine.rglob("*") if p.is_file()}
    assert main(words.split()) == 2
    said = capsys.readouterr().err
    assert "would be lost" in said or "written twice" in said
    assert {p: p.read_bytes() for p in mine.rglob("*") if p.is_file()} == before


def test_files_of_other_names_may_be_read_and_written_and_trying_leaves_nothing(mine):
    Path("notes.md").write_text("mine")
    before = {*mine.rglob("*")}
    places = Places()
    places.reads("chart.csv", "soft.csv", "ward/hard.csv", "NOTES.CSV", "out/sizes.csv")
    places.writes("notes.md", endings=[".md"], option="--note")
    places.fills("out", names=["lesson.csv"], option="--out")
    places.fills("new/out", names=["a.csv"], option="--out")
    assert {*mine.rglob("*")} == before
    with pytest.raises(SizingError, match="cannot be one of this name"):
        places.writes("a\0.md", endings=[".md"], option="--note")


OPTIONS = [
    (command, option, ending)
    for command, uses in USES.items()
    for option, ending in [
        *((option, endings[0]) for option, endings in uses["writes"].items()),
        *((option, "") for option in uses["fills"]),
    ]
]
#: What comes before the option; nothing that would take long is asked for.
FIRST = {"client": ["sex=female"], "chart": ["no_such_file.csv"]}


@pytest.mark.parametrize(("command", "option", "ending"), OPTIONS)
@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("x" * 300, "too long"),
        ("y/" * 2200 + "z", "o long|no such folder"),
        ("taken.txt/a/b", "a file, not a folder|no such folder"),
        ("taken", "this is a folder|not a folder"),
        ("locked/new", "can be written|no right"),
    ],
)
def test_a_place_that_cannot_be_written_is_told_first(
    command, option, ending, name, what, tmp_path, monkeypatch, capsys
):
    """Told from the bare words, before the command is so much as loaded."""
    if name.startswith("locked") and ROOT:
        pytest.skip("nothing is locked for root")
    monkeypatch.chdir(tmp_path)
    Path("taken.txt").write_text("a file")
    Path("locked").mkdir(mode=0o555)
    Path(f"taken{ending}").mkdir() if ending else Path("taken").write_text("a file")
    monkeypatch.setattr("sizing.cli.main.import_module", None)
    assert main([command, *FIRST.get(command, []), option, name + ending]) == 2
    said = capsys.readouterr().err
    assert re.search(what, said) and option in said and "What to do" in said
    assert len(said) < 600
    assert {p.name for p in tmp_path.iterdir()} >= {"locked", "taken.txt"}
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_a_place_that_cannot_be_written_is_told_before_anything_is_loaded(tmp_path):
    (tmp_path / "taken").write_text("a file")
    script = (
        "import sys; from sizing.cli.main import main; "
        "code = main(['study', '--out', 'taken/new']); "
        "sys.exit(code if not {'numpy', 'pandas'} & {*sys.modules} else 9)"
    )
    words = [sys.executable, "-c", script]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode == 2 and b"not a folder" in done.stderr


@pytest.mark.parametrize("out", [".", "..", "deep/..", "full", "protected"])
def test_a_folder_that_holds_more_than_results_is_not_replaced(
    out, tmp_path, monkeypatch, capsys
):
    here = tmp_path / "here"
    for folder in ("deep", "full", "protected/report.html"):
        (here / folder).mkdir(parents=True)
    for number in range(1001):
        (here / "full" / f"{number}.txt").touch()
    monkeypatch.chdir(here)
    assert main(["study", "--out", out]) == 2
    told = "report.html in it is no file" if out == "protected" else "of its own"
    assert told in capsys.readouterr().err
