"""Readers of anthropometric surveys and design-based estimates."""

from sizing.survey.ansur import read_ansur2
from sizing.survey.combine import rubin
from sizing.survey.dataset import Survey
from sizing.survey.embedded import ETHNIC_GROUPS, read_embedded
from sizing.survey.estimate import binomial_interval, design_estimate
from sizing.survey.nhanes import read_nhanes_files
from sizing.survey.registry import registry, survey_summaries, verify
from sizing.survey.replicates import bootstrap_weights
from sizing.survey.snyder import read_snyder1977
from sizing.survey.weighted import (
    kish_design_effect,
    weighted_mean,
    weighted_quantile,
    weighted_sd,
)

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
