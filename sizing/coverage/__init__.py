"""What share of a population a chart covers, and who is left out."""

from sizing.coverage.coverage import Coverage, coverage
from sizing.coverage.groups import AGE_BANDS, BMI_CLASSES, age_band, bmi_class

__all__ = [
    "AGE_BANDS",
    "BMI_CLASSES",
    "Coverage",
    "age_band",
    "bmi_class",
    "coverage",
]
