"""Practice cards to print: measures on the front, answers on another sheet."""

from functools import cache
from importlib.resources import files

import jinja2
import pandas as pd

from sizing.cautions import cautions
from sizing.measures import EDGE_RULE
from sizing.report.lesson_pictures import measure_labels
from sizing.report.page import Page, Section, render, table
from sizing.teaching.practice import CARD_STEP, DIFFICULTIES, Practice


@cache
def lesson_template(name: str) -> jinja2.Template:
    """Return one of the lesson's templates; a name it lacks is an error."""
    text = files("sizing.report").joinpath(name).read_text(encoding="utf-8")
    environment = jinja2.Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    return environment.from_string(text)


def card_rows(cards: pd.DataFrame) -> list[dict]:
    """Return each card as its name and rows of words.

    Parameters
    ----------
    cards : DataFrame
        ``Practice.cards``.

    Returns
    -------
    list of dict
        ``name`` and ``rows``, pairs of words.
    """
    labels = measure_labels()
    made = []
    for card in cards.to_dict("records"):
        rows = [
            (name.capitalize(), str(card[name]))
            for name in ("sex", "age")
            if name in card
        ]
        rows += [
            (labels[name], f"{card[name]:.1f} {name.rsplit('_', 1)[1]}")
            for name in (str(c) for c in cards.columns)
            if name in labels
        ]
        made.append({"name": str(card["card"]).capitalize(), "rows": rows})
    return made


def cards_html(practice: Practice) -> str:
    """Return the cards as a page to print, two by two, without answers."""
    return lesson_template("cards.html.j2").render(
        title="Practice clients: which size?",
        note=f"Choose a size of '{practice.chart}' for each, or write 'none'. "
        f"Measures are rounded to {CARD_STEP:g}. They belong to nobody: each card "
        "is drawn from survey people and models, and numbered anew.",
        cards=card_rows(practice.cards),
        cautions=cautions(),
    )


def answers_html(practice: Practice) -> str:
    """Return the trainer's sheet: what fits each card, and how hard it is."""
    labels = measure_labels()
    rows = pd.DataFrame(
        {
            "Card": practice.answers["card"].str.capitalize(),
            "Fits": practice.answers["right"],
            "Difficulty": practice.answers["difficulty"].astype(str),
            "Edge that decides": [
                labels.get(str(m), str(m)) for m in practice.answers["measure"]
            ],
            "Distance from it": [
                f"{miss:+.1f} {str(m).rsplit('_', 1)[1]}"
                for miss, m in zip(
                    practice.answers["miss"], practice.answers["measure"], strict=True
                )
            ],
            "In SDs of a reading": [
                f"{d:.1f}" for d in practice.answers["distance_sd"]
            ],
        }
    )
    easy, middling = DIFFICULTIES["easy"], DIFFICULTIES["middling"]
    page = Page(
        title="Practice clients: the trainer's answers",
        question=f"Which size of '{practice.chart}' fits each card?",
        inputs=practice.summary(),
        answer=f"{int((practice.answers['outcome'] != 'none').sum())} of "
        f"{len(practice.answers)} cards have a size that fits.",
        sections=[
            Section(
                "Answers",
                words=[
                    EDGE_RULE,
                    f"Easy: {easy:g} SD of a reading or more from the edge that "
                    f"decides; middling: from {middling:g}; hard: nearer. With a "
                    "minus before the distance no size fits.",
                ],
                tables=[
                    table(
                        rows,
                        caption="From easy to hard",
                        words=["Card", "Fits", "Difficulty", "Edge that decides"],
                    )
                ],
            )
        ],
        limits=[
            "The answers hold for the measures on the cards and for this chart alone.",
            "The people are drawn from a survey and from models of what it did not "
            "measure; no card is a person's record.",
        ],
        sources=["SD of a reading: the kit's table of measures."],
        footer=f"Seed {practice.seed}.",
    )
    return render(page)
