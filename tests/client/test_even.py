"""Evenly spread numbers are those of SciPy's Sobol sequence, to the last bit."""

import subprocess
import sys

import numpy as np
import pytest
from scipy.stats import qmc

from sizing.client.draws import MOST_COLUMNS, even_numbers


@pytest.mark.parametrize("columns", range(1, MOST_COLUMNS + 1))
@pytest.mark.parametrize("rows", [1, 256, 4096])
def test_the_same_as_scipys(rows, columns):
    theirs = qmc.Sobol(columns, rng=np.random.default_rng([3, 1])).random(rows)
    ours = even_numbers(rows, columns, np.random.default_rng([3, 1]))
    assert np.array_equal(ours, theirs)


@pytest.mark.parametrize("seed", [1, 2, 9])
def test_each_of_so_many_equal_parts_holds_one(seed):
    points = even_numbers(1024, MOST_COLUMNS, np.random.default_rng(seed))
    for column in np.floor(points * 1024).astype(int).T:
        assert np.array_equal(np.sort(column), np.arange(1024))


def test_workbooks_are_not_loaded_for_a_client():
    code = (
        "import sys, sizing.cli.client\n"
        "print(*sorted({'openpyxl', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "", done.stderr
