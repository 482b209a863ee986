"""What the tests of the lesson share: charts, rooms, and a choice judged by hand."""

import pandas as pd

from sizing.charts import chart_from, demo_chart
from sizing.lesson import read_answers
from sizing.resources import source_table

HIP = "hip_circumference_cm"


def chart_of(**bands):
    """Return a chart of sizes one, two, ...: measure to their lows and highs."""
    frame = pd.DataFrame({"size": ["one", "two"][: len(next(iter(bands.values())))]})
    for measure, ends in bands.items():
        frame[[f"{measure}_low", f"{measure}_high"]] = [
            list(map(float, e)) for e in ends
        ]
    return chart_from(frame, warn=False)


def answers_of(rows, chart=None):
    return read_answers(pd.DataFrame(rows), chart or demo_chart())


def demo_answers():
    return read_answers(source_table("demo_room_answers.csv"), demo_chart())


def brute_outcome(chosen: int, fits: list[bool]) -> str:
    """Say what came of a choice, the long way round."""
    right = [i for i, f in enumerate(fits) if f]
    if not right:
        return "rightly_none" if chosen < 0 else "chosen_though_none_fits"
    if chosen < 0:
        return "none_found_though_one_fits"
    if chosen in right:
        return "fitting"
    gaps = sorted((abs(chosen - i), i > chosen) for i in right)
    if gaps[0][0] > 1:
        return "two_or_more_off"
    return "one_too_small" if gaps[0][1] else "one_too_large"
