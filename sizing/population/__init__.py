"""Whose bodies a chart is judged on: named populations, weights, own people."""

from sizing.population.caseload import read_caseload
from sizing.population.classes import age_band, bmi_class
from sizing.population.margins import MARGIN_COLUMNS, named_margins, read_margins
from sizing.population.named import (
    POPULATIONS,
    load_people,
    population_titles,
    reweight,
)
from sizing.population.own import people_from
from sizing.population.people import People
from sizing.population.weights import Weighting, kish, post_stratify, rake

__all__ = [
    "MARGIN_COLUMNS",
    "POPULATIONS",
    "People",
    "Weighting",
    "age_band",
    "bmi_class",
    "kish",
    "load_people",
    "named_margins",
    "people_from",
    "population_titles",
    "post_stratify",
    "rake",
    "read_caseload",
    "read_margins",
    "reweight",
]
