"""What a kernel of the lab loads before its page asks for anything."""

import pkgutil
from importlib import import_module

import sizing.report
from sizing.chart import demo_chart
from sizing.plots.chart import plot_people_and_chart
from sizing.population import load_people
from sizing.report.lab_show import show_picture
from sizing.report.words import labels


def warm() -> None:
    """Load what the pages use, and go once through what is slow the first time.

    The people drawn and the picture are of no use; the tables read, the models
    and the typefaces found on the way are kept.

    Examples
    --------
    >>> warm()
    """
    for module in pkgutil.iter_modules(sizing.report.__path__):
        if module.name != "lab_server":
            import_module(f"sizing.report.{module.name}")
    people, chart = load_people("bariatric", draws=1), demo_chart()
    x, y = chart.measures[:2]
    ax = plot_people_and_chart(people.frame, chart.frame, x=x, y=y, labels=labels())
    show_picture(ax, alt="")
