"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.bands.fairest import FairestFit, fit_fairest
from sizing.bands.fit import BandFit, fit_bands
from sizing.bands.frontier import edge_stability, frontier, width_needed
from sizing.bands.groups import JUDGEMENTS, common_group, group_of, judge_groups
from sizing.bands.nine_sizes import (
    GroupsFit,
    coverage_by_sizes,
    default_widths,
    fit_groups,
    fit_nine_sizes,
)
from sizing.bands.partition import Partition, partition_bands
from sizing.bands.request import FitSettings
from sizing.kinds import check_kinds

__all__ = [
    "JUDGEMENTS",
    "BandFit",
    "FairestFit",
    "FitSettings",
    "GroupsFit",
    "Partition",
    "common_group",
    "coverage_by_sizes",
    "default_widths",
    "edge_stability",
    "fit_bands",
    "fit_fairest",
    "fit_groups",
    "fit_nine_sizes",
    "frontier",
    "group_of",
    "judge_groups",
    "partition_bands",
    "width_needed",
]

check_kinds(globals(), __all__)
