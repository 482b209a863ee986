"""The pages' server: the notebooks that came with this install, and nothing else.

What is entered in a page lives in the memory of its kernel alone. A visit has a name in
its address: whoever reloads the page finds the same kernel, with everything entered.
"""

import asyncio
import logging
import os
import secrets
import sys
import time
from collections import deque
from collections.abc import AsyncIterator
from importlib import import_module
from pathlib import Path
from typing import Any

import nbformat
from jupyter_server.auth.decorator import allow_unauthenticated
from jupyter_server.base.handlers import JupyterHandler
from tornado.ioloop import IOLoop
from tornado.web import HTTPError, RedirectHandler, RequestHandler, authenticated
from traitlets.config import Config
from voila.app import Voila
from voila.handler import BaseVoilaHandler
from voila.notebook_renderer import NotebookRenderer
from voila.paths import collect_static_paths, collect_template_paths
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler
from voila.utils import get_page_config

from sizing.app.guard import OneToken
from sizing.app.serve import HOST, LOADS, START, notebook_files

#: The pages with a kernel, and what a kernel that waits for one has loaded.
PAGES = tuple(
    f"{name}.ipynb"
    for name in ("adviser", "purchaser", "trainer", "trials", "study", "bands")
)
_LOADED = "client_form own_chart_form stock_form lesson_form study_form trials_form"
TEMPLATE = Path(__file__).with_name("template")
#: Seconds for which a page that was closed can be gone back to, how many such pages
#: there may be at once (each holds some hundred MB), and seconds between two looks.
_STAYS, _MOST_LEFT, _LOOK = 1800.0, 2, 10.0
_SPARE = 2  # kernels that wait for whichever page is asked for
_MOMENT = 0.02  # seconds between two looks at whether more of a page is made
_WIDGETS = ["@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8"]
#: Of what the server could serve, all that a page needs.
_NEEDED = ("templates/", "static/", "labextensions/", "api/themes/")
#: Nothing on a page may ask another host, whatever is in it.
_POLICY = (
    "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
    "connect-src 'self' ws://{host}:{port}; frame-ancestors 'none'; form-action 'none'"
)
_SORRY = (
    '<p role="alert"><b>This page could not be made.</b> Choose "Clear this page" at '
    "its top to try again.</p>"
)
_NOT_SHOWN = (
    '<!DOCTYPE html><html lang="en-GB"><title>Not shown</title><h1>Not shown ({})</h1>'
    "<p>This page is shown to whoever started it only. Open the address that the "
    "window with the program names, as a whole.</p>"
)


class Visit:
    """One page as it is made: what there is of it, and the kernel that runs it."""

    def __init__(self, page: str) -> None:
        self.page, self.kernel = page, ""
        self.made, self.there = False, list[str]()
        self.maker: asyncio.Future[None] | None = None
        #: Since when nobody is known to have it open.
        self.left: float | None = time.monotonic()

    async def parts(self) -> AsyncIterator[str]:
        """Give all parts, those to come as they come, to whoever asks."""
        given = 0
        while given < len(self.there) or not self.made:
            if new := self.there[given:]:
                given += len(new)
                yield "".join(new)
            await asyncio.sleep(_MOMENT)


class Pages(Voila):
    """The server. Its settings are given where it is made; no file is read for any."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.folder = ""
        self.visits: dict[str, Visit] = {}
        self._spare: deque[asyncio.Future[str]] = deque()

    def load_config_file(self, *_: Any, **__: Any) -> None:
        """Read no settings: none is anybody's to change."""

    def setup_template_dirs(self) -> None:
        kinds = ["voila", "nbconvert"]
        paths = collect_template_paths(kinds, "lab", prune=True)
        self.template_paths = [str(TEMPLATE), *paths]
        self.static_paths = collect_static_paths(kinds, "lab")

    def init_handlers(self) -> list[Any]:
        needed = [
            handler
            for handler in super().init_handlers()
            if any(f"/voila/{part}" in str(handler[0]) for part in _NEEDED)
        ]
        names = "|".join((START, *PAGES)).replace(".", r"\.")
        kernel = r"/api/kernels/(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"
        settings = {"voila_configuration": self.voila_configuration}
        for work in (self._keep_spare, self._end_what_was_left):
            IOLoop.current().add_callback(work)
        return [
            *needed,
            (kernel, Model),
            (f"{kernel}/channels", VoilaKernelWebsocketHandler),
            (r"/voila/api/shutdown/.*", Left),
            (rf"/pages/({names})", Page, settings),
            (r"/(?:pages/?)?", RedirectHandler, {"url": f"/pages/{START}"}),
        ]

    def claim(self, page: str) -> str:
        name = secrets.token_urlsafe(9)
        visit = self.visits[name] = Visit(page)
        # Whoever makes it is kept with it: what nobody holds may be ended midway.
        visit.maker = asyncio.ensure_future(self._make(visit))
        return name

    def visit(self, name: str, page: str) -> Visit | None:
        found = self.visits.get(name)
        if found is None or found.page != page:
            return None
        gone = found.made and found.kernel not in self.kernel_manager
        return None if gone else found

    def is_open(self, visit: Visit) -> bool:
        """Say whether a browser has a line to the kernel of a page."""
        there = visit.kernel in self.kernel_manager
        known = self.kernel_manager.kernel_model(visit.kernel) if there else {}
        return bool(known.get("connections"))

    async def forget(self, name: str) -> None:
        visit = self.visits.pop(name, None)
        while visit is not None and not visit.made:
            await asyncio.sleep(_MOMENT)
        if visit is not None and visit.kernel in self.kernel_manager:
            await self.kernel_manager.shutdown_kernel(visit.kernel, now=True)

    def renderer(self, page: str) -> NotebookRenderer:
        both = {
            "base_url": self.base_url,
            "voila_configuration": self.voila_configuration,
        }
        given = {"settings": self.app.settings, "log": self.log}
        return NotebookRenderer(
            traitlet_config=self.config,
            notebook_path=page,
            template_paths=self.template_paths,
            config_manager=self.config_manager,
            contents_manager=self.contents_manager,
            kernel_spec_manager=self.kernel_spec_manager,
            page_config=get_page_config(**both, **given),
            **both,
        )

    async def _make(self, visit: Visit) -> None:
        try:
            renderer = self.renderer(visit.page)
            await renderer.initialize()
            waited = await self._spare.popleft() if self._spare else ""
            there = waited in self.kernel_manager
            visit.kernel = waited if there else await self._started()
            manager = self.kernel_manager.get_kernel(visit.kernel)
            made = renderer.generate_content_generator(visit.kernel, manager)
            async for part, _ in made:
                visit.there.append(part)
        except Exception:
            self.log.exception("%s could not be made", visit.page)
            visit.there.append(_SORRY)
        finally:
            visit.made = True
            self._keep_spare()

    def _keep_spare(self) -> None:
        """Start kernels that wait for a page, when nobody waits for another."""
        if all(visit.made for visit in self.visits.values()):
            while len(self._spare) < _SPARE:
                self._spare.append(asyncio.ensure_future(self._started()))

    async def _started(self) -> str:
        # Its cells run in the folder in which what is saved will lie.
        where = {"kernel_name": "python3", "cwd": self.folder}
        return str(await self.kernel_manager.start_kernel(**where))

    async def _end_what_was_left(self) -> None:
        """End visits whose page was closed long ago, and all but the latest few."""
        while True:
            await asyncio.sleep(_LOOK)
            now, left = time.monotonic(), []
            for name, visit in self.visits.items():
                if self.is_open(visit) or not visit.made:
                    visit.left = None
                else:
                    visit.left = visit.left or now
                    left.append((visit.left, name))
            for place, (since, name) in enumerate(sorted(left, reverse=True)):
                if place >= _MOST_LEFT or now - since > _STAYS:
                    await self.forget(name)


