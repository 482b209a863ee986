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


def app_with(names):
    app = Pages.__new__(Pages)
    app.kernel_manager = Kernels(names)
    app.visits = {name: Visit("adviser.ipynb") for name in names}
    for name, visit in app.visits.items():
        visit.kernel, visit.made = name, True
    return app


def look(app, monkeypatch, clock, lines=""):
    """Let the server look once for pages that were left; some are on a line."""

    async def asleep(seconds):
        if left.pop():
            raise asyncio.CancelledError

    left, app.kernel_manager.lines = [True, False], frozenset(lines)
    monkeypatch.setattr(server, "asyncio", SimpleNamespace(sleep=asleep))
    monkeypatch.setattr(server, "time", SimpleNamespace(monotonic=lambda: clock))
    with contextlib.suppress(asyncio.CancelledError):
        asyncio.run(app._end_what_was_left())
    return set(app.visits)


def test_of_pages_that_were_left_the_latest_few_stay_for_a_while(monkeypatch):
    app, stays = app_with("abcd"), server._STAYS
    for name, since in zip("abc", (1.0, 2.0, 3.0), strict=True):
        app.visits[name].left = since
    assert look(app, monkeypatch, 10.0, "d") == {*"bcd"} == app.kernel_manager
    assert look(app, monkeypatch, stays + 2.5, "d") == {*"cd"}
    # A page that is gone back to is not ended.
    app = app_with("a")
    for clock, lines in ((0.0, ""), (stays * 2, "a"), (stays * 3, "")):
        assert look(app, monkeypatch, clock, lines) == {"a"}


def test_a_visit_belongs_to_its_page_and_ends_with_its_kernel():
    app = app_with("a")
    assert app.visit("a", "adviser.ipynb") is app.visits["a"]
    assert app.visit("a", "study.ipynb") is app.visit("", "adviser.ipynb") is None
    app.kernel_manager.clear()
    assert app.visit("a", "adviser.ipynb") is None


def test_every_page_but_the_start_has_a_kernel_and_what_it_loads_is_there():
    assert {*PAGES, server.START} == set(server.notebook_files())
    assert all(find_spec(f"sizing.app.{name}") for name in server._LOADED.split())
