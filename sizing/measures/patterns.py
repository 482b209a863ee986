"""What a pattern of sling asks of a chart and of a client, and what it is warned of."""

from collections.abc import Collection

from sizing.cautions import INVENTED
from sizing.errors import one_of
from sizing.measures.vocabulary import measure_patterns, vocabulary
from sizing.resources import source_table

#: Patterns of sling, by general trade terms; each row's source is in the table.
PATTERNS: tuple[str, ...] = (
    "full-body",
    "full-body with head support",
    "toileting or access",
    "bathing",
    "limb missing",
)


def pattern_words(
    pattern: str, limits: Collection[str], known: Collection[str] | None = None
) -> list[str]:
    """Return what to know of a pattern of sling beside a chart."""
    one_of("pattern of sling", pattern, PATTERNS)
    rows = measure_patterns().query("pattern == @pattern")
    label = vocabulary().set_index("name")["label"].str.lower()
    parts = rows[rows["must"] == "yes"].groupby("part", sort=False)["name"].agg(list)
    unseen = [
        f"{part} ({' or '.join(label[name] for name in names)})"
        for part, names in parts.items()
        if not set(names) & set(limits)
    ]
    words = []
    if unseen:
        words.append(
            f"The chart limits too little to judge a sling of the pattern {pattern}: "
            f"it never looks at the {', '.join(unseen)}."
        )
    lacking = [] if known is None else [n for n in rows["name"] if n not in known]
    if lacking:
        told = ", ".join(label[name] for name in lacking)
        words.append(f"For this pattern of sling also measure: {told}.")
    warned = source_table("pattern_warnings.csv").query("pattern == @pattern")["text"]
    return [*words, *map(str, warned)]


def led_by(words: Collection[str], text: str) -> str:
    """Put words before an answer, but after what is said of invented figures.

    >>> led_by(["Look here."], "One size fits.")
    'Look here.\\nOne size fits.'
    """
    first, rest = "", text
    if text.startswith(INVENTED):
        stop = text.find("nothing by ") + len("nothing by ")
        stop = text.index(".", stop) + 1
        first, rest = text[:stop], text[stop:].lstrip()
    return "\n".join(line for line in (first, *words, rest) if line)
