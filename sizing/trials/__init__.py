"""Slings tried on: where sizes really begin and end, learned from what happened."""

from sizing.errors import check_kinds
from sizing.trials.learn import learn_chart
from sizing.trials.read import demo_trials, read_trials

__all__ = ["demo_trials", "learn_chart", "read_trials"]

check_kinds(globals(), __all__)
