"""Every state of the page held against axe's rules, at two widths and in both colour schemes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import waiting_record
from browser import axe_violations, chromium  # noqa: F401
from page_server import served

from sheet_reader.record.store.store import Record

READY = "html:not(.busy) h2"
SMALL = """() => [...document.querySelectorAll('button, input, select, textarea')]
    .filter((e) => e.checkVisibility()).map((e) => [e.outerHTML, e.getBoundingClientRect()])
    .filter(([, r]) => r.width < 24 || r.height < 24).map(([html]) => html.slice(0, 80))"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = tmp_path_factory.mktemp("study") / "beans"
    with Record.open(waiting_record.bean_study(folder)) as record:
        waiting_record.every_kind(record)
        with served(record) as page:
            yield page


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 360)])
def test_axe_finds_nothing_in_any_state(
    chromium: Any, page: Any, scheme: Any, width: int  # noqa: F811
) -> None:
    tab = chromium.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True
    ).new_page()
    tab.goto(page.file.as_uri())
    tab.wait_for_selector(READY)
    seen, amiss = set(), []
    for _ in range(page.seat.say({"act": "show"})["progress"]["waiting"]):
        kind = page.seat.say({"act": "show"})["card"]["kind"]
        if kind not in seen:
            seen.add(kind)
            amiss += _looked_at(tab, kind, width)
        tab.click("[data-act=skip]")
        tab.wait_for_selector(READY)
    assert amiss == []
    assert seen == {"field", "sum", "photos", "outside"}
    for key in ("?", "w", "m", "d"):
        tab.wait_for_selector("html.takes")
        tab.keyboard.press(key)
        tab.wait_for_selector("dialog[open]")
        amiss += _looked_at(tab, f"dialog {key}", width)
        tab.keyboard.press("Escape")
    tab.click("#remarks")
    tab.wait_for_selector(".remarks")
    amiss += _looked_at(tab, "remarks", width)
    assert amiss == []
    tab.context.close()


def _looked_at(tab: Any, state: str, width: int) -> list[str]:
    """What is amiss in the state of now."""
    found = [f"{state}: {violation}" for violation in axe_violations(tab)]
    found += [f"{state}: small {html}" for html in tab.evaluate(SMALL)]
    wide = tab.evaluate("document.documentElement.scrollWidth")
    return found + ([f"{state}: {wide} px wide"] if wide > width else [])


def test_keys_switched_off_leave_buttons_and_enter(chromium: Any, page: Any) -> None:  # noqa: F811
    tab = chromium.new_context().new_page()
    tab.goto(page.file.as_uri())
    tab.wait_for_selector(READY)
    tab.click("#help")
    tab.uncheck("dialog input[name=on]")
    tab.click("dialog button.main")
    tab.locator("[data-act=skip] kbd").wait_for(state="detached")
    before = tab.inner_text("#going")
    tab.keyboard.press("k")
    tab.keyboard.press("x")
    assert tab.inner_text("#going") == before
    assert tab.locator("dialog[open]").count() == 0
    tab.click("#help")
    tab.check("dialog input[name=on]")
    tab.fill("dialog input[name=skip]", "j")
    tab.click("dialog button.main")
    tab.locator("[data-act=skip] kbd", has_text="j").wait_for()
    title = tab.inner_text("h2")
    tab.keyboard.press("j")
    tab.get_by_role("heading", name=title, exact=True).wait_for(state="detached")
    tab.context.close()
