"""Table against tape on other charts, and with other errors of reading."""

from dataclasses import replace

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.lesson.choosing import reading_errors
from sizing.lesson.ways import compare_ways
from sizing.people import People

#: Each case, and what it is called.
CASES: dict[str, str] = {
    "narrow": "bands 2 cm shorter at each end",
    "wide": "bands 2 cm longer at each end",
    "half": "readings that err half as much",
    "twice": "readings that err twice as much",
}
_MOVED_CM = {"narrow": 2.0, "wide": -2.0}
_TIMES = {"half": 0.5, "twice": 2.0}


def elsewhere(
    people: People, chart: SizeChart, *, replicates: int = 100, seed: int = 1
) -> pd.DataFrame:
    """Compare table and tape on other charts, and with other errors of reading.

    Parameters
    ----------
    people : People
    chart : SizeChart
    replicates, seed : int
        As in ``compare_ways``.

    Returns
    -------
    DataFrame
        case (``CASES``: the bands of body measures 2 cm shorter or longer at both
        ends, or every reading's SD halved or doubled; our choice, to see what the
        finding rests on) before the columns of ``WaysResult.overall``, for the
        ways ``both`` and ``tape_once``.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = elsewhere(load_people("bariatric", draws=1), demo_chart(),
    ...     replicates=20)
    >>> found["case"].nunique()
    4
    """
    found = []
    for case in CASES:
        frame = chart.frame.copy()
        for measure in limits(chart):
            if measure.endswith("_cm") and case in _MOVED_CM:
                for end, sign in (("low", 1), ("high", -1)):
                    if (name := f"{measure}_{end}") in frame:
                        frame[name] += sign * _MOVED_CM[case]
        sd = {m: e * _TIMES.get(case, 1.0) for m, e in reading_errors().items()}
        told = compare_ways(
            people,
            replace(chart, frame=frame),
            ways=("both", "tape_once"),
            by=(),
            reading_sd=sd,
            replicates=replicates,
            seed=seed,
        ).overall
        told.insert(0, "case", case)
        found.append(told)
    return pd.concat(found, ignore_index=True)
