"""Coverage counted by many processes or machines, through Dask."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from sizing.charts import SizeChart
from sizing.coverage.chunks import (
    CountedCoverage,
    Counts,
    count_chunk,
    coverage_of_counts,
)
from sizing.coverage.groups import by_list
from sizing.errors import Problem, SizingError

if TYPE_CHECKING:
    from distributed import Client

#: How often a chunk is counted again after its worker was lost or failed.
_RETRIES = 3


def coverage_by_dask(
    chunks: Sequence[pd.DataFrame],
    chart: SizeChart,
    *,
    by: str | Sequence[str] | None = None,
    client: "Client | None" = None,
) -> CountedCoverage:
    """Estimate the same as ``coverage_in_chunks``, chunks counted side by side.

    A chunk is made where it is counted and only its counts travel; a chunk whose
    worker is lost is made and counted again by another. The counts are whole
    numbers, so that they equal those of one process, whatever happens on the
    way.

    Parameters
    ----------
    chunks : sequence of DataFrame
        ``chunks[i]`` must give the same people each time: ``resampled``, or a
        sequence of one's own that reads the i-th file. It is sent to each worker
        once.
    chart : SizeChart
        The size chart, in cm and kg.
    by : str or list of str, optional
        As in ``coverage_in_chunks``.
    client : distributed.Client, optional
        Of a running cluster. Without it, one worker process for each core of
        this machine is started and ended.

    Returns
    -------
    CountedCoverage
        The same counts, whichever way they were made.

    Raises
    ------
    SizingError
        As ``coverage_in_chunks``, or if the extra ``scale`` is not installed.

    Notes
    -----
    Worth it from some ten million people on, or where the data lie on several
    machines: below, starting the workers takes longer than counting. Time is
    that of one process divided by the number of cores, plus some milliseconds
    a chunk and some seconds to start.
    """
    try:
        from distributed import Client
    except ImportError as cause:
        raise SizingError(
            str(
                Problem(
                    "Dask is not installed",
                    "the extra 'scale'",
                    "run: python -m pip install 'sizing[scale]', or use "
                    "coverage_in_chunks",
                )
            )
        ) from cause
    if client is not None:
        return _counted(chunks, chart, by_list(by), client)
    with Client(threads_per_worker=1, dashboard_address=None) as own:
        return _counted(chunks, chart, by_list(by), own)


def _counted(
    chunks: Sequence[pd.DataFrame],
    chart: SizeChart,
    groupings: list[str],
    client: "Client",
) -> CountedCoverage:
    from distributed import as_completed

    shared = client.scatter(_Held(chunks), broadcast=True)
    jobs = client.map(
        _count,
        range(len(chunks)),
        held=shared,
        chart=chart,
        groupings=groupings,
        pure=False,
        retries=_RETRIES,
    )
    total: Counts | None = None
    # Added as they come: counts do not depend on the order, and a chunk's may go.
    for job, counts in as_completed(jobs, with_results=True):
        total = counts if total is None else total + counts
        job.release()
    return coverage_of_counts(total, chart)


class _Held:
    """A sequence of chunks that Dask sends whole, as it would not send a list."""

    def __init__(self, chunks: Sequence[pd.DataFrame]) -> None:
        self.chunks = chunks


def _count(place: int, held: Any, chart: SizeChart, groupings: list[str]) -> Counts:
    return count_chunk(held.chunks[place], chart, groupings)
