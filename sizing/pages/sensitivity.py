"""The report's section on what is assumed: a picture and its table."""

import pandas as pd

from sizing.coverage.sensitivity import Sensitivity
from sizing.pages.page import Picture, Section, picture, table
from sizing.plots.shares import plot_sensitivity
from sizing.words.numbers import points, points_interval
from sizing.words.numbers import share as percent

#: Name of the picture's file.
FILE = "assumptions.png"


def sensitivity_picture(found: Sensitivity) -> Picture:
    """Draw how far each assumption moves the share."""
    ax = plot_sensitivity(found.table)
    biggest = found.biggest
    return picture(
        ax.figure,  # type: ignore[arg-type]
        alt="Bars to the left and right of no change, one for each other setting of "
        "each assumption, those that change most on top: how many points more or "
        "fewer would have a size. The longest: "
        f"{biggest['label']}, {points(biggest['estimate'], places=1)} points. The same "
        "figures stand in the table.",
        caption="Lines across the bars' ends are 95 % intervals of the change, the "
        "same people judged before and after.",
    )


def sensitivity_section(found: Sensitivity, drawn: Picture) -> Section:
    """Say how far the answer moves when an assumption is another."""
    order = found.table["estimate"].abs().sort_values(ascending=False, kind="stable")
    rows = found.table.loc[order.index]
    change = [points_interval(row, places=1) for _, row in rows.iterrows()]
    shown = pd.DataFrame(
        {
            "Assumption": rows["assumption"],
            "If instead": rows["setting"],
            "With a size": rows["share"].map(lambda share: percent(share, places=1)),
            "Change, points": change,
            "Where the setting comes from": rows["source"],
        }
    )
    return Section(
        "What it rests on, and how far it moves",
        words=[
            f"{found.headline()} Each assumption is changed alone; changes need not "
            "add up. The intervals say how well these people know the change, not "
            "how likely the other setting is."
        ],
        figures=[drawn],
        tables=[
            table(
                shown,
                caption="Each assumption's other settings, the biggest change first; "
                "exact in assumptions.csv.",
                words=["Assumption", "If instead", "Where the setting comes from"],
            )
        ],
    )
