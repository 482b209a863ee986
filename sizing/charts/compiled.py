"""The look-up as compiled code, used for many rows where numba is installed."""

from typing import Any

import numpy as np
import numpy.typing as npt

try:
    from numba import njit, prange

    AVAILABLE = True
except ImportError:  # the optional extra "fast" is not installed
    AVAILABLE = False

#: Compiling takes seconds once; below this many rows numpy is done sooner.
LEAST_ROWS = 2_000_000
#: Rows handed to a thread at a time.
_BLOCK = 1 << 16
#: Columns looked up in one pass; each pass reads and writes the masks once.
_TOGETHER = 4

if AVAILABLE:

    @njit(parallel=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
    def _keep_four(
        out: Any, a: Any, b: Any, c: Any, d: Any, tables: Any, block: int
    ) -> None:
        n = out.shape[0]
        of_a, of_b, of_c, of_d = tables
        for part in prange((n + block - 1) // block):
            for i in range(part * block, min(n, (part + 1) * block)):
                out[i] &= of_a[a[i]] & of_b[b[i]] & of_c[c[i]] & of_d[d[i]]

    @njit(parallel=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
    def _keep_one(out: Any, column: Any, table: Any, block: int) -> None:
        n = out.shape[0]
        for part in prange((n + block - 1) // block):
            for i in range(part * block, min(n, (part + 1) * block)):
                out[i] &= table[column[i]]


def keep_all(
    out: npt.NDArray[np.unsignedinteger[Any]],
    columns: list[npt.NDArray[np.uint16]],
    tables: list[npt.NDArray[np.unsignedinteger[Any]]],
) -> None:
    """Keep in each mask the bits that every column's table has.

    Parameters
    ----------
    out : ndarray of unsigned int, shape (rows,)
        Changed in place.
    columns : list of ndarray of uint16, each (rows,)
    tables : list of ndarray, each (65536,), of the type of ``out``
    """
    fours = len(columns) - len(columns) % _TOGETHER
    for j in range(0, fours, _TOGETHER):
        some = slice(j, j + _TOGETHER)
        _keep_four(out, *columns[some], tuple(tables[some]), _BLOCK)
    for column, table in zip(columns[fours:], tables[fours:], strict=True):
        _keep_one(out, column, table, _BLOCK)
