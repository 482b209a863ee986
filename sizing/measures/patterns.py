"""What a pattern of sling asks of a chart and of a client, and what it is warned of."""

from collections.abc import Collection

from sizing.cautions import INVENTED
from sizing.errors import one_of
from sizing.measures.vocabulary import measure_patterns, plain
from sizing.resources import source_table, texts

_T = texts("tables")
#: Patterns of sling, by general trade terms; each row's source is in the table.
PATTERNS: tuple[str, ...] = (
    "full-body",
    "full-body with head support",
    "toileting or access",
    "bathing",
    "limb missing",
)


def pattern_parts(pattern: str, *, must: bool = True) -> dict[str, list[str]]:
    """Return the parts of a sling of a pattern, and the measures that tell each.

    ``must``: those alone that a chart must limit, by any one of their measures.
    """
    one_of("pattern of sling", pattern, PATTERNS)
    rows = measure_patterns().query("pattern == @pattern")
    rows = rows[rows["must"] == "yes"] if must else rows
    parts = rows.groupby("part", sort=False)["name"].agg(list)
    return {str(part): list(names) for part, names in parts.items()}


def pattern_lacks(pattern: str, limits: Collection[str]) -> str:
    unseen = _without(pattern_parts(pattern), limits)
    looked = ", ".join(f"{part} ({names})" for part, names in unseen.items())
    words = _T.pattern_lacks.format(pattern=pattern, looked=looked)
    return words if unseen else ""


def pattern_words(
    pattern: str, limits: Collection[str], known: Collection[str] | None = None
) -> list[str]:
    words = [pattern_lacks(pattern, limits)]
    if known is not None:
        lacking = _without(pattern_parts(pattern, must=False), known)
        told = ", ".join(dict.fromkeys(lacking.values()))
        words += [_T.pattern_measures.format(names=told)] if told else []
    warned = source_table("pattern_warnings.csv").query("pattern == @pattern")["text"]
    return [word for word in (*words, *map(str, warned)) if word]


def _without(parts: dict[str, list[str]], seen: Collection[str]) -> dict[str, str]:
    return {
        part: " or ".join(map(plain, names))
        for part, names in parts.items()
        if not set(names) & set(seen)
    }


def led_by(words: Collection[str], text: str) -> str:
    """Put words before an answer, but after what is said of invented figures."""
    first, rest = "", text
    if text.startswith(INVENTED):
        stop = text.find("nothing by ") + len("nothing by ")
        stop = text.index(".", stop) + 1
        first, rest = text[:stop], text[stop:].lstrip()
    return "\n".join(line for line in (first, *words, rest) if line)
