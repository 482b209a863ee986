"""The linter and the type checker find nothing."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=lambda words: " ".join(words),
)
def test_checker_finds_nothing(command):
    # numpy states its own types, and before 2.4 less closely than the code needs.
    if command == ["mypy"] and np.lib.NumpyVersion(np.__version__) < "2.4.0":
        pytest.skip(f"types are checked with numpy 2.4 or later, not {np.__version__}")
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
