"""What is installed is whole: it works from an empty folder, without the sources."""

import json
import subprocess
import sys
from importlib.metadata import distribution
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
#: Run without the working folder on the path, so that a wheel's copy is found.
ASKED = """
import json, sys, tempfile
from importlib.resources import files
from pathlib import Path
import sizing
from sizing.cli.main import main
from sizing.app.serve import notebook_files
code = main(["client", "sex=female", "age_years=74", "body_mass_kg=61", "--json"])
print()
print(json.dumps({
    "code": code,
    "package": str(Path(sizing.__file__).parent),
    "sources": sorted(
        f.name for f in files("sizing.data_sources").iterdir() if f.is_file()
    ),
    "notebooks": sorted(notebook_files()),
    "template": sorted(f.name for f in (files("sizing.app") / "template").iterdir()),
    "left behind": sorted(str(p) for p in Path().iterdir()),
}))
"""


def worked_on() -> bool:
    """Return whether the kit is installed as the folder it is worked on in."""
    about = distribution("sizing").read_text("direct_url.json") or "{}"
    return bool(json.loads(about).get("dir_info", {}).get("editable"))


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    if worked_on():
        pytest.skip("installed as the folder it is worked on in: nothing was copied")
    done = subprocess.run(
        [sys.executable, "-P", "-c", ASKED],
        cwd=tmp_path_factory.mktemp("empty"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_a_command_works_from_an_empty_folder_and_leaves_it_empty(told):
    assert told["code"] == 0
    assert told["left behind"] == []


@pytest.mark.parametrize(
    ("kind", "folder", "endings"),
    [
        ("sources", "data_sources", (".csv", ".json", ".md", "LICENSE")),
        ("notebooks", "notebooks", (".ipynb",)),
        ("template", "sizing/app/template", (".j2", ".css", ".js")),
    ],
)
def test_every_file_comes_with_the_install(told, kind, folder, endings):
    here = {f.name for f in (ROOT / folder).iterdir() if f.name.endswith(endings)}
    assert here <= set(told[kind])


def test_code_and_tables_have_their_licences():
    installed = distribution("sizing")
    assert installed.metadata["License-Expression"] == "MIT AND CC0-1.0"
    texts = [
        file.read_text() for file in installed.files or () if file.name == "LICENSE"
    ]
    assert any("MIT License" in text for text in texts)
    assert any("CC0 1.0 Universal" in text for text in texts)
