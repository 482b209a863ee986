"""Readers of anthropometric surveys and design-based estimates."""

from sizing.survey.ansur import read_ansur2
from sizing.survey.dataset import Survey
from sizing.survey.embedded import ETHNIC_GROUPS, read_embedded
from sizing.survey.nhanes import read_nhanes_files
from sizing.survey.snyder import read_snyder1977

__all__ = [
    "ETHNIC_GROUPS",
    "Survey",
    "read_ansur2",
    "read_embedded",
    "read_nhanes_files",
    "read_snyder1977",
]
