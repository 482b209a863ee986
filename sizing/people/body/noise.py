"""Random numbers that belong to a person, whoever else is in the frame.

Each number is a hash of (seed, person, stream, place), so a person's draws
stay the same when others join or leave, and any of them can be made alone.
"""

import hashlib
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Floats = npt.NDArray[np.float64]
Keys = npt.NDArray[np.uint64]

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
#: Fractional part of the golden ratio: its multiples fill (0, 1) evenly.
_GOLDEN = 0.6180339887498949


def _mix(z: Keys) -> Keys:
    """Finalise as SplitMix64 does (Steele, Lea, Flood 2014, OOPSLA)."""
    z = (z ^ (z >> np.uint64(30))) * _MIX_1
    z = (z ^ (z >> np.uint64(27))) * _MIX_2
    return z ^ (z >> np.uint64(31))


def keys_of(people: Iterable[object]) -> Keys:
    """Return a 64-bit key for each person's name or number.

    >>> one, two = keys_of([7, "7"])
    >>> bool(one == two)
    True
    """
    digests = (
        hashlib.blake2b(_label(name).encode(), digest_size=8).digest()
        for name in people
    )
    return np.frombuffer(b"".join(digests), dtype="<u8").astype(np.uint64)


def _label(name: object) -> str:
    """Write a whole number the same whether it came as 7, 7.0 or "7"."""
    if isinstance(name, float | np.floating) and float(name).is_integer():
        return str(int(name))
    return str(name)


def uniforms(seed: int, keys: Keys, stream: str, places: int) -> Floats:
    """Return uniform numbers in (0, 1), one row per key."""
    start = keys_of([f"{seed}/{stream}"])[0]
    with np.errstate(over="ignore"):
        rows = _mix(_mix(keys + start) + _STEP)
        column = np.arange(1, places + 1, dtype=np.uint64) * _STEP
        bits = _mix(_mix(rows[:, None] + column[None, :]) ^ start)
    return ((bits >> np.uint64(11)).astype(float) + 0.5) / 2.0**53


def normals(seed: int, keys: Keys, stream: str, places: int) -> Floats:
    """Return standard normal numbers, one row per key."""
    return ndtri(uniforms(seed, keys, stream, places))


def even_normal(seed: int, draw: int, stream: str) -> float:
    """Return a standard normal number for a draw, evenly spread over draws.

    One number shared by everybody in a draw would not average out in five draws: a
    golden-ratio sequence from a random start is even for any number of them.
    """
    start = uniforms(seed, keys_of(["draws"]), stream, 1)[0, 0]
    return float(ndtri((start + draw * _GOLDEN) % 1.0))
