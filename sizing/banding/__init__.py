"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.banding.fairest import FairestFit, fit_fairest
from sizing.banding.fit import fit_bands
from sizing.banding.frontier import frontier, width_needed
from sizing.banding.groups import (
    JUDGEMENTS,
    GroupsFit,
    fit_groups,
    group_of,
    judge_groups,
)
from sizing.banding.partition import Partition, partition_bands
from sizing.banding.result import BandFit
from sizing.banding.stability import edge_stability

__all__ = [
    "JUDGEMENTS",
    "BandFit",
    "FairestFit",
    "GroupsFit",
    "Partition",
    "edge_stability",
    "fit_bands",
    "fit_fairest",
    "fit_groups",
    "frontier",
    "group_of",
    "judge_groups",
    "partition_bands",
    "width_needed",
]
