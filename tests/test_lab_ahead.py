"""First answers worked out ahead: once, the kit's own only, never in a page's way."""

import asyncio
from pathlib import Path
from types import SimpleNamespace

import pytest
from traitlets import TraitError

from sizing.chart import demo_chart
from sizing.report import lab_ahead, stock_form, study
from sizing.report.lab_server import Kernels
from sizing.report.stock_form import StockForm
from sizing.report.teaching_settings import LessonSettings


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch):
    monkeypatch.setattr(lab_ahead, "_ahead", {})


def test_what_is_worked_out_ahead_is_handed_out_once():
    made = []

    def make():
        made.append(1)
        return {"n": len(made)}

    assert lab_ahead.kept("x", make) == {"n": 1}
    assert lab_ahead.kept("x", make) == {"n": 2}, "kept only while working ahead"
    with lab_ahead.filling():
        ahead = lab_ahead.kept("x", make)
    assert lab_ahead.kept("y", make) == {"n": 4}
    assert lab_ahead.kept("x", make) is ahead
    assert lab_ahead.kept("x", make) == {"n": 5}


def test_the_purchasers_first_answer_is_found_and_one_of_her_own_never_kept(
    monkeypatch,
):
    asked = []

    def plan(*given, **settings):
        asked.append(settings["scenarios"])
        return f"plan {len(asked)}"

    monkeypatch.setattr(stock_form, "plan_stock", plan)
    monkeypatch.setattr(stock_form, "_drawn", lambda plan: [f"picture of {plan}"])
    monkeypatch.setattr("sizing.report.stock_form_people.serves_from", list)
    monkeypatch.setattr("ipywidgets.Widget.close_all", lambda: None)
    lab_ahead.work_ahead("purchaser")
    assert StockForm().first_answer() == ("plan 1", ["picture of plan 1"])
    assert asked == [stock_form.FIRST]

    hers = StockForm()
    hers.use.spares.value = 3
    with lab_ahead.filling():
        assert hers.first_answer()[0] == "plan 2"
    assert lab_ahead._ahead == {}


def test_the_studys_nine_sizes_are_found_by_what_they_depend_on(monkeypatch):
    asked = []

    def fitted(people, **settings):
        asked.append((people, settings["seed"]))
        return f"sizes {len(asked)}"

    monkeypatch.setattr(study, "fit_nine_sizes", fitted)
    monkeypatch.setattr(study, "load_people", lambda name, **how: (name, how))
    lab_ahead.work_ahead("study")
    people = ("everyone", {"draws": 5, "seed": 1})
    assert study.nine_sizes(draws=5, seed=2)[1] == "sizes 2"
    assert study.nine_sizes(draws=5, seed=1) == (people, "sizes 1")
    assert study.nine_sizes(draws=5, seed=1)[1] == "sizes 3", "handed out once"
    assert [seed for _, seed in asked] == [1, 2, 1]


def test_the_studys_page_asks_for_what_is_worked_out_ahead():
    page = Path(__file__).resolve().parents[1] / "notebooks" / "study.ipynb"
    words = page.read_text(encoding="utf-8")
    assert "SEED, DRAWS = 1, 5" in words
    assert "nine_sizes(draws=DRAWS, seed=SEED)" in words


def test_a_chart_of_the_trainers_own_has_no_name_to_be_kept_under():
    kits = LessonSettings()
    first = kits.of_the_kit
    kits.seed.value = 2
    assert first and kits.of_the_kit and kits.of_the_kit != first
    assert LessonSettings(chart=demo_chart()).of_the_kit is None


class Ready(Kernels):
    """Kernels without a server: one stands ready, and tells what it was asked."""

    def __init__(self, outcomes):
        self.asked, self.interrupted = [], []
        self.outcomes = iter(outcomes)
        self._ready, self._coming, self._ahead = "k", ["purchaser", "trainer"], None
        self._workers = 1

    def __contains__(self, kernel_id):
        return kernel_id == "k"

    async def is_alive(self, kernel_id):
        return True

    def get_kernel(self, kernel_id):
        async def interrupt():
            self.interrupted.append(kernel_id)

        return SimpleNamespace(client=lambda: self, interrupt_kernel=interrupt)

    def start_channels(self): ...

    def stop_channels(self): ...

    async def execute(self, code, **_):
        self.asked.append(code)
        outcome = next(self.outcomes)
        if outcome == "KeyboardInterrupt":
            self._ready = None
        return {"content": {"ename": outcome} if outcome else {}}


def test_the_kernel_that_stands_ready_works_until_a_page_takes_it():
    kernels = Ready([None, None])
    asyncio.run(kernels._work_ahead("k"))
    assert "'purchaser'" in kernels.asked[0] and "'trainer'" in kernels.asked[1]
    assert (kernels._workers, kernels._ahead) == (0, None)
    asyncio.run(kernels._work_ahead("k"))
    assert len(kernels.asked) == 2, "so many kernels work ahead, and no more"

    taken = Ready(["KeyboardInterrupt"])
    asyncio.run(taken._work_ahead("k"))
    assert len(taken.asked) == 1


class Listed(Ready):
    """One kernel stands ready, one is just being started, one has a page."""

    def list_kernel_ids(self):
        return ["k", "starting", "page"]

    def kernel_model(self, kernel_id):
        if kernel_id == "starting":
            raise TraitError("The 'last_activity' trait expected a datetime, not None.")
        return {"id": kernel_id}


def test_a_kernel_that_is_being_started_takes_no_other_from_the_list():
    assert Listed([]).list_kernels() == [{"id": "page"}]


def test_a_page_that_was_opened_is_not_worked_out_again():
    kernels = Ready([None])
    kernels._coming = ["trainer"]
    asyncio.run(kernels._work_ahead("k"))
    assert len(kernels.asked) == 1 and "'trainer'" in kernels.asked[0]
    none = Ready([])
    none._coming = []
    asyncio.run(none._work_ahead("k"))
    assert none.asked == [] and none._workers == 1


@pytest.mark.parametrize(("page", "stopped"), [("purchaser", []), ("adviser", ["k"])])
def test_a_page_waits_for_its_own_answer_alone(page, stopped, monkeypatch):
    kernels = Ready([])
    kernels._ahead = "purchaser"

    async def taken():
        monkeypatch.setattr(
            "sizing.report.lab_server.IOLoop.current",
            lambda: SimpleNamespace(call_later=lambda *_: None),
        )
        env = {"JPY_SESSION_NAME": str(Path("mine") / f"{page}.ipynb")}
        return await kernels._async_start_kernel(env=env)

    assert asyncio.run(taken()) == "k"
    assert kernels.interrupted == stopped
    assert page not in kernels._coming
