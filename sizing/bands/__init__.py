"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.bands.fairest import fit_fairest
from sizing.bands.fit import BandFit, common_group, fit_bands, group_of
from sizing.bands.groups import (
    GroupsFit,
    coverage_by_sizes,
    default_widths,
    fit_groups,
    fit_nine_sizes,
)
from sizing.bands.request import FitSettings
from sizing.bands.variations import (
    edge_stability,
    frontier,
    partition_bands,
    width_needed,
)
from sizing.errors import check_kinds

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
