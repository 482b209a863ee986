"""Whose bodies a chart is judged on: named populations, weights, own people."""

from sizing.errors import check_kinds
from sizing.people.classes import age_band
from sizing.people.margins import read_margins
from sizing.people.named import POPULATIONS, load_people, population_titles, reweight
from sizing.people.own import people_from, people_of_survey, read_caseload
from sizing.people.people import People

__all__ = [
    "POPULATIONS",
    "People",
    "age_band",
    "load_people",
    "people_from",
    "people_of_survey",
    "population_titles",
    "read_caseload",
    "read_margins",
    "reweight",
]

check_kinds(globals(), __all__)
