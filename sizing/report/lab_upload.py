"""A button that takes a user's files, and reads them without keeping them."""

import hashlib
import tempfile
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any, TypeVar

import ipywidgets as w

Read = TypeVar("Read")


class UploadBox:
    """A button for a file of the user's own, what was taken, and a way back.

    Parameters
    ----------
    label : str
        What the button says.
    help : str
        What the file should hold; stands beneath.
    multiple : bool
        Whether several files may be chosen at once.
    accept : str
        Endings that the file chooser offers.

    Attributes
    ----------
    box : ipywidgets.FileUpload
    view : ipywidgets.Widget
        The button, the names of what was taken, and a button to take it back.

    Examples
    --------
    >>> upload = UploadBox("My chart", help="One row per size.")
    >>> upload.names, upload.read(len)
    ((), None)
    """

    def __init__(
        self,
        label: str,
        *,
        help: str = "",
        multiple: bool = False,
        accept: str = ".csv,.xlsx",
    ) -> None:
        self._multiple = multiple
        self.box = w.FileUpload(
            accept=accept,
            description=label,
            multiple=multiple,
            layout=w.Layout(width="auto"),
        )
        self._back = w.Button(
            description="Take it back", layout=w.Layout(width="auto", display="none")
        )
        self._back.on_click(lambda _: self.clear())
        self._taken = w.HTML()
        row = w.Box(
            [self.box, self._back, self._taken],
            layout=w.Layout(flex_flow="row wrap", align_items="center"),
        )
        words = [w.HTML(f"<p>{escape(help)}</p>")] if help else []
        self.view = w.VBox([row, *words])
        self.box.observe(lambda _: self._tell(), "value")

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the files taken, without any folder."""
        return tuple(Path(item["name"]).name for item in self.box.value)

    @property
    def key(self) -> str:
        """Text that differs whenever the files' names or content differ."""
        seen = hashlib.sha256()
        for item in self.box.value:
            seen.update(item["name"].encode())
            seen.update(hashlib.sha256(bytes(item["content"])).digest())
        return seen.hexdigest() if self.box.value else ""

    def read(self, reader: Callable[[Path], Read]) -> Any:
        """Return what ``reader`` makes of the file, or None where none was taken.

        Parameters
        ----------
        reader : callable
            Takes the path of a file of the same name; the file is on disk only
            while it is read.

        Returns
        -------
        object
            What the reader returns; a list of that where several may be chosen.

        Raises
        ------
        SizingError
            Whatever the reader finds wrong.
        """
        found = []
        for item in self.box.value:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / Path(item["name"]).name
                path.write_bytes(bytes(item["content"]))
                found.append(reader(path))
        if not found:
            return None
        return found if self._multiple else found[0]

    def on_change(self, what: Callable[[], object]) -> None:
        """Call ``what`` whenever a file is taken or taken back."""
        self.box.observe(lambda _: what(), "value")

    def clear(self) -> None:
        """Forget the files."""
        self.box.value = ()

    def _tell(self) -> None:
        self._taken.value = escape(", ".join(self.names))
        self._back.layout.display = None if self.box.value else "none"
