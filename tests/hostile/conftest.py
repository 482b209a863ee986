"""A test of this folder that hangs is ended instead of holding up the rest."""

import signal

import pytest

#: Far beyond what the slowest machine needs: nothing is timed, only unhung.
_SECONDS = 240


@pytest.fixture(autouse=True)
def no_hang():
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def stop(number, frame):
        raise TimeoutError(f"still at it after {_SECONDS} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(_SECONDS)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)
