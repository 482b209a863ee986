"""Whose bodies a chart is judged on: named populations, weights, own people."""

from sizing.kinds import check_kinds
from sizing.people.caseload import read_caseload
from sizing.people.classes import age_band, bmi_class
from sizing.people.margins import MARGIN_COLUMNS, named_margins, read_margins
from sizing.people.named import (
    POPULATIONS,
    load_people,
    population_titles,
    reweight,
)
from sizing.people.official import people_of_survey
from sizing.people.own import people_from
from sizing.people.people import People
from sizing.people.weights import Weighting, rake

__all__ = [
    "MARGIN_COLUMNS",
    "POPULATIONS",
    "People",
    "Weighting",
    "age_band",
    "bmi_class",
    "load_people",
    "named_margins",
    "people_from",
    "people_of_survey",
    "population_titles",
    "rake",
    "read_caseload",
    "read_margins",
    "reweight",
]

check_kinds(globals(), __all__)
