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
#: Rows of one pass: a column's part and the masks stay in the nearest cache.
_BLOCK = 8192

if AVAILABLE:

    @njit(nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
    def _keep(out: Any, column: Any, table: Any, first: int, last: int) -> None:
        for i in range(first, last):
            out[i] &= table[column[i]]

    @njit(parallel=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
    def _keep_all(out: Any, columns: Any, tables: Any, block: int) -> None:
        n = out.shape[0]
        for b in prange((n + block - 1) // block):
            last = min(n, (b + 1) * block)
            for j in range(len(columns)):
                _keep(out, columns[j], tables[j], b * block, last)


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
    if columns:
        _keep_all(out, tuple(columns), tuple(tables), _BLOCK)
