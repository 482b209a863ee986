"""Readers of the surveys that commands and pages use, and the register of all."""

from sizing.errors import check_kinds
from sizing.surveys.nhanes import (
    ETHNIC_GROUPS,
    read_embedded,
    read_nhanes_files,
    read_nhanes_folder,
)
from sizing.surveys.survey import Survey, registry, verify

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
