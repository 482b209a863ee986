"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.bands.fairest import fit_fairest
from sizing.bands.fit import BandFit, fit_bands
from sizing.bands.frontier import edge_stability, frontier, width_needed
from sizing.bands.groups import common_group, group_of
from sizing.bands.nine_sizes import (
    GroupsFit,
    coverage_by_sizes,
    default_widths,
    fit_groups,
    fit_nine_sizes,
)
from sizing.bands.partition import partition_bands
from sizing.bands.request import FitSettings
from sizing.kinds import check_kinds

__all__ = [
    "BandFit",
    "FitSettings",
    "GroupsFit",
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
    "partition_bands",
    "width_needed",
]

check_kinds(globals(), __all__)
