"""The pictures of a room's answers."""

import itertools

import pandas as pd

from sizing.plots.teaching import plot_confusion


def test_rows_that_begin_with_the_same_size_stand_in_one_order_whatever_the_table():
    rows = [
        ("A", "A", 1),
        ("A or B", "A", 1),
        ("A or B or C", "B", 1),
        ("A or C", "A", 1),
    ]
    orders = set()
    for turned in itertools.permutations(rows):
        table = pd.DataFrame(turned, columns=["right", "chosen", "count"])
        ax = plot_confusion(table, sizes=["A", "B", "C"])
        orders.add(tuple(text.get_text() for text in ax.get_yticklabels()))
    assert orders == {("A", "A or B", "A or B or C", "A or C")}
