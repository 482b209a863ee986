"""Estimates from survey samples: each formula once, arrays in and arrays out."""

from sizing.kinds import check_kinds
from sizing.stats.design import design_estimate
from sizing.stats.intervals import binomial_interval
from sizing.stats.replicates import bootstrap_weights
from sizing.stats.weighted import (
    kish_design_effect,
    weighted_mean,
    weighted_quantile,
    weighted_sd,
)

__all__ = [
    "binomial_interval",
    "bootstrap_weights",
    "design_estimate",
    "kish_design_effect",
    "weighted_mean",
    "weighted_quantile",
    "weighted_sd",
]

check_kinds(globals(), __all__)
