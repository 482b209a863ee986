"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.banding.fit import fit_bands
from sizing.banding.groups import (
    JUDGEMENTS,
    GroupsFit,
    fit_groups,
    group_of,
    judge_groups,
    split_sizes,
)
from sizing.banding.result import BandFit

__all__ = [
    "JUDGEMENTS",
    "BandFit",
    "GroupsFit",
    "fit_bands",
    "fit_groups",
    "group_of",
    "judge_groups",
    "split_sizes",
]
