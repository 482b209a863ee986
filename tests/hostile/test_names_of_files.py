"""Where a file is said to lie, by whoever sends it, decides nothing."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.fields import UploadBox
from sizing.errors import InputProblems, SizingError
from sizing.stock.need import serves_from
from tests.conftest import taken

from .files import as_text
from .tables import CASELOAD, outcome_of_command
from .test_damaged_files import JARGON

LONG = "x" * 300 + ".csv"


def box_with(name: str, content: bytes = b"a,b\n1,2\n") -> UploadBox:
    upload = UploadBox("My file")
    upload.box.value = taken(name, content)
    return upload


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "/", "a/..", "a\\..", "a\x00b.csv", "a\nb.csv", "\ud800.csv", LONG],
)
def test_a_name_that_is_none_is_refused_in_words(name):
    upload = box_with(name)
    with pytest.raises(SizingError, match="rename the file") as refused:
        upload.read(lambda path: path.read_bytes())
    assert not JARGON.search(str(refused.value)) and len(str(refused.value)) < 300
    assert upload.key


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../ward.csv", "ward.csv"),
        ("C:\\Users\\me\\ward.csv", "ward.csv"),
        ("größe 大人.csv", "größe 大人.csv"),
        ("<b>ward</b>.csv", "b>.csv"),
    ],
)
def test_only_the_last_part_of_a_name_counts(name, kept):
    upload = box_with(name)
    assert upload.names == (kept,) and upload.key != box_with(name, b"other").key
    content = b"a,b\n1,2\n"
    assert upload.read(lambda path: (path.name, path.read_bytes())) == (kept, content)
    assert "<b>" not in upload.view.children[0].children[-1].value


@given(st.text(max_size=40) | st.text(alphabet="./\\: \x00~", max_size=8))
@settings(max_examples=100)
def test_no_name_leaves_the_folder(name):
    upload = box_with(name)
    try:
        path = upload.read(lambda path: path)
    except SizingError:
        return
    assert path.name == upload.names[0] and not path.parent.exists()
    assert path.parent.resolve() == path.resolve().parent


@pytest.fixture
def folders(tmp_path):
    """A folder of tables with a caseload in it, beneath it and outside it."""
    inside = tmp_path / "mine" / "ward"
    inside.mkdir(parents=True)
    for place in (tmp_path, inside.parent, inside):
        (place / "clients.csv").write_text(as_text(CASELOAD), encoding="utf-8")
    (inside / "link.csv").symlink_to(tmp_path / "clients.csv")
    return tmp_path / "mine"


def groups(name: str) -> pd.DataFrame:
    return pd.DataFrame({"people": [name], "count": [None]})


def test_a_table_of_groups_reads_caseloads_beside_it_and_no_other_file(folders):
    for name in ("clients.csv", "ward/clients.csv", "./clients.csv"):
        assert serves_from(groups(name), folder=folders)[0].people.n == 2
    outside = str(folders.parent / "clients.csv")
    others = ("../clients.csv", "ward/../../clients.csv", "ward/link.csv", "a\0.csv")
    for name in (outside, *others):
        with pytest.raises(InputProblems, match="not in the folder") as refused:
            serves_from(groups(name), folder=folders)
        assert refused.value.problems[0].row == 2
    # An absolute path is for one's own words only.
    assert serves_from(groups(outside))[0].people.n == 2
    table = folders / "groups.csv"
    table.write_text(f"people,count\n{outside},\n", encoding="utf-8")
    outcome = outcome_of_command(["stock", "--groups", str(table)])
    assert outcome.code == 2 and "beside the table" in outcome.said
    assert not JARGON.search(outcome.said)
