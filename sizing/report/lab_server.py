"""What the lab's server does besides serving: it saves, and keeps a kernel ready.

The server loads this module from the lab's settings. A page waits for its kernel to
start and to load the kit, which takes seconds of work; so one kernel that has done
both stands ready, and the next is prepared once the page has its answers. While it
waits it works out the first answers of the pages where they take long (lab_ahead.py).
"""

import asyncio
from collections import defaultdict
from contextlib import suppress
from pathlib import PurePath
from typing import Any

from jupyter_server.services.kernels.connection.channels import (
    ZMQChannelsWebsocketConnection,
)
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from tornado.ioloop import IOLoop
from tornado.web import HTTPError
from traitlets import TraitError

from sizing.report.lab_ahead import PAGES

_FORM = "application/vnd.jupyter.widget-view+json"
_START_PAGE = "start.ipynb"
#: Seconds that a page gets to begin its work.
_START = 6.0
#: Seconds between two looks at whether the pages still work, and how many at most: a
#: page that was left while its kernel started seems to work for ever.
_LOOK, _LOOKS = 1.0, 60
#: Seconds after which working ahead is given up.
_AHEAD = 300.0
#: Kernels that work ahead in one run of the lab: the first page opened, and the next.
#: More would cost a laptop more work than they spare it.
_WORKERS = 2


def without_forms(model: dict[str, Any], **_: Any) -> None:
    """Leave the forms out of a notebook that is about to be saved.

    A saved form is an empty frame: what it showed lives in the running notebook
    only. Pictures, tables and words that cells have shown are saved as they are.

    Parameters
    ----------
    model : dict
        What JupyterLab is about to save; changed in place.

    Examples
    --------
    >>> cell = {"cell_type": "code", "outputs": [{"data": {_FORM: {}}}, {"data": {}}]}
    >>> without_forms({"type": "notebook", "content": {"cells": [cell]}})
    >>> cell["outputs"]
    [{'data': {}}]
    """
    if model.get("type") != "notebook" or not model.get("content"):
        return
    notebook = model["content"]
    for cell in notebook.get("cells", []):
        if cell.get("cell_type") == "code":
            shown = cell.get("outputs", [])
            cell["outputs"] = [o for o in shown if _FORM not in o.get("data", {})]
    notebook.get("metadata", {}).pop("widgets", None)


class Kernels(AsyncMappingKernelManager):
    """The pages' kernels, one of which stands ready before a page asks for it.

    The model of a kernel also says which pages have it ``open`` and which have ever
    ``seen`` it: a page that is opened again takes a fresh one (lab_extension.js)
    instead of waiting for what it left behind.
    """

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.open: defaultdict[str, set[str]] = defaultdict(set)
        self.seen: defaultdict[str, set[str]] = defaultdict(set)
        self._ready: str | None = None
        self._preparing = False
        #: Pages that nobody has opened yet, how many kernels may still work out
        #: their first answers, and the page in work.
        self._coming = list(PAGES)
        self._workers = _WORKERS
        self._ahead: str | None = None
        IOLoop.current().add_callback(self._prepare)

    async def _async_start_kernel(
        self, *, kernel_id: str | None = None, path: Any = None, **options: Any
    ) -> str:
        """Return the kernel that stands ready, or start one."""
        wanted = (kernel_id, options.get("kernel_name") or self.default_kernel_name)
        here = path is None or self.cwd_for_path(path) == self.root_dir
        page = (options.get("env") or {}).get("JPY_SESSION_NAME", "")
        # The start page works nothing out: what stands ready is for the next one.
        fits = here and not page.endswith(_START_PAGE)
        if fits and wanted == (None, self.default_kernel_name):
            ready, self._ready = self._ready, None
            opened = PurePath(page).stem
            self._coming = [other for other in self._coming if other != opened]
            if ready is not None and self._ahead not in (None, opened):
                # Its page does not wait for another page's answer.
                working: Any = self.get_kernel(ready)
                await working.interrupt_kernel()
            IOLoop.current().call_later(_START, self._prepare)
            if ready is not None and ready in self and await self.is_alive(ready):
                return ready
        return await super()._async_start_kernel(
            kernel_id=kernel_id, path=path, **options
        )

    # The server calls it by this name.
    start_kernel = _async_start_kernel  # type: ignore[assignment]

    async def _prepare(self) -> None:
        """Start a kernel to stand ready, when no page works any more."""
        if self._preparing or self._ready is not None:
            return
        self._preparing = True
        try:
            for _ in range(_LOOKS):
                if not any(map(self._works, self.list_kernel_ids())):
                    break
                await asyncio.sleep(_LOOK)
            self._ready = await super()._async_start_kernel()
        finally:
            self._preparing = False
        await self._work_ahead(self._ready)

    async def _work_ahead(self, kernel_id: str) -> None:
        """Have the kernel that stands ready work, until a page takes it."""
        coming = list(self._coming)
        if not coming or not self._workers:
            return
        self._workers -= 1
        client = self.get_kernel(kernel_id).client()
        client.start_channels()
        try:
            while coming and self._ready == kernel_id:
                self._ahead = coming.pop(0)
                code = "from sizing.report.lab_ahead import work_ahead\n"
                code += f"work_ahead({self._ahead!r})\ndel work_ahead"
                # What fails will tell its reason on its page.
                await client.execute(code, silent=True, reply=True, timeout=_AHEAD)
        except TimeoutError:
            self._workers = 0
        finally:
            self._ahead = None
            client.stop_channels()

    def _works(self, kernel_id: str) -> bool:
        state = getattr(self.get_kernel(kernel_id), "execution_state", None)
        return state in ("starting", "busy")

    def list_kernels(self) -> list[dict[str, Any]]:
        """Return the kernels that pages have."""
        found = []
        for kernel_id in self.list_kernel_ids():
            # One that is just being started, or has ended, has nothing to tell.
            with suppress(HTTPError, KeyError, TraitError):
                if kernel_id != self._ready:
                    found.append(self.kernel_model(kernel_id))
        return found

    def kernel_model(self, kernel_id: str) -> dict[str, Any]:
        """Return what there is to say of a kernel."""
        pages = {"open": self.open[kernel_id], "seen": self.seen[kernel_id]}
        told: dict[str, Any] = super().kernel_model(kernel_id)
        return told | {k: sorted(v) for k, v in pages.items()}

    async def cull_kernel_if_idle(self, kernel_id: str) -> None:
        """End a kernel that no page has open any more."""
        if kernel_id != self._ready:
            await super().cull_kernel_if_idle(kernel_id)


class Connection(ZMQChannelsWebsocketConnection):
    """A page's line to its kernel, which tells the kernels who is there.

    The server's own count goes wrong by a page that is left before its line is up.
    """

    def connect(self) -> Any:
        """Open the line."""
        kernels, page = self.multi_kernel_manager, self.session.session
        kernels.open[self.kernel_id].add(page)
        kernels.seen[self.kernel_id].add(page)
        return super().connect()

    def disconnect(self) -> None:  # type: ignore[override]
        """Close the line."""
        kernels = self.multi_kernel_manager
        kernels.open[self.kernel_id].discard(self.session.session)
        super().disconnect()
        if self.kernel_id in kernels:
            kernels._kernel_connections[self.kernel_id] = len(
                kernels.open[self.kernel_id]
            )