class Page(BaseVoilaHandler):
    @allow_unauthenticated
    async def get(self, page: str) -> None:
        if not self.current_user:
            raise HTTPError(403)
        app: Pages = self.settings["voila"]
        self.set_header("Cache-Control", "no-store")
        self.set_header("Referrer-Policy", "same-origin")
        if page == START and self.get_argument("token", ""):
            # It stands in no history, and is in the cookie by now.
            self.redirect(START)
        elif page == START:
            self.finish(await _without_kernel(app.renderer(page)))
        elif (visit := app.visit(self.get_argument("visit", ""), page)) is None:
            await app.forget(self.get_argument("instead", ""))
            self.redirect(f"{page}?visit={app.claim(page)}")
        else:
            async for part in visit.parts():
                self.write(part)
                await self.flush()

    def write_error(self, status_code: int, **_: Any) -> None:
        self.finish(_NOT_SHOWN.format(status_code))


class Model(JupyterHandler):
    """Tells a page what its kernel is; it can neither start nor end one."""

    @authenticated
    async def get(self, kernel_id: str) -> None:
        if kernel_id not in self.kernel_manager:
            raise HTTPError(404)
        told = self.kernel_manager.kernel_model(kernel_id)
        self.finish({"id": kernel_id, "name": told["name"]})


class Left(RequestHandler):
    """Keeps the kernel of a page that is left: it may be gone back to."""

    async def post(self) -> None:
        self.set_status(204)


async def _without_kernel(renderer: NotebookRenderer) -> str:
    """Return the start page; its cells call a function of ``show``, as is done here."""
    await renderer.initialize()
    show = import_module("sizing.app.show")

    async def cells(nb: Any, kernel: str) -> AsyncIterator[Any]:
        for cell in nb.cells:
            if cell.cell_type == "code":
                called = cell.source.split("\n")[-1].removesuffix("()")
                html = {"text/html": getattr(show, called)().data}
                cell.outputs = [nbformat.v4.new_output("display_data", html)]
            yield cell

    async def no_kernel(nb: Any) -> str:
        return ""

    made = renderer.exporter.generate_from_notebook_node(
        renderer.notebook,
        resources=renderer.resources,
        extra_context={
            "kernel_start": no_kernel,
            "cell_generator": cells,
            "frontend": "voila",
        },
        page_config=renderer.page_config,
    )
    return "".join([part async for part, _ in made])


def main(port: str, folder: str) -> None:
    """Serve at a port, until stopped; what is saved goes to a folder."""
    policy = _POLICY.format(host=HOST, port=port)
    look = {"theme": "light", "template": "lab", "extension_allowlist": _WIDGETS}
    fixed = dict.fromkeys(("allow_template_override", "allow_theme_override"), "NO")
    ends = {"shutdown_wait_time": 2.0}
    os.environ[LOADS] = " ".join(f"sizing.app.{name}" for name in _LOADED.split())
    app = Pages.instance(
        config=Config({"VoilaConfiguration": look | fixed, "KernelManager": ends}),
        ip=HOST,
        port=int(port),
        port_retries=0,
        open_browser=False,
        root_dir=str(Path(str(notebook_files()[START])).parent),
        # The token comes from OneToken.
        auto_token=True,
        identity_provider_class=OneToken,
        tornado_settings={
            "headers": {"Content-Security-Policy": policy},
            "allow_remote_access": False,
            "local_hostnames": [HOST],
            "allow_unauthenticated_access": False,
        },
        log_level=logging.WARNING,
    )
    app.folder = folder
    app.initialize([])
    app.start()


if __name__ == "__main__":
    main(*sys.argv[1:])
