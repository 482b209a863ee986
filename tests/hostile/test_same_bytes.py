"""The same seed gives the same bytes, whatever else the machine is set to."""

import io
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.charts import demo_chart, write_chart
from sizing.files.writing import rounded, workbook_bytes

#: Threads, the seed of hashes, the zone of time and the language.
MACHINES = {
    "one": ("1", "0", "UTC", "C.UTF-8"),
    "four": ("4", "12345", "America/St_Johns", "de_DE.UTF-8"),
}
COMMANDS = [
    "stock --people bariatric=5 --scenarios 20 --order o.csv --order o.xlsx "
    "--report stock.html --json",
    "client sex=female age_years=74 body_mass_kg=68 hip_circumference_cm=104 "
    "--note note.html --json",
    "study --chart chart.csv --people bariatric --draws 1 --out study",
    "lesson --people bariatric --draws 1 --clients 1 --out lesson",
]
RUN = "import sys; from sizing.cli.main import main; " + "".join(
    f"main({command.split()!r}); " for command in COMMANDS
)


def made_on(machine: str, folder: Path) -> dict[str, bytes]:
    threads, seed, zone, language = MACHINES[machine]
    folder.mkdir()
    write_chart(demo_chart(), folder / "chart.csv")
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    around = {
        **os.environ,
        **dict.fromkeys(names, threads),
        "PYTHONHASHSEED": seed,
        "TZ": zone,
        "LC_ALL": language,
        "LANG": language,
        "PYTHONIOENCODING": "utf-8",
    }
    done = subprocess.run(
        [sys.executable, "-c", RUN],
        cwd=folder,
        env=around,
        capture_output=True,
        timeout=200,
        check=True,
    )
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
    return files | {"printed": done.stdout}


def test_every_output_is_the_same_on_any_machine(tmp_path):
    first, *others = (made_on(name, tmp_path / name) for name in MACHINES)
    kinds = {name.rpartition(".")[2] for name in first}
    assert kinds == {"printed", "csv", "xlsx", "html", "json", "png", "svg"}
    for other in others:
        assert other.keys() == first.keys()
        assert [name for name in first if first[name] != other[name]] == []


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
