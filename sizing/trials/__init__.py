"""Slings tried on: where sizes really begin and end, learned from what happened."""

from sizing.kinds import check_kinds
from sizing.trials.learn import LearnedChart, learn_chart
from sizing.trials.read import Trials, demo_trials, read_trials

__all__ = ["LearnedChart", "Trials", "demo_trials", "learn_chart", "read_trials"]

check_kinds(globals(), __all__)
