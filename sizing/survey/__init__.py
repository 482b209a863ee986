"""Readers of anthropometric surveys and design-based estimates."""

from sizing.survey.dataset import Survey
from sizing.survey.embedded import ETHNIC_GROUPS, read_embedded

__all__ = ["ETHNIC_GROUPS", "Survey", "read_embedded"]
