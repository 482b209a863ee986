"""README keeps its promises: two commands, one line each, first in the page."""

import re
from pathlib import Path

from tests.conftest import FIRST

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


def test_the_first_two_blocks_hold_one_command_each():
    assert [block.strip().count("\n") for block in BLOCKS[:2]] == [0, 0]
    assert BLOCKS[0].strip().endswith("/sizing study")
    assert "pytest" in BLOCKS[1] and "nbval" in BLOCKS[1]


def test_every_file_that_readme_names_exists():
    named = re.findall(r"\]\(((?!https?:)[^)#]+)\)", README)
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_every_file_that_begins_first_exists():
    assert [name for name in FIRST if not (ROOT / name).exists()] == []
