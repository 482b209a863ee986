"""The picture of who chose which size."""

from itertools import permutations

import pandas as pd

from sizing.plots.teaching import plot_confusion


def test_rows_that_begin_with_the_same_size_stand_in_one_order_whatever_the_table():
    right, orders = ["A", "A or B", "A or B or C", "A or C"], set()
    for turned in permutations(zip(right, "AABA", [1] * 4, strict=True)):
        table = pd.DataFrame(turned, columns=["right", "chosen", "count"])
        ax = plot_confusion(table, sizes=["A", "B", "C"])
        orders.add(tuple(text.get_text() for text in ax.get_yticklabels()))
    assert orders == {tuple(right)}
