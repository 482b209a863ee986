"""Which slings to stock, and how many of each size."""

from sizing.errors import check_kinds
from sizing.stock.need import NUMBERS, SHARING, Served, Use, serves_from
from sizing.stock.offers import Offer, Years, demo_scenario, offer_from
from sizing.stock.plan import plan_stock
from sizing.stock.result import StockPlan
from sizing.stock.tables import SERVICE

__all__ = [
    "NUMBERS",
    "SERVICE",
    "SHARING",
    "Offer",
    "Served",
    "StockPlan",
    "Use",
    "Years",
    "demo_scenario",
    "offer_from",
    "plan_stock",
    "serves_from",
]

check_kinds(globals(), __all__)
