"""People whom the tests of stock share."""

import pytest

from sizing.people import People

from .cases import four_hundred


@pytest.fixture(scope="session")
def people() -> People:
    return four_hundred()
