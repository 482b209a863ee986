"""No sentence a person reads holds a word of the list: DEVELOPERS.md, 'Plain words'."""

import ast
import json
import re
from pathlib import Path

import sizing

ROOT = Path(sizing.__file__).parents[1]
#: Word, and what to write instead. A column's name has no space and is no sentence.
INSTEAD = {
    "whom": "people who",
    "nought": "zero",
    "oftener": "more often",
    "mean day": "average day",
    "taken as": "best estimate",
    "come by": "how measured",
    "tell": "report, say, show",
    "tells": "reports, says, shows",
    "told": "said",
    "telling": "saying",
    "drawn afresh": "simulated days, people like these",
    "besides of": "about",
    "odds ratio": "times as likely",
    "body mass": "weight",
    "stature": "height",
    "she": "the person",
    "her": "the person's",
}
#: 'Body mass index' is the measure's own name, kept where it is meant.
BANNED = re.compile(
    r"\b(" + "|".join(INSTEAD).replace("body mass", "body mass(?! index)") + r")\b",
    re.IGNORECASE,
)


def sentences(path):
    """Return the words of a module that may reach a reader, with their lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        value = getattr(node, "value", None)
        if isinstance(node, ast.Constant) and isinstance(value, str):
            if id(node) in silent or " " not in value.strip():
                continue
            yield node.lineno, value


def read_by_people():
    for path in sorted((ROOT / "sizing").rglob("*.py")):
        for line, words in sentences(path):
            yield path.relative_to(ROOT).as_posix(), line, words
    for path in sorted((ROOT / "sizing").rglob("*.j2")):
        code = r"(?s)\{[{%#].*?[}%#]\}|<style.*?</style>"
        yield path.relative_to(ROOT).as_posix(), 0, re.sub(code, "", path.read_text())
    for path in sorted((ROOT / "sizing/words/texts").glob("*.toml")):
        for line, text in enumerate(path.read_text("utf-8").splitlines(), start=1):
            words = re.sub(r"^[\w-]+ = |\{\w+\}", "", text)
            yield path.name, line, "" if text.startswith("#") else words
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        for number, cell in enumerate(json.loads(path.read_text())["cells"]):
            if cell["cell_type"] == "markdown":
                yield path.name, number, "".join(cell["source"])
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    yield "README.md", 0, re.sub("(?s)```.*?```|`.*?`", "", readme)


def test_no_word_of_the_list_reaches_a_reader():
    found = [
        f"{name}:{line}: '{hit.group()}' ({INSTEAD.get(hit.group().lower(), '')}): "
        f"...{words[max(0, hit.start() - 40) : hit.end() + 30]!r}"
        for name, line, words in read_by_people()
        for hit in BANNED.finditer(words)
    ]
    assert not found, "\n".join(found)


def test_a_word_of_the_list_is_found_and_what_only_looks_like_one_is_not():
    for words in ("People whom it fits", "on a MEAN DAY", "he told us"):
        assert BANNED.search(words)
    for words in ("body mass index", "body_mass_kg", "a wholesome day"):
        assert not BANNED.search(words)
