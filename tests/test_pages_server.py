"""The pages' server: this machine and the kit's pages alone, visits kept."""

import asyncio
import contextlib
import json
import re
from importlib.util import find_spec
from types import SimpleNamespace

from sizing.app import server
from sizing.app.server import PAGES, Pages, Visit


def test_the_start_page_stands_without_a_kernel_and_may_ask_nobody_else(lab):
    status, page, answer = lab.ask("pages/start.ipynb")
    assert status == 200 and '<html lang="en-GB">' in page
    assert "<title>Who are you today?</title>" in page
    assert '"kernelId": ""' in page and 'src="http' not in page
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "http" not in policy


def test_who_has_no_token_is_shown_nothing_and_only_the_pages_are_served(lab):
    for path in (
        "pages/start.ipynb",
        "pages/adviser.ipynb",
        "pages/bands.ipynb?visit=",
    ):
        for token in (None, "guessed", "known"):
            status, words, _ = lab.ask(path, token)
            assert status == 403 and "Open the address" in words
    assert lab.ask(f"api/kernels/{'-'.join(['a'] * 5)}", None)[0] in (403, 404)
    for path in (
        *("voila/render/adviser.ipynb", "voila/tree", "voila/api/contents"),
        *("voila/files/start.ipynb", "api/contents", "api/terminals"),
        *("pages/other.ipynb", "pages/..%2Fstart.ipynb", "pages/mailed.ipynb"),
    ):
        assert lab.ask(path)[0] == 404, path
    assert lab.heard() == {"127.0.0.1"}


def test_a_visit_keeps_its_kernel_and_another_has_its_own(lab):
    def kernel(path):
        _, page, answer = lab.ask(path.removeprefix(lab.base))
        assert "could not be made" not in page and "sizing-form" in page
        return json.loads(re.search(r'"kernelId": ("[^"]+")', page)[1]), answer.url

    first, visit = kernel("pages/adviser.ipynb")
    assert "?visit=" in visit
    assert kernel(visit)[0] == first
    name = visit.partition("visit=")[2]
    fresh, where = kernel(f"pages/adviser.ipynb?instead={name}")
    assert fresh != first and name not in where
    assert kernel(visit)[0] not in (first, fresh)


def test_a_visit_gives_its_parts_as_they_come_to_whoever_asks_whenever():
    async def scene():
        visit = Visit("adviser.ipynb")
        visit.there.append("a")

        async def read():
            return "".join([part async for part in visit.parts()])

        early = asyncio.ensure_future(read())
        await asyncio.sleep(0)
        visit.there.append("b")
        visit.made = True
        return await early, await read()

    assert asyncio.run(scene()) == ("ab", "ab")


class Kernels(set):
    """Kernels that are ended when told so; those in ``lines`` are on a page."""

    lines = frozenset()

    def kernel_model(self, kernel_id):
        return {"connections": int(kernel_id in self.lines)}

    async def shutdown_kernel(self, kernel_id, now):
        self.discard(kernel_id)


def app_with(visits, lines=()):
    app = Pages.__new__(Pages)
    app.visits = {}
    app.kernel_manager = Kernels(visits)
    app.kernel_manager.lines = frozenset(lines)
    for name in visits:
        visit = Visit("adviser.ipynb")
        visit.kernel = name
        visit.made = True
        app.visits[name] = visit
    return app


def look(app, monkeypatch, *, times, clock):
    looks = iter(range(times))

    async def asleep(seconds):
        try:
            next(looks)
        except StopIteration:
            raise asyncio.CancelledError from None

    monkeypatch.setattr(server, "asyncio", SimpleNamespace(sleep=asleep))
    monkeypatch.setattr(server, "time", SimpleNamespace(monotonic=lambda: clock))
    with contextlib.suppress(asyncio.CancelledError):
        asyncio.run(app._end_what_was_left())


def test_of_pages_that_were_left_the_latest_few_stay_for_a_while(monkeypatch):
    app = app_with(list("abcd"), lines=["d"])
    for name, since in zip("abc", (1.0, 2.0, 3.0), strict=True):
        app.visits[name].left = since
    look(app, monkeypatch, times=1, clock=10.0)
    assert set(app.visits) == {"b", "c", "d"} == app.kernel_manager
    look(app, monkeypatch, times=1, clock=server._STAYS + 2.5)
    assert set(app.visits) == {"c", "d"}


def test_a_page_that_is_gone_back_to_is_not_ended(monkeypatch):
    app = app_with(["a"])
    look(app, monkeypatch, times=1, clock=0.0)
    app.kernel_manager.lines = {"a"}
    look(app, monkeypatch, times=1, clock=server._STAYS * 2)
    app.kernel_manager.lines = frozenset()
    look(app, monkeypatch, times=1, clock=server._STAYS * 3)
    assert set(app.visits) == {"a"}


def test_a_visit_belongs_to_its_page_and_ends_with_its_kernel():
    app = app_with(["a"])
    assert app.visit("a", "adviser.ipynb") is app.visits["a"]
    assert app.visit("a", "study.ipynb") is None
    assert app.visit("", "adviser.ipynb") is None
    app.kernel_manager.clear()
    assert app.visit("a", "adviser.ipynb") is None


def test_what_a_waiting_kernel_loads_is_there():
    assert all(find_spec(f"sizing.app.{name}") for name in server._LOADED.split())


def test_every_page_but_the_start_has_a_kernel():
    assert {*PAGES, server.START} == set(server.notebook_files())
