"""The notebook's form for one client, and the note that comes of it."""

from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w

from sizing.cautions import cautions
from sizing.chart import SizeChart, demo_chart
from sizing.client import (
    HOW,
    ClientAnswer,
    check_client,
    client_from,
    suggested_allowances,
)
from sizing.client.allowances import allowance_table
from sizing.client.stature import KNEE_EQUATIONS, segments
from sizing.client.words import summary_lines
from sizing.errors import SizingError
from sizing.measures import MEASURES, vocabulary
from sizing.plots.client import plot_chances, plot_margins
from sizing.report.client_note import Decision, HandlingNote, client_note
from sizing.report.page import picture

_WIDE = w.Layout(width="34rem")
_NARROW = w.Layout(width="26rem")
_LABEL = {"description_width": "15rem"}


def escape(text: str) -> str:
    """Return text that may stand in HTML.

    Examples
    --------
    >>> escape("a < b")
    'a &lt; b'
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def paragraphs(lines: list[str]) -> str:
    """Return lines as paragraphs of HTML."""
    return "".join(f"<p style='margin:.3em 0'>{escape(line)}</p>" for line in lines)


def said(error: SizingError) -> str:
    """Return what an error says as HTML."""
    return paragraphs(str(error).splitlines())


def framed(page: str) -> str:
    """Return a whole page in a frame of its own, so that its style stays inside."""
    text = page.replace("&", "&amp;").replace('"', "&quot;")
    style = "width:100%;height:50rem"
    return f'<iframe title="The page" srcdoc="{text}" style="{style}"></iframe>'


class ClientForm:
    """A form: enter what is known, read the answer, write the note.

    Parameters
    ----------
    chart : SizeChart, optional
        The invented demo chart if not given; replaced by ``use_chart``.

    Attributes
    ----------
    view : ipywidgets widget
        The form.
    answer : ClientAnswer or None
        The last answer.
    note : HandlingNote or None
        The last note; it is kept in memory only.
    """

    def __init__(self, chart: SizeChart | None = None) -> None:
        self.chart = chart or demo_chart()
        self.answer: ClientAnswer | None = None
        self.note: HandlingNote | None = None
        self.about = w.HTML()
        self.sex = w.Dropdown(
            options=[("not stated", ""), ("female", "female"), ("male", "male")],
            description="Sex",
            style=_LABEL,
            layout=_NARROW,
        )
        self.age = w.Text(
            description="Age, years", placeholder="74", style=_LABEL, layout=_NARROW
        )
        words = vocabulary().set_index("name")
        self.values: dict[str, w.Text] = {}
        self.ways: dict[str, w.Dropdown] = {}
        for name in (*MEASURES, *segments()):
            label = name.rsplit("_", 1)[0].replace("_", " ").capitalize()
            if name in words.index:
                label = str(words.loc[name, "label"])
            unit = name.rsplit("_", 1)[1]
            self.values[name] = w.Text(
                description=f"{label}, {unit}",
                placeholder="not taken",
                style=_LABEL,
                layout=w.Layout(width="24rem"),
            )
            if name in MEASURES:
                heavy = name == "body_mass_kg"
                ways = [h for h in HOW if heavy or h not in ("scale", "hoist scale")]
                if heavy:
                    ways = [h for h in ways if not h.startswith("tape")]
                # A label of its own names the choice to a screen reader too.
                self.ways[name] = w.Dropdown(
                    options=ways,
                    description="how",
                    style={"description_width": "2.5rem"},
                    layout=w.Layout(width="11.5rem"),
                )
        self.knee = w.Dropdown(
            options=list(KNEE_EQUATIONS),
            description="Knee-height equation",
            style=_LABEL,
        )
        self.loads = {
            part: w.Text(
                description=f"{part.capitalize()}, kg",
                placeholder="from its label",
                style=_LABEL,
            )
            for part in ("hoist", "spreader bar", "sling")
        }
        self.fabric = w.Checkbox(
            description="The chart states the fabric's own lengths, so use these:",
            layout=_WIDE,
            indent=False,
        )
        table = allowance_table()
        self.allowances = {
            row["key"]: w.FloatText(
                value=suggested_allowances()[row["key"]],
                description=f"{row['label']}, cm",
                style={"description_width": "30rem"},
                layout=w.Layout(width="38rem"),
            )
            for _, row in table.iterrows()
        }
        self.confirmed = w.Checkbox(
            description="I measured again what looks wrong; it is right",
            layout=_WIDE,
            indent=False,
        )
        self.go = w.Button(description="Check", button_style="")
        self.out = w.HTML()
        self.go.on_click(lambda _: self.check())
        self._decision_fields()
        self.view = self._layout()
        self.use_chart(self.chart)
        for box in (
            *self.values.values(),
            *self.ways.values(),
            *self.loads.values(),
            *self.allowances.values(),
            *(self.sex, self.age, self.knee, self.fabric, self.confirmed),
        ):
            box.observe(lambda _: self._forget(), "value")

    def _decision_fields(self) -> None:
        wide = partial(w.Text, style=_LABEL, layout=_WIDE)
        self.size = w.Dropdown(
            options=["", *self.chart.sizes],
            description="Size chosen",
            style=_LABEL,
            layout=_NARROW,
        )
        self.texts = {
            "reason": wide(description="Why this size"),
            "shoulders": wide(description="Attachment at the shoulders"),
            "legs": wide(description="Attachment at the legs"),
            "positions_reason": wide(description="Why these positions"),
            "reference": wide(description="File number (no name)"),
            "remarks": wide(description="Remarks"),
        }
        self.on = w.DatePicker(description="Assessed on", style=_LABEL, layout=_NARROW)
        self.review = w.DatePicker(
            description="Review on", style=_LABEL, layout=_NARROW
        )
        self.write = w.Button(description="Show the note")
        self.path = w.Text(
            description="Save as", placeholder="note.html or note.md", style=_LABEL
        )
        self.save = w.Button(description="Save")
        self.note_out = w.HTML()
        self.write.on_click(lambda _: self.show_note())
        self.save.on_click(lambda _: self.save_note())

    def _layout(self) -> w.Widget:
        rows = [w.HBox([self.values[name], self.ways[name]]) for name in MEASURES]
        cannot_stand = w.Accordion(
            [w.VBox([self.values[name] for name in segments()] + [self.knee])],
            titles=["Cannot stand? Lengths from which stature is estimated"],
        )
        more = w.Accordion(
            [
                w.VBox(list(self.loads.values())),
                w.VBox([self.fabric, *self.allowances.values()]),
            ],
            titles=[
                "Load limits of the other parts",
                "Allowances between body and fabric (common practice, no source)",
            ],
        )
        first = w.VBox(
            [
                self.about,
                self.sex,
                self.age,
                *rows,
                cannot_stand,
                more,
                self.confirmed,
                self.go,
                self.out,
            ]
        )
        note = w.Accordion(
            [
                w.VBox(
                    [
                        self.size,
                        *self.texts.values(),
                        self.on,
                        self.review,
                        self.write,
                        self.note_out,
                        w.HBox([self.path, self.save]),
                    ]
                )
            ],
            titles=["The note for the handling plan"],
        )
        return w.VBox([first, note])

    def use_chart(self, chart: SizeChart) -> None:
        """Check clients against this chart from now on."""
        self.chart = chart
        self._forget()
        self.size.options = ["", *chart.sizes]
        self.about.value = (
            f"<p>Chart in use: <b>{escape(chart.name)}</b>. Leave empty what is not "
            "known. Nothing is kept or sent.</p>"
        )

    def _forget(self) -> None:
        """Take back an answer that what was entered, or the chart, no longer gives."""
        if self.answer is None and self.note is None:
            return
        self.answer = self.note = None
        self.out.value = paragraphs(["Something was changed: check the client again."])
        self.note_out.value = ""

    def entries(self) -> tuple[dict[str, Any], dict[str, str]]:
        """Return what was entered, and how each value was come by."""
        told = {name: box.value for name, box in self.values.items()}
        told |= {"sex": self.sex.value, "age_years": self.age.value}
        told = {name: value.strip() for name, value in told.items()}
        told = {name: value for name, value in told.items() if value}
        how = {name: self.ways[name].value for name in told if name in self.ways}
        return told, how

    def check(self) -> None:
        """Check the client, or say what looks wrong before naming any size."""
        self.answer = None
        try:
            told, how = self.entries()
            client = client_from(
                told,
                how=how,
                knee_equation=self.knee.value,
                confirmed=self.confirmed.value,
            )
            self.answer = check_client(
                self.chart,
                client,
                loads=self._loads(),
                allowances=self._allowances(),
                confirmed=self.confirmed.value,
            )
        except SizingError as error:
            self.out.value = "<b>Before any size is named:</b>" + said(error)
            return
        self.out.value = answer_html(self.answer)

    def _loads(self) -> dict[str, float]:
        found = {}
        for part, box in self.loads.items():
            if box.value.strip():
                try:
                    found[part] = float(box.value)
                except ValueError:
                    raise SizingError(
                        f"The load limit of the {part} is no number: {box.value!r}. "
                        "What to do: write kilograms, with a point for decimals."
                    ) from None
        return found

    def _allowances(self) -> dict[str, float]:
        if not self.fabric.value:
            return {}
        return {key: float(box.value) for key, box in self.allowances.items()}

    def make_note(self) -> HandlingNote:
        """Return the note for the last answer.

        Raises
        ------
        SizingError
            If no client was checked, or what was decided cannot be.
        """
        if self.answer is None:
            raise SizingError("Check the client first.")
        texts = {name: box.value for name, box in self.texts.items()}
        decision = Decision(
            size=self.size.value or "", review_on=self.review.value, **texts
        )
        on: date | None = self.on.value
        return client_note(self.answer, decision, on=on)

    def show_note(self) -> None:
        """Show the note under the form."""
        try:
            self.note = self.make_note()
        except SizingError as error:
            self.note_out.value = said(error)
            return
        self.note_out.value = framed(self.note.html())

    def save_note(self) -> None:
        """Save the note where the user says; nowhere else and not before."""
        try:
            path = save_text(self.path.value, self.make_note())
        except SizingError as error:
            self.note_out.value = said(error)
            return
        self.note_out.value = paragraphs([f"Saved: {path}"])


def save_text(name: str, note: HandlingNote) -> str:
    """Write the note as the ending of its file name says.

    Raises
    ------
    SizingError
        If the name ends otherwise, the folder does not exist, or a file of that
        name does.
    """
    path = Path(name.strip())
    if path.suffix not in (".html", ".md"):
        raise SizingError("Name the file so that it ends in .html or .md.")
    if not path.parent.is_dir():
        raise SizingError(f"There is no folder '{path.parent}': make it first.")
    if path.exists():
        raise SizingError(f"There is a file '{path}' already: choose another name.")
    text = note.html() if path.suffix == ".html" else note.markdown()
    path.write_text(text, encoding="utf-8")
    return str(path)


def answer_html(answer: ClientAnswer) -> str:
    """Return an answer with its pictures as HTML for a notebook."""
    lines = summary_lines(answer)
    labels = dict(
        zip(answer.measures["measure"], answer.measures["label"], strict=True)
    )
    size = str(answer.first["size"])
    rows = answer.margins[answer.margins["size"] == size]
    drawn = [
        picture(
            plot_chances(answer.sizes).figure,  # type: ignore[arg-type]
            alt="Chance of each size",
            caption="Chance that every measure fits, with its Monte Carlo interval.",
        ),
        picture(
            plot_margins(rows, labels=labels).figure,  # type: ignore[arg-type]
            alt=f"Each measure between the edges of {size}",
            caption=f"Where each measure lies between the edges of {size}.",
        ),
    ]
    parts = [f"<p style='font-size:1.15em'><b>{escape(lines[0])}</b></p>"]
    parts.append(paragraphs(lines[1:]))
    for one in drawn:
        parts.append(
            f"<figure><img src='data:image/png;base64,{one.base64}' "
            f"alt='{escape(one.alt)}' style='max-width:100%'><figcaption>"
            f"{escape(one.caption)}</figcaption></figure>"
        )
    parts.append("<p><b>Before any lift</b></p>")
    parts.append(paragraphs(list(cautions())))
    return "".join(parts)
