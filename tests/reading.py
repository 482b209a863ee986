"""How hard a text is to read: its grade, and its long sentences."""

import html
import re

import textstat

#: Ends of a line of words in a page.
BREAK = re.compile(
    r"<br ?/?>|</(p|h\d|li|tr|div|td|th|dt|dd|caption|figcaption|section|summary)>"
)
UNSEEN = re.compile(r"<(style|script|svg)\b.*?</\1>", re.DOTALL)
#: Words of a sentence on a first screen: a choice, no source.
MOST_WORDS = 28


def words_of(page: str) -> str:
    """Return what a page says, each block of it on a line."""
    text = BREAK.sub("\n", UNSEEN.sub("", page))
    return html.unescape(re.sub("<[^>]+>", "", text))


def _lines(text: str) -> list[str]:
    """Return the lines that are sentences: cells and headings are not."""
    return [line.strip() for line in text.splitlines() if len(line.split()) > 5]


def grade(text: str) -> float:
    """Return the school grade a text asks for (Flesch and Kincaid, 1975)."""
    return float(textstat.flesch_kincaid_grade("\n".join(_lines(text))))


def long_sentences(text: str) -> list[str]:
    """Return the sentences of more than ``MOST_WORDS`` words."""
    sentences = [
        sentence
        for line in _lines(text)
        for sentence in re.split(r"(?<=[.!?])[)\"']? ", line)
    ]
    return [s for s in sentences if len(s.split()) > MOST_WORDS]
