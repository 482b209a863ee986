"""What a size or a chart may be called, since its name goes everywhere.

A name is shown on screens, printed, put into pages, tables and file formats: one
that a spreadsheet would run as a formula, that hides letters, or that fills a page
is refused where it enters, so that it can be written out unchanged ever after.
"""

import unicodedata

from sizing.files.writing import FORMULA_STARTS

#: Most letters of a name.
MOST_LETTERS = 100
#: What means something else where sizes are chosen and summed up.
RESERVED = frozenset({"none", "no size", "total", "totals", "sum", "subtotal"})
#: Greek and Cyrillic letters that look like Latin ones, small or capital (our own
#: look at their pictures; Unicode's list of confusables, UTS 39, is longer).
_LOOKS = str.maketrans(
    "αβεζηικμνορτυχавсеніјкморѕтухԁԛԝһ", "abezhikmnoptyxabcehijkmopstyxdqwh"
)


def alike(name: str) -> str:
    """Return a name without what the eye may miss: case, spaces, look-alike letters.

    Examples
    --------
    >>> alike("Adult  A") == alike("\u0410dult \u0430")
    True
    """
    text = unicodedata.normalize("NFKC", name).casefold().translate(_LOOKS)
    return " ".join(text.split())


def name_fault(name: str) -> tuple[str, str, str] | None:
    """Say what is wrong with a name: what, what is allowed, what to do.

    Examples
    --------
    >>> name_fault("adult 1")
    >>> name_fault("=1+1")[0]
    'a name that a spreadsheet would run as a formula'
    >>> name_fault("adult\\u200b1")[0]
    'an unseen letter in a name (U+200B)'
    """
    if name.lstrip().startswith(tuple(FORMULA_STARTS)):
        starts = " ".join(FORMULA_STARTS.split()[0])
        return (
            "a name that a spreadsheet would run as a formula",
            f"a name that begins with none of {starts}",
            "begin it with a letter or a digit",
        )
    unseen = next((c for c in name if not c.isprintable()), "")
    if unseen:
        return (
            f"an unseen letter in a name (U+{ord(unseen):04X})",
            "letters, digits, signs and plain spaces, on one line",
            "type the name anew",
        )
    if len(name) > MOST_LETTERS:
        return (
            f"a name of {len(name)} letters",
            f"at most {MOST_LETTERS} letters",
            "shorten it; what it means can stand in a column of its own",
        )
    return None
