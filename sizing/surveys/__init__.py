"""Readers of the surveys that commands and pages use, and the register of all."""

from sizing.kinds import check_kinds
from sizing.surveys.dataset import Survey
from sizing.surveys.embedded import ETHNIC_GROUPS, read_embedded
from sizing.surveys.nhanes import read_nhanes_files, read_nhanes_folder
from sizing.surveys.registry import registry, verify

__all__ = [
    "ETHNIC_GROUPS",
    "Survey",
    "read_embedded",
    "read_nhanes_files",
    "read_nhanes_folder",
    "registry",
    "verify",
]

check_kinds(globals(), __all__)
