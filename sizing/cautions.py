"""The cautions that every screen, report and notebook carries."""

from collections.abc import Sequence
from functools import cache

from sizing.resources import source_table

#: How every answer on invented figures begins.
INVENTED = "Invented for demonstration:"
#: What may be made up, and what it is called.
_PARTS = {
    "chart": "the size chart",
    "prices": "the prices",
    "owned": "the slings owned",
    "people": "the people served",
    "trials": "the trials",
}


def invented_words(*parts: str) -> str:
    """Return the sentence with which an answer on invented figures begins.

    >>> invented_words("chart")
    'Invented for demonstration: the size chart. Choose and order nothing by it.'
    >>> invented_words()
    ''
    """
    if not parts:
        return ""
    named = ", ".join(_PARTS[part] for part in parts)
    return (
        f"{INVENTED} {named}. Choose and order nothing by "
        f"{'it' if len(parts) == 1 else 'them'}."
    )


def invented_first(parts: Sequence[str], text: str) -> str:
    """Return an answer, led by ``invented_words`` where something is invented."""
    return f"{invented_words(*parts)} {text}".strip()


def parted(text: str) -> tuple[str, str]:
    """Return the two sentences that ``invented_first`` put before an answer, and it.

    >>> parted(invented_words("chart") + "\\nBuy 3.")[1], parted("Buy 3.")[0]
    ('Buy 3.', '')
    """
    begins = text.startswith(INVENTED)
    ends = (f"nothing by {what}." for what in ("it", "them") if begins)
    at = min((text.index(end) + len(end) for end in ends if end in text), default=0)
    return text[:at], text[at:].lstrip()


@cache
def cautions(*keys: str) -> tuple[str, ...]:
    """Return the usual cautions as sentences, all of them or those named.

    Keys are ``label, load, policy, assessment, body, wrong_size``.

    Their source is common practice: see ``data_sources/cautions.csv``.

    >>> len(cautions("load"))
    1
    """
    table = source_table("cautions.csv").set_index("key")["text"]
    chosen = list(keys) if keys else list(table.index)
    return tuple(str(table[key]) for key in chosen)


def closing(limits: Sequence[str] = ()) -> str:
    """Return what closes an answer in words: its first limit, and the cautions.

    The first limit says who these people are. All limits stand in a report and on a
    page, and all cautions in full.

    >>> closing(["Nobody sat.", "Nobody stood."]).splitlines()[0]
    'Where the evidence stops: Nobody sat. For 1 more limit see the report or the page.'
    """
    lines = [f"Where the evidence stops: {limit}" for limit in limits[:1]]
    if more := len(limits[1:]):
        noun = "limit" if more == 1 else "limits"
        lines[0] += f" For {more} more {noun} see the report or the page."
    table = source_table("cautions.csv")
    return "\n".join([*lines, "Before any lift: " + " ".join(table["short"])])
