"""One client, one tape measure: which size, how sure, what to measure next."""

from sizing.client.check import check_client
from sizing.client.client import Client, client_from
from sizing.client.judged import ClientAnswer
from sizing.client.outcomes import allowance_table, suggested_allowances
from sizing.client.own_chart import judge_chart
from sizing.client.readings import (
    HOW,
    Reading,
    conditions_table,
    estimate_stature,
    how_measured,
)
from sizing.errors import check_kinds

__all__ = [
    "HOW",
    "Client",
    "ClientAnswer",
    "Reading",
    "allowance_table",
    "check_client",
    "client_from",
    "conditions_table",
    "estimate_stature",
    "how_measured",
    "judge_chart",
    "suggested_allowances",
]

check_kinds(globals(), __all__)
