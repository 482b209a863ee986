"""Readers of anthropometric surveys and design-based estimates."""

from sizing.stats.design import binomial_interval, design_estimate
from sizing.stats.replicates import bootstrap_weights
from sizing.stats.weighted import (
    kish_design_effect,
    weighted_mean,
    weighted_quantile,
    weighted_sd,
)
from sizing.surveys.ansur import read_ansur2
from sizing.surveys.combine import rubin
from sizing.surveys.dataset import Survey
from sizing.surveys.embedded import ETHNIC_GROUPS, read_embedded
from sizing.surveys.nhanes import read_nhanes_files
from sizing.surveys.registry import registry, survey_summaries, verify
from sizing.surveys.snyder import read_snyder1977

__all__ = [
    "ETHNIC_GROUPS",
    "Survey",
    "binomial_interval",
    "bootstrap_weights",
    "design_estimate",
    "kish_design_effect",
    "read_ansur2",
    "read_embedded",
    "read_nhanes_files",
    "read_snyder1977",
    "registry",
    "rubin",
    "survey_summaries",
    "verify",
    "weighted_mean",
    "weighted_quantile",
    "weighted_sd",
]
