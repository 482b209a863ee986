"""The figures and the texts that ship with the kit, the cautions among them."""

import json
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    # A place that cannot be written to is named before this is loaded.
    import pandas as pd


def shipped(name: str) -> Traversable:
    """Return a folder that comes with the kit: ``data_sources`` or ``notebooks``."""
    try:
        return files(f"sizing.{name}")
    except ModuleNotFoundError:
        # Python started in a checkout finds ``sizing`` there and not in
        # site-packages; the folder then lies beside the package.
        return Path(__file__).resolve().parent.parent / name


def source_file(name: str) -> Traversable:
    found = shipped("data_sources") / name
    if not found.is_file():
        raise FileNotFoundError(f"data_sources/{name} did not come with this install")
    return found


def source_table(name: str, **options: Any) -> "pd.DataFrame":
    """Return a CSV file of ``data_sources``; options go to ``pandas.read_csv``."""
    import pandas as pd

    with source_file(name).open("r", encoding="utf-8") as handle:
        table: pd.DataFrame = pd.read_csv(handle, **options)
        return table


def source_json(name: str) -> Any:
    return json.loads(source_file(name).read_text(encoding="utf-8"))


@cache
def texts(name: str) -> SimpleNamespace:
    """Return the texts of ``words/texts/NAME.toml``; what varies stands in braces."""
    path = Path(__file__).parent / "words" / "texts" / f"{name}.toml"
    return SimpleNamespace(**tomllib.loads(path.read_text(encoding="utf-8")))


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
    """Return the sentence with which an answer on invented figures begins."""
    named = ", ".join(_PARTS[part] for part in parts)
    what = "it" if len(parts) == 1 else "them"
    words = f"{INVENTED} {named}. Choose and order nothing by {what}."
    return words if parts else ""


def invented_first(parts: Sequence[str], text: str) -> str:
    """Return an answer, led by ``invented_words`` where something is invented."""
    return f"{invented_words(*parts)} {text}".strip()


def parted(text: str) -> tuple[str, str]:
    """Return the two sentences that ``invented_first`` put before an answer, and it."""
    begins = text.startswith(INVENTED)
    ends = (f"nothing by {what}." for what in ("it", "them") if begins)
    at = min((text.index(end) + len(end) for end in ends if end in text), default=0)
    return text[:at], text[at:].lstrip()


@cache
def cautions(*keys: str) -> tuple[str, ...]:
    """Return the usual cautions (label, load, policy, assessment, body, wrong_size)."""
    table = source_table("cautions.csv").set_index("key")["text"]
    chosen = list(keys) if keys else list(table.index)
    return tuple(str(table[key]) for key in chosen)


def closing(limits: Sequence[str] = ()) -> str:
    """Return what closes an answer: its first limit (who they are), cautions."""
    lines = [f"Where the evidence stops: {limit}" for limit in limits[:1]]
    if more := len(limits[1:]):
        noun = "limit" if more == 1 else "limits"
        lines[0] += f" For {more} more {noun} see the report or the page."
    table = source_table("cautions.csv")
    return "\n".join([*lines, "Before any lift: " + " ".join(table["short"])])
