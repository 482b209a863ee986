"""Damage to single cells: what stands where a number, a name or a sex belongs."""

import math
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from .tables import ANSWERS, CASELOAD, CHART, MARGINS, PRICES

_WORDS = """
eighty 80hh 80-95 <95 ~80 80.5.5 8O 1_000 0x50 ½ --5 +-5 1/2 80;95 1,250 £80 NaN nan inf
-inf Infinity None null n/a TRUE yes ? - −80 =80+5 =1/0 @80 +A1 #REF! #DIV/0! <b>80</b>
2026-11-25 25/11/2026 25.11.2026 \U0001f600 __import__('os').getcwd()
"""
#: No numbers, whatever table they stand in.
NO_NUMBERS: tuple[object, ...] = (
    *_WORDS.split(),
    *("80 hands", "80 %", "80\x0b5", "80\n95", "9" * 5000, "x" * 30_000),
)
#: Numbers that no body, price or share can be.
NO_BODY: tuple[object, ...] = ("-5", "-0.1", "1" + "0" * 30, "99999999", "1e999")
#: What only a workbook can hold.
TYPED: tuple[object, ...] = (
    True,
    False,
    date(2026, 11, 25),
    datetime(2026, 11, 25, 12, 30),
    time(12, 30),
    timedelta(hours=80),
    "=1+1",
)


def with_cell(cells: list, row: int, column: int, value: object) -> list:
    """Return the table with one cell changed."""
    made = [list(line) for line in cells]
    made[row][column] = value
    return made


def number_cases() -> Iterator[tuple[str, list, str]]:
    """Kind, table, and the ending it is written with."""
    places = {
        "chart": (CHART, (3, 4)),
        "caseload": (CASELOAD, (2,)),
        "margins": (MARGINS, (5,)),
        "prices": (PRICES, (1,)),
        "answers": (ANSWERS, (3,)),
    }
    for kind, (cells, columns) in places.items():
        for column in columns:
            for value in (*NO_NUMBERS, *NO_BODY):
                if kind == "prices" and value in ("99999999", "1" + "0" * 30):
                    continue  # dear, but a price
                yield kind, with_cell(cells, 1, column, value), ".csv"
            for value in TYPED:
                yield kind, with_cell(cells, 1, column, value), ".xlsx"


#: Kind, row and column of a cell, and what is wrong there, between bars.
_OTHER = """
caseload 1 0: x|1|0|Frau|femal|MALE?||f/m|2026-11-25
caseload 1 1: -1|130|999|1946-05-02|12 months|80+|inf|1e5
caseload 1 3: 1.58|1580|0|-158|5'12"|62 kg
caseload 0 2: wieghts_kg|body_mass|hip_circumfrence_cm|body_mass_oz
chart 1 0: |adult b
chart 1 1: adlut|Adult?|0|2026-11-25|<b>adult</b>
chart 1 2: -150|0|150 cm|inf|nan|1,500|100000000000000000000
chart 1 3: 96
chart 0 3: hip_cm_low|hip_circumference_low|low|hip_circumference_cm
margins 1 0:
margins 1 1: median||SHARE|share of
margins 1 2: |\x0b
margins 1 5: 0|1|1.2|60||-0.2
prices 1 0: unknown||nan|../../etc/passwd|{size}
prices 1 1: |-1
prices 1 2: 1.5|-1|1e30|many|1e10
prices 1 3: 0|-1|2.5|1e30|0.0
answers 1 0:
answers 1 1:
answers 1 2: XXL|=1+1|<script>alert(1)</script>|adult
answers 1 3: -70|0|700|0.07
"""


def other_cases() -> Iterator[tuple[str, list, str]]:
    """What is wrong in the other columns of each table."""
    whole = {"caseload": CASELOAD, "chart": CHART, "margins": MARGINS}
    whole |= {"prices": PRICES, "answers": ANSWERS}
    for line in _OTHER.strip("\n").split("\n"):
        (kind, row, column), values = line.split(":")[0].split(), line.split(":")[1]
        for value in values.removeprefix(" ").format(size=PRICES[2][0]).split("|"):
            yield kind, with_cell(whole[kind], int(row), int(column), value), ".csv"
    yield "chart", with_cell(with_cell(CHART, 1, 3, ""), 1, 4, ""), ".csv"
    for low, high in ((80, 65), ("old", 80), (math.inf, ""), (65, 65)):
        made = with_cell(with_cell(MARGINS, 2, 3, low), 2, 4, high)
        yield "margins", made, ".csv"
    for kind, heading, empty, values in (
        ("margins", "within", "", "__import__('os')|age_years>old|sex|=1"),
        ("answers", "reading", "1", "0|-1|1.5|first|1000|inf|2026-11-25"),
    ):
        for value in values.split("|"):
            made = [[*row, empty] for row in whole[kind]]
            made[0][-1], made[1][-1] = heading, value
            yield kind, made, ".csv"


#: Sizes' names, and whether a chart may hold them.
NAMES: dict[str, bool] = {
    "=1+1": False,
    "+1": False,
    "-1": False,
    "@SUM(A1:A9)": False,
    "=cmd|' /C calc'!A0": False,
    '=HYPERLINK("http://a.example","adult")': False,
    " =1+1": False,
    "＝1+1": False,
    "adult\n1": False,
    "adult\t1": False,
    "adult\r1": False,
    "adult\x1b[2J": False,
    "adult\x071": False,
    "adult\u00a01": False,
    "adult\u200b1": False,
    "\u202etluda": False,
    "x" * 101: False,
    "": False,
    " ": False,
    "<script>alert(1)</script>": True,
    "<b>adult</b>": True,
    '"><img src=x onerror=alert(1)>': True,
    'adult\'s & "co"': True,
    "{{7*7}}{% raw %}": True,
    "${7*7} $x_1$ $": True,
    "%s %d {0} {size}": True,
    "../../../etc/passwd": True,
    "C:\\con\\nul|?*": True,
    "größe 1 大人 \U0001f600": True,
    "NaN": True,
    "None": False,
    "TOTAL": False,
    "Totals": False,
    "no  size": False,
    "TRUE": True,
    "007": True,
    "1e5": True,
    "a;b,c": True,
    "'quoted'": True,
    "`x` **y** [z](javascript:1)": True,
    "x" * 100: True,
}
