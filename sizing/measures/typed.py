"""What people type for a length or a mass: read here, wherever it is typed."""

import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace

from sizing.errors import Problem, SizingError, one_of
from sizing.measures.vocabulary import (
    OF_KIND,
    UNIT_WORDS,
    UNITS,
    WRITTEN_UNITS,
    unit_of,
)
from sizing.resources import texts

_T = texts("tables")
_FACTORS = OF_KIND["length"] | OF_KIND["mass"] | OF_KIND["age"]
_TIMES = ("years", "months", "weeks", "days")
#: How a unit is written behind a number; single and double primes come as ' and ".
_UNIT = {word: unit for word, unit in WRITTEN_UNITS.items() if unit not in _TIMES}
_UNIT |= {'"': "in", "'": "ft"}
#: The unit that may follow a larger one, and how many make one of the larger.
_SMALLER = {"ft": ("in", 12), "st": ("lb", 14), "m": ("cm", 100)}
#: Where the smaller unit goes without saying: 10 st 4, 5' 2.
UNSAID = ("ft", "st")
_LETTERS = str.maketrans(
    dict.fromkeys("\u2019\u2018\u2032\u02b9\u00b4\u0060\u2035\uff07\u201b", "'")
    | dict.fromkeys("\u201d\u201c\u2033\u02ba\uff02\u201e\u201f\u3003", '"')
    | dict.fromkeys("\u2212\u2010\u2011\u2012\u2013", "-")
    | {"\u2044": "/", "½": " 1/2", "¼": " 1/4", "¾": " 3/4"}
    | {"⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8", "⅓": " 1/3", "⅔": " 2/3"}
)
_NUMBER = r"(?:[0-9]+(?:\s+|-))?[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
_WORD = r"[a-z]+\.?|['\"]"
_TYPED = re.compile(
    rf"([+-]?)\s*({_NUMBER})\s*({_WORD})?"
    rf"(?:\s*(?:and|&|-)?\s*({_NUMBER})\s*({_WORD})?)?"
)
_BARE = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.,])")
#: 1,234 and 12,345: whether thousands or decimals nobody can say.
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}")
#: Decimals that may be inches or pounds, as in 5.11 and 12.10.
_NOTED = re.compile(r"[+-]?([0-9]*[1-9][0-9]*)\.([0-9]{1,2})")
#: Denominators on a tape or scale.
_PARTS = (2, 3, 4, 8, 16, 32)
#: Letters that stand for a currency (ISO 4217, from memory, and the crown's own).
_CURRENCIES: list[str] = _T.currencies.split()
#: Marks for thousands that cannot be meant for decimals: 1,250.00 and 1.250,00.
_PARTED = re.compile(r"([+-]?\d{1,3}(?:([,.' ])\d{3})(?:\2\d{3})*)([.,]\d{1,2})?")
#: More letters than any length or mass needs.
_MOST = 60


@dataclass(frozen=True)
class Quantity:
    #: In cm, kg or years.
    standard: float
    #: In the unit of the heading it was typed under.
    number: float
    #: The unit written behind it, in words, if it is not the heading's.
    said: str = ""

    def told(self, text: str) -> str:
        """Say how a text that said its own unit was read."""
        lengths = {UNIT_WORDS[unit] for unit in OF_KIND["length"]}
        unit = "cm" if lengths & set(self.said.split()) else "kg"
        return f"'{text}', in {self.said}, was read as {self.standard:.6g} {unit}"


def quantity(text: str, unit: str) -> Quantity | Problem:
    """Read what was typed under a heading of some unit."""
    kind = next(kind for kind, units in OF_KIND.items() if unit in units)
    like = _T.like[kind]
    wrong = Problem.of(_T.not_understood, like=like)
    plain = text.strip().lower().translate(_LETTERS).replace("''", '"').strip()
    if not re.search("[0-9]", plain):
        return Problem.of(_T.text, like=like)
    pointed = _with_points(plain) if len(plain) <= _MOST else wrong
    if isinstance(pointed, Problem):
        return pointed
    if _BARE.fullmatch(pointed):
        number = float(pointed)
        found = Quantity(number * _FACTORS[unit], number)
        return unclear(pointed, unit) or _finite(found, wrong)
    typed = _TYPED.fullmatch(pointed)
    if typed is None or kind == "age":
        return wrong
    sign, first, word, second, last = typed.groups()
    large = _UNIT.get(word.rstrip(".")) if word else unit
    # Two numbers, or half of what?
    bare = not word and (second or re.fullmatch(r"[0-9]+/[0-9]+", first))
    if bare or large is None:
        return wrong
    if large not in OF_KIND[kind]:
        given = {"unit": UNIT_WORDS[large], "kind": kind, "like": like}
        return Problem.of(_T.wrong_kind, **given)
    values, units = [_value(first)], [large]
    if second:
        least, most = _SMALLER.get(large, ("", 0))
        small = _UNIT.get(last.rstrip(".")) if last else least
        if small != least or not (last or large in UNSAID) or not first.isdigit():
            return wrong
        values, units = [*values, _value(second)], [large, least]
        if values[1] >= most:
            given = {"second": second, "small": least, "large": large, "like": like}
            return Problem.of(_T.too_many, most=most, **given)
    elif doubt := unclear(first, large):
        return doubt
    size = -1.0 if sign == "-" else 1.0
    parts = zip(values, units, strict=True)
    standard = size * sum(value * _FACTORS[one] for value, one in parts)
    said = "" if unit in units else " and ".join(UNIT_WORDS[one] for one in units)
    number = size * values[0] if units == [unit] else standard / _FACTORS[unit]
    return _finite(Quantity(standard, number, said), wrong)


