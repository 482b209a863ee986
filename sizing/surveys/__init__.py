"""Readers of anthropometric surveys."""

from sizing.kinds import check_kinds
from sizing.surveys.ansur import read_ansur2
from sizing.surveys.dataset import Survey
from sizing.surveys.embedded import ETHNIC_GROUPS, read_embedded
from sizing.surveys.nhanes import read_nhanes_files, read_nhanes_folder
from sizing.surveys.registry import registry, survey_summaries, verify
from sizing.surveys.snyder import read_snyder1977

__all__ = [
    "ETHNIC_GROUPS",
    "Survey",
    "read_ansur2",
    "read_embedded",
    "read_nhanes_files",
    "read_nhanes_folder",
    "read_snyder1977",
    "registry",
    "survey_summaries",
    "verify",
]

check_kinds(globals(), __all__)
