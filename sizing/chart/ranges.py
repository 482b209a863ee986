"""TEMP until the measures layer has plausible_range."""

try:
    from sizing.measures import plausible_range
except ImportError:

    def plausible_range(measure: str, age_years: float) -> tuple[float, float]:
        return (1.0, 400.0)