def unclear(number: str, unit: str) -> Problem | None:
    """Ask what is meant by a number of feet or stone with one or two decimals."""
    found = _NOTED.fullmatch(number)
    if unit not in UNSAID or found is None:
        return None
    whole, decimals = found.groups()
    small, most = _SMALLER[unit]
    counts = [int(decimals)] + ([int(decimals) * 10] if len(decimals) == 1 else [])
    noted = [f"{whole} {unit} {n} {small}" for n in counts if 0 < n < most]
    if not noted:
        return None
    given = {"whole": whole, "decimals": decimals, "unit": unit, "small": small}
    given |= {"rest": f"{float(f'0.{decimals}') * most:.3g}"}
    return Problem.of(_T.noted, noted=", ".join(noted), first=noted[0], **given)


def amount(cell: object, *, money: bool = False) -> tuple[float, str] | Problem:
    """Read a number that has no unit, or an amount of money; its currency, if any."""
    if isinstance(cell, bool):
        return Problem.of(_T.yes_amount)
    text = unicodedata.normalize("NFKC", str(cell)).translate(_LETTERS).strip()
    found = re.fullmatch(r"([^\W\d]*\.?|\W)\s*([+-]?[\d.].*?)\s*([^\W\d]*|\W)", text)
    sign = "".join(found.group(1, 3)).strip(".") if found else ""
    signed = unicodedata.category(sign[:1] or "a") == "Sc"
    money = money and (signed or sign.upper() in _CURRENCIES)
    if found and money and len(text) <= _MOST:
        text = found[2]
    if parted := _PARTED.fullmatch(text):
        whole, mark, rest = parted[1], parted[2], parted[3] or ""
        if rest[:1] != mark and (rest or mark in "' " or whole.count(mark) > 1):
            text = re.sub("[,.' ]", "", whole) + rest.replace(",", ".")
    pointed = _with_points(text.lower())
    if isinstance(pointed, Problem):
        return pointed
    if not _BARE.fullmatch(pointed) or not math.isfinite(float(pointed)):
        return Problem.of(_T.no_amount)
    return float(pointed), sign if money else ""


def amounts(
    cells: Iterable[object], *, money: bool = False
) -> tuple[list[float], dict[int, Problem], list[str]]:
    """Read a column of amounts: numbers (NaN where empty), problems, currencies."""
    read: list[float] = []
    wrong: dict[int, Problem] = {}
    signs: dict[str, None] = {}
    for at, cell in enumerate(cells):
        missing = cell is None or (isinstance(cell, float) and math.isnan(cell))
        empty = missing or not str(cell).strip()
        found = (math.nan, "") if empty else amount(cell, money=money)
        if isinstance(found, Problem):
            wrong[at], found = replace(found, value=cell), (math.nan, "")
        read.append(found[0])
        signs |= {found[1]: None} if found[1] else {}
    return read, wrong, list(signs)


def understood(
    text: str, measure: str, units: str = "metric", *, signed: bool = False
) -> float:
    """In cm or kg, exactly, by the international yard and pound agreement of 1959."""
    one_of("units", units, list(UNITS))
    found = quantity(text, unit_of(measure, units))
    if isinstance(found, Quantity) and (found.standard < 0 and not signed):
        found = Problem.of(_T.not_from_0)
    if isinstance(found, Problem):
        raise SizingError(str(replace(found, value=text)))
    return found.standard


def with_unit(text: str, unit: str) -> str:
    """Return what was typed with a unit behind it, unless it has one."""
    plain = text.strip().lower().translate(_LETTERS)
    return text if re.search("[a-z'\"]", plain) or not plain else f"{text} {unit}"


def like_pounds(kg: float) -> int | None:
    """Return the whole kg that a load limit would be if it were in pounds, or None."""
    # Labels state round kg and the same in pounds, to the next pound or the next lower
    # ten. Asked about are (our choice, no source) multiples of 50 and, where the pounds
    # end in neither 0 nor 5, of 10; nobody's 227 or 272 kg (500 and 600 lb).
    for whole in range(120, 501, 10):
        pounds = whole / OF_KIND["mass"]["lb"]
        near = {math.floor(pounds), math.ceil(pounds), math.floor(pounds / 10) * 10}
        if kg in near and (whole % 50 == 0 or kg % 5):
            return whole
    return None


def _with_points(plain: str) -> str | Problem:
    """Return a text whose decimals stand behind points, or ask about its comma."""
    # 5 ft, 2 in: this comma is none of a number's.
    plain = re.sub(r"(?<=[a-z'\".]), +", " ", plain)
    for found in _COMMA.finditer(plain):
        if len(found[2]) == 3 and _THOUSANDS.fullmatch(found[1]):
            meant = {"thousands": found[1] + found[2]}
            return Problem.of(_T.thousands, decimals=".".join(found.groups()), **meant)
    pointed = _COMMA.sub(r"\1.\2", plain)
    return Problem.of(_T.comma) if "," in pointed else pointed


def _value(written: str) -> float:
    """Return a number that may carry a fraction; NaN if it is none of a tape's."""
    *whole, last = re.split(r"\s+|-", written)
    over, _, below = last.partition("/")
    if not below:
        return float(over)
    if int(below) not in _PARTS or int(over) >= int(below):
        return math.nan
    return sum(map(float, whole)) + int(over) / int(below)


def _finite(found: Quantity, wrong: Problem) -> Quantity | Problem:
    return found if math.isfinite(found.standard + found.number) else wrong
