"""Fit the bands of a size chart to people, exactly, with a certificate."""

from sizing.banding.fit import BandFit, fit_bands

__all__ = ["BandFit", "fit_bands"]
