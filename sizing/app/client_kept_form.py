"""The part of the adviser's page that keeps clients, by a reference of her own."""

from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path

import ipywidgets as w
from traitlets import TraitError

from sizing.app.entry import UnitSwitch
from sizing.app.fields import button, folded, row, tick
from sizing.app.form_words import bullets, paragraphs, picture_html, status, wrong_lines
from sizing.charts import SizeChart
from sizing.client.visits import (
    FOLDER,
    HEALTH_RECORDS,
    Visit,
    delete_client,
    keep_visit,
    kept_clients,
    read_visits,
)
from sizing.errors import SizingError
from sizing.measures import written
from sizing.pages.client_answer import visits_shown
from sizing.resources import texts
from sizing.words.client import records
from sizing.words.client_notes import kept_words

_T = texts("client")
_NONE = ("none open", "")


class KeptForm:
    """Clients kept in one folder: open, copy for the next visit, keep, delete.

    ``take`` gives the visit that stands in the form, ``fill`` puts one there. Nothing
    is written before somebody presses a button.
    """

    def __init__(
        self,
        switch: UnitSwitch,
        reference: w.Text,
        day: w.DatePicker,
        *,
        take: Callable[[], Visit],
        fill: Callable[[Visit], None],
        chart: Callable[[], SizeChart | None],
        folder: Path | str = FOLDER,
    ) -> None:
        self.folder, self._switch = Path(folder), switch
        self._take, self._fill, self._chart = take, fill, chart
        #: Chooses a chart by its name; says whether there is one.
        self.choose: Callable[[str], bool] = self._in_use
        self._visits: list[Visit] = []
        self._opened: Visit | None = None
        self.reference, self.day = reference, day
        self.which = w.Dropdown(options=[_NONE], description="Clients kept")
        self.visit = w.Dropdown(options=[_NONE], description="Visit")
        self.sure = tick(_T.kept["sure"])
        self.words, self.list, self.growth = w.HTML(), w.HTML(), w.HTML()
        does = {
            "Open": self.open,
            "Copy for the next visit": self.copy,
            "Keep this visit": self.keep,
            "Delete": self.delete,
        }
        self.buttons = {
            words: button(words, partial(self._try, act)) for words, act in does.items()
        }
        opens, copies, keeps, deletes = self.buttons.values()
        fold = folded(
            "",
            row(self.which, self.visit, opens, copies),
            row(reference, day, keeps),
            self.growth,
            self.list,
            row(self.sure, deletes),
        )
        self.shown: w.ToggleButton = fold.children[0]
        # What was done is said where it is seen with all this hidden, too.
        self.view = w.VBox([fold, self.words])
        self.which.observe(lambda _: self._try(self._days), "value")
        switch.on_change(lambda _: self.follow())
        self._try(self._listed)
        if len(self.which.options) > 1:
            self.shown.value = True

    def _listed(self) -> None:
        """List what is kept, what is due first; the last worked on is ready to open."""
        table = kept_clients(self.folder)
        rows = records(table)
        said = [kept_words(one) for one in rows]
        late = sum(one["due"].startswith("overdue") for one in rows)
        folder = self.folder.resolve()
        where = _T.kept["where"].format(folder=folder, records=HEALTH_RECORDS)
        self.shown.description = _T.kept["head"].format(many=len(rows), late=late)
        self.list.value = (
            f"<details><summary>The list, those due first</summary>{bullets(said)}"
            f"</details>{paragraphs([where])}"
        )
        names = [one["reference"] for one in rows]
        short = [f"{one['reference']} ({one['due'] or 'not read'})" for one in rows]
        self.which.options = [_NONE, *zip(short, names, strict=True)]
        last = table.loc[table["last"], "reference"]
        chosen = self.reference.value or (last.iloc[0] if len(last) else "")
        match = [name for name in names if name.casefold() == chosen.casefold()]
        self.which.value = min(match, key=lambda name: name != chosen, default="")

    def _days(self) -> None:
        self._visits = []
        self.visit.options = [_NONE]
        if self.which.value:
            self._visits = read_visits(self.folder, self.which.value)[::-1]
            days = [one.on.isoformat() for one in self._visits]
            self.visit.options = list(zip(days, range(len(days)), strict=True))
        self.follow()

    def _chosen(self) -> Visit:
        if not self.which.value or not self._visits:
            raise SizingError(_T.kept["choose"])
        return self._visits[int(self.visit.value)]

    def open(self) -> None:
        self._days_again()
        visit = self._opened = self._chosen()
        other = self._choose(visit)
        self._fill(visit)
        self._name(visit.on)
        told = _T.kept["opened"].format(who=self.which.value, day=visit.on)
        self._say([told, *other])

    def copy(self) -> None:
        self._days_again()
        before = self._chosen()
        self._opened = None
        other = self._choose(before)
        self._fill(before.next)
        self._name(date.today())
        age = before.entries.get("age_years")
        was = _T.kept["was"].format(age=age, day=before.on) if age else ""
        told = _T.kept["copied"].format(who=self.which.value, was=was)
        self._say([told, *other])

    def _choose(self, visit: Visit) -> list[str]:
        """Choose the chart of a visit; say so where it is not there."""
        if not visit.chart or self.choose(visit.chart):
            return []
        told = _T.kept["not_yours"].format(chart=visit.chart)
        size = visit.decision.size
        return [told + (_T.kept["size_kept"].format(size=size) if size else "")]

    def keep(self) -> None:
        """Keep what stands in the form; the visit that is open is changed."""
        name = self.reference.value.strip()
        if not name:
            raise SizingError(_T.kept["no_reference"])
        visit = self._take()
        mine = name.casefold() == str(self.which.value).casefold()
        opened = self._opened if mine else None
        change = opened if opened is not None and opened.on == visit.on else None
        path = keep_visit(self.folder, name, visit, instead_of=change)
        self._listed()
        self._days()
        self._opened = next(one for one in self._visits if one.on == visit.on)
        self.visit.value = self._visits.index(self._opened)
        said = "Changed" if change else "Kept"
        self._say([f"{said}: visit of {visit.on.isoformat()}, in {path}."])

    def delete(self) -> None:
        if not self.which.value:
            raise SizingError(_T.kept["choose"])
        if not self.sure.value:
            raise SizingError(_T.kept["tick_first"])
        path = delete_client(self.folder, str(self.which.value))
        self.sure.value, self.reference.value = False, ""
        self._opened = None
        self._listed()
        self._say([f"Deleted for good: {path}."])

    def clear(self) -> None:
        """Close what is open: the next client is another one."""
        self._opened, self.reference.value, self.day.value = None, "", None
        self.which.value = self.words.value = ""

    def follow(self) -> None:
        """Show what changed over the visits, on the chart and in the units in use."""
        self.growth.value, chart = "", self._chart()
        if not self._visits or chart is None:
            return
        say = partial(written, units=self._switch.units)
        words, pictures = visits_shown(self._visits[::-1], chart, say=say)
        drawn = "".join(map(picture_html, pictures))
        head = f"<summary>{_T.kept['over_visits']}</summary>"
        self.growth.value = f"<details>{head}{bullets(words)}{drawn}</details>"

    def _days_again(self) -> None:
        """Read the file anew: it may have changed since it was listed."""
        chosen = self.visit.value
        self._days()
        with suppress(TraitError):
            self.visit.value = chosen

    def _in_use(self, name: str) -> bool:
        chart = self._chart()
        return chart is not None and chart.name == name

    def _name(self, day: date) -> None:
        self.reference.value, self.day.value = str(self.which.value), day

    def _try(self, act: Callable[[], object]) -> None:
        try:
            act()
        except SizingError as error:
            self._say(wrong_lines(error, units=self._switch.units))

    def _say(self, lines: list[str]) -> None:
        self.words.value = status(paragraphs(lines))
