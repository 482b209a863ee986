"""Time what a person waits for: people loaded, measures drawn, one client, one edge.

Run from the project's root:  python tests/benchmarks/bench_answers.py
Prints the best of several rounds beside what each should take, all from this one
run. Nothing fails here: a machine may be busy or old.
"""

import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from sizing.charts import demo_chart
from sizing.client import check_client, client_from
from sizing.client.chart_bands import bands_of, density
from sizing.client.own_chart import nudge, nudge_layout, with_edge
from sizing.pages.own_chart import bands_svg
from sizing.people import load_people, people_from
from sizing.people.body import draw_measures
from sizing.surveys import read_embedded

WOMAN = {
    "sex": "female",
    "age_years": 74,
    "body_mass_kg": 61,
    "stature_cm": 158,
    "hip_circumference_cm": 101,
}


def best(work: Callable[[], object], rounds: int) -> float:
    """Return the least elapsed seconds of several rounds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def caseload(rows: int) -> pd.DataFrame:
    """Return made-up rows in a user's form."""
    rng = np.random.default_rng(1)
    return pd.DataFrame(
        {
            "sex": np.where(rng.random(rows) < 0.5, "female", "male"),
            "hip_circumference_cm": rng.normal(100, 8, rows),
            "buttock_popliteal_length_cm": rng.normal(48, 2, rows),
        }
    )


def moved_edge() -> Callable[[], object]:
    """Return the work between a moved edge and its new sentence and picture."""
    chart, measure = demo_chart(), "hip_circumference_cm"
    people = load_people("adults")
    place, spread = nudge_layout(people, chart), density(people, measure)
    highs = iter(np.arange(100, 200))

    def work() -> None:
        moved = with_edge(chart, "adult 2", measure, "high", float(next(highs)))
        nudge(people, chart, moved, place).summary()
        bands_svg(bands_of(moved, spread, measure, before=chart), label=measure)

    return work


def main() -> None:
    chart, embedded = demo_chart(), read_embedded().frame
    client = client_from(WOMAN)
    rows = caseload(1_000_000)
    jobs = [
        ("one client judged", lambda: check_client(chart, client), 25, 0.05),
        (
            "8,000 people's measures drawn 5 times",
            lambda: draw_measures(embedded, draws=5, seed=1),
            3,
            2.0,
        ),
        (
            "the named population 'everyone', 5 draws",
            lambda: load_people("everyone", draws=5, seed=3),
            3,
            4.0,
        ),
        ("a caseload of 1,000,000 at the gate", lambda: people_from(rows), 2, 5.0),
        ("an edge moved, told and drawn", moved_edge(), 10, 0.3),
    ]
    table = pd.DataFrame(
        [(name, best(work, rounds), aim) for name, work, rounds, aim in jobs],
        columns=["what", "seconds", "should_take"],
    )
    print(table.to_string(index=False, float_format="{:.4f}".format))


if __name__ == "__main__":
    main()
