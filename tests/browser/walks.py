"""What every role's walk through the pages needs."""

import os
import re
import time
from pathlib import Path
from typing import Any

import pytest

from sizing.resources import cautions
from tests.served import PATIENCE

axe = pytest.importorskip("axe_playwright_python.sync_playwright")

WIDTHS = {"laptop": (1366, 768), "phone": (390, 800)}
#: What a page must not show: a traceback, or words meant for programmers.
FAILURES = (
    '[data-mime-type="application/vnd.jupyter.error"], '
    '[data-mime-type="application/vnd.jupyter.stderr"]'
)
#: Everything in the pages themselves that a keyboard must reach.
CONTROLS = (
    "#rendered_cells :is(a[href], button, select, textarea, summary, "
    'input:not([type="file"]), [role="slider"], [tabindex="0"])'
)
#: What shows words and forms: on a phone none of it may run past its own box, but for
#: what a region of its own scrolls.
_PAST = """
() => [...document.querySelectorAll(
  '#rendered_cells :is(.widget-html, .jupyter-widgets, ' +
  '.jp-RenderedHTMLCommon, .jp-OutputArea-output)'
)].filter(node => node.offsetParent && node.clientWidth
  && node.scrollWidth > node.clientWidth + 1
  && !node.closest('[role=region][tabindex="0"][aria-label]')
).map(node => `${node.scrollWidth} px in ${node.clientWidth}: ` +
  node.textContent.slice(0, 80))
"""
#: Labels and buttons whose words do not fit into them.
_CUT = """
() => [...document.querySelectorAll('.sizing-form :is(.widget-label, .jupyter-button)')
].filter(node => node.offsetParent && node.textContent.trim() && node.offsetWidth > 4 &&
  (node.scrollWidth > node.offsetWidth + 1 || node.scrollHeight > node.offsetHeight + 4)
).map(node => node.textContent)
"""


def nothing(page: Any, asked: str) -> None:
    """Assert that a list comes to be empty: a page is laid out just after it is shown.

    Far longer than any page takes, so that a busy machine is no fault of the page.
    """
    end = time.monotonic() + 30
    while (found := page.evaluate(asked)) and time.monotonic() < end:
        page.wait_for_timeout(100)
    assert found == []


def serious(page: Any) -> list[str]:
    """Return what axe-core finds serious or critical on the whole page."""
    found = axe.Axe().run(page).response["violations"]
    return [
        f"{finding['id']}: {node['html'][:160]}"
        for finding in found
        if finding["impact"] in ("serious", "critical")
        for node in finding["nodes"]
    ]


def missed_by_keyboard(page: Any) -> list[str]:
    """Press Tab through a page; return the controls that are never reached."""
    shown = page.locator(CONTROLS).filter(visible=True)
    count = shown.evaluate_all(
        "all => { all.forEach((node, i) => { node.dataset.counted = i; }); "
        "return all.filter(node => !node.disabled).length; }"
    )
    assert count
    # The page itself notes where the focus comes: asking after each key is slow.
    page.evaluate(
        "() => { window.reached = new Set(); document.addEventListener('focusin', "
        "event => window.reached.add(event.target.dataset?.counted ?? '')); }"
    )
    shown.first.focus()
    # What scrolls takes the focus too, and is none of the controls: up to two rounds.
    for _ in range(2):
        for _ in range(count + 40):
            page.keyboard.press("Tab")
        reached = page.evaluate("() => [...window.reached]")
        missed: list[str] = shown.evaluate_all(
            "(all, reached) => all.filter(node => !node.disabled && "
            "!reached.includes(node.dataset.counted)).map(node => node.outerHTML)",
            reached,
        )
        if not missed:
            break
    return missed


def check_page(page: Any, lab: Any, name: str) -> None:
    """Check what holds for every page, once it has run and before it is used."""
    assert page.locator(FAILURES).all_inner_texts() == []
    assert page.get_by_role("link", name="Back to the start page").is_visible()
    assert page.get_by_text(cautions()[0][:60]).count()
    # A page begins at its beginning.
    assert page.evaluate("window.scrollY") == 0
    assert lab.memory() < 2**30
    look(page, name)
    # Counted again if need be: a part that came after the first count is no fault.
    missed = missed_by_keyboard(page) and missed_by_keyboard(page)
    assert missed == [], [one[:200] for one in missed]
    assert serious(page) == []


def look(page: Any, name: str) -> None:
    """Check the layout at each width; ``SIZING_SCREENS`` names where pictures go."""
    for width, (across, down) in reversed(WIDTHS.items()):
        page.set_viewport_size({"width": across, "height": down})
        page.evaluate(
            "new Promise(done => { window.scrollTo(0, 0); "
            "requestAnimationFrame(() => requestAnimationFrame(done)); })"
        )
        nothing(page, _PAST if width == "phone" else "() => []")
        nothing(page, _CUT)
        if folder := os.environ.get("SIZING_SCREENS"):
            page.screenshot(path=Path(folder) / f"{name}_{width}.png")
        if name != "start":
            entry, answer = (
                page.locator(f".beside > .{part}").bounding_box()
                for part in ("entry", "answer")
            )
            if width == "phone":
                assert answer["y"] >= entry["y"] + entry["height"]
            else:
                assert answer["x"] >= entry["x"] + entry["width"]
                assert 0 <= answer["y"] < down / 2
        if width == "phone":
            assert serious(page) == []


def wait_for_file(page: Any, path: Path) -> None:
    end = time.monotonic() + PATIENCE
    while not path.is_file():
        if time.monotonic() > end:
            words = page.locator(".jp-OutputArea-output").all_inner_texts()
            pytest.fail(f"{path.name} was not saved: {words[-3:]}")
        page.wait_for_timeout(200)


def upload(page: Any, button: str, path: Any) -> None:
    with page.expect_file_chooser() as chosen:
        page.locator("button.widget-upload", has_text=re.compile(button)).click()
    chosen.value.set_files(path)
