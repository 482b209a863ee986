"""One client, one tape measure: which size, how sure, what to measure next."""

from sizing.client.answer import ClientAnswer
from sizing.client.check import check_client
from sizing.client.client import Client, client_from
from sizing.client.conditions import conditions_table
from sizing.client.how import HOW, Reading, how_measured
from sizing.client.loads_allowances import allowance_table, suggested_allowances
from sizing.client.own_chart import judge_chart
from sizing.client.stature import estimate_stature
from sizing.kinds import check_kinds

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
