"""What the tests share: the survey files, where this machine has them."""

import os
from pathlib import Path

import matplotlib
import numpy as np
import pytest

matplotlib.use("Agg")


@pytest.fixture(scope="session")
def survey_folder() -> Path:
    """The folder named by SIZING_SURVEYS; skips where there is none."""
    named = os.environ.get("SIZING_SURVEYS")
    if not named:
        pytest.skip("SIZING_SURVEYS is not set: the survey files are not here")
    folder = Path(named).resolve()
    if not folder.is_dir():
        pytest.fail(f"SIZING_SURVEYS names {folder}, which is not a folder")
    return folder


@pytest.fixture(scope="session")
def reference_folder(survey_folder: Path) -> Path:
    """The folder of published references beside the surveys."""
    folder = survey_folder.parent / "references"
    if not folder.is_dir():
        pytest.skip("no references folder beside the survey files")
    return folder


@pytest.fixture
def rng() -> np.random.Generator:
    """A seeded generator of its own for each test."""
    return np.random.default_rng(20261125)
