"""What is installed is whole: it works from an empty folder, without the sources."""

import json
import subprocess
import sys
from importlib.metadata import distribution
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
#: Where the install holds what lies in a folder here, and what must have come with it.
BROUGHT = {
    "sizing.data_sources": ("data_sources", (".csv", ".json", ".md", "LICENSE")),
    "sizing.notebooks": ("notebooks", (".ipynb",)),
    "sizing.app.template": ("sizing/app/template", (".j2", ".css", ".js")),
}
#: Run without the working folder on the path, so that a wheel's copy is found.
ASKED = """
import json, sys
from importlib.resources import files
from pathlib import Path
from sizing.cli.main import main
code = main(["client", "sex=female", "age_years=74", "body_mass_kg=61", "--json"])
print()
brought = {one: [f.name for f in files(one).iterdir()] for one in sys.argv[1:]}
print(json.dumps([code, [str(p) for p in Path().iterdir()], brought]))
"""


def test_a_command_works_from_an_empty_folder_and_every_file_comes_along(tmp_path):
    about = distribution("sizing").read_text("direct_url.json") or "{}"
    if json.loads(about).get("dir_info", {}).get("editable"):
        pytest.skip("installed as the folder it is worked on in: nothing was copied")
    words = [sys.executable, "-P", "-c", ASKED, *BROUGHT]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    code, left_behind, brought = json.loads(done.stdout.splitlines()[-1])
    assert code == 0 and left_behind == []
    for place, (folder, endings) in BROUGHT.items():
        here = {f.name for f in (ROOT / folder).iterdir() if f.name.endswith(endings)}
        assert here and here <= set(brought[place])


def test_code_and_tables_have_their_licences():
    installed = distribution("sizing")
    assert installed.metadata["License-Expression"] == "MIT AND CC0-1.0"
    texts = [
        file.read_text() for file in installed.files or () if file.name == "LICENSE"
    ]
    assert any("MIT License" in text for text in texts)
    assert any("CC0 1.0 Universal" in text for text in texts)
