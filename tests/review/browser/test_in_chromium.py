"""The page in a real browser, by keys alone."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import waiting_record
from browser import chromium  # noqa: F401
from page_server import Served, served

from sheet_reader.errors import UnavailableError
from sheet_reader.record.store.store import Record

READY = "html.takes:not(.busy)"


@pytest.fixture
def browser(chromium: Any) -> Any:  # noqa: F811
    return chromium


@pytest.fixture
def source(tmp_path: Path) -> Iterator[tuple[Record, Served]]:
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        waiting_record.fill(record, 2, 3)
        with served(record) as page:
            yield record, page


def opened(browser: Any, page: Served) -> Any:
    """The page, opened by its private file; whatever it complains about is kept."""
    tab = browser.new_page()
    tab.complaints = []
    tab.on("console", lambda message: tab.complaints.append(message.text))
    tab.on("pageerror", lambda error: tab.complaints.append(str(error)))
    tab.goto(page.file.as_uri())
    tab.wait_for_selector(READY)
    return tab


def press(tab: Any, *keys: str) -> None:
    """Press keys, each when the page can take it."""
    for key in keys:
        tab.wait_for_selector(READY)
        tab.keyboard.press(key)
        tab.wait_for_selector("html:not(.busy)")


def waits(tab: Any, text: str) -> None:
    """Wait until a text is on the page."""
    tab.get_by_text(text).first.wait_for()


def test_a_sitting_by_keys(browser: Any, source: tuple[Record, Served]) -> None:
    record, page = source
    tab = opened(browser, page)
    assert tab.evaluate("document.activeElement.id") == "answer"
    press(tab, "Enter")
    waits(tab, "1 answered")
    press(tab, "1", "2", "Enter")
    waits(tab, "2 answered")
    press(tab, "n")
    waits(tab, "3 answered")
    press(tab, "b")
    waits(tab, "Answered before: nothing written")
    press(tab, "x")
    waits(tab, "3 answered · 3 wait")
    press(tab, "9", "9", "9", "Enter")
    waits(tab, "Enter keeps 999")
    press(tab, "Enter")
    waits(tab, "4 answered")
    kept = [(e.value, e.status) for v in record.state() for e in v.fields if e.decision]
    assert sorted(kept, key=str) == sorted(
        [("4", "confirmed"), ("12", "corrected"), (None, "unreadable"), ("999", "corrected")],
        key=str,
    )
    assert tab.complaints == []
    assert page.lines == []
    tab.close()


def test_nothing_comes_from_elsewhere_and_pictures_are_there_before_they_are_asked_for(
    browser: Any, source: tuple[Record, Served]
) -> None:
    _, page = source
    addresses: list[str] = []
    tab = browser.new_page()
    tab.on("request", lambda request: addresses.append(request.url))
    tab.goto(page.file.as_uri())
    tab.wait_for_selector(READY)
    tab.wait_for_load_state("networkidle")
    own = (page.address, "file://", "data:")
    assert [a for a in addresses if not a.startswith(own)] == []
    before = len(addresses)
    press(tab, "Enter")
    waits(tab, "1 answered")
    asked = [a.removeprefix(page.address) for a in addresses[before:]]
    close = tab.get_attribute(".close img", "src")
    assert close not in asked
    assert close in [a.removeprefix(page.address) for a in addresses[:before]]
    tab.close()


def test_the_file_opens_a_second_time_and_another_browser_stays_out(
    browser: Any, source: tuple[Record, Served]
) -> None:
    _, page = source
    stranger = browser.new_context().new_page()
    answer = stranger.goto(page.address)
    assert answer.status == 403
    for _ in range(2):
        tab = browser.new_context().new_page()
        tab.goto(page.file.as_uri())
        tab.wait_for_selector(READY)
        tab.close()


@pytest.fixture
def odd_sum(tmp_path: Path) -> Iterator[tuple[Record, Served]]:
    """The page on a record in which a sum is the first question."""
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        waiting_record.every_kind(record)
        with served(record) as page:
            while page.seat.say({"act": "show"})["card"]["kind"] != "sum":
                card = page.seat.say({"act": "show"})["card"]
                page.seat.say({"act": "skip", "card": card["token"]})
            yield record, page


def kept(record: Record) -> list[str | None]:
    return [e.value for v in record.state() for e in v.fields if e.decision]


def test_what_was_typed_into_a_sum_stands_after_the_second_look(
    browser: Any, odd_sum: tuple[Record, Served]
) -> None:
    record, page = odd_sum
    tab = opened(browser, page)
    press(tab, "ArrowDown", "5", "1", "Enter")
    waits(tab, "the parts add to 55")
    assert kept(record) == []
    press(tab, "ArrowDown", "4", "Enter")  # another part: looked at once more
    waits(tab, "the parts add to")
    assert kept(record) == []
    press(tab, "Enter")
    waits(tab, "1 answered")
    assert "51" in kept(record)
    tab.close()


def test_a_date_outside_the_season_is_kept_after_the_second_look_only(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = opened(browser, page)
    press(tab, "d")
    tab.fill("dialog input[name=text]", "2026-01-05")
    tab.click("dialog button.main")
    waits(tab, "lies outside the season")
    assert "2026-01-05" not in {v.visit_date for v in record.state()}
    press(tab, "Enter")
    waits(tab, "1 answered")
    assert "2026-01-05" in {v.visit_date for v in record.state()}
    tab.close()


def test_nothing_is_taken_as_read_of_which_no_picture_came(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = browser.new_page()
    tab.route("**/picture/**", lambda route: route.abort())
    tab.goto(page.file.as_uri())
    press(tab, "Enter")
    waits(tab, "Nothing of it is shown")
    assert kept(record) == []
    press(tab, "7", "Enter")
    waits(tab, "1 answered")
    assert kept(record) == ["7"]
    tab.close()


def at_once(tab: Any, *keys: str) -> None:
    """Press keys one after the other, whether the page can take them or not."""
    for key in keys:
        tab.keyboard.press(key)


def test_photos_that_differ_in_much_have_no_usual_answer(
    browser: Any, odd_sum: tuple[Record, Served]
) -> None:
    record, page = odd_sum
    tab = opened(browser, page)
    shows(tab, "photos", page)
    waits(tab, "Two different sheets: which date or site is wrong?")
    assert tab.locator("[data-act=take]").count() == 0
    assert tab.locator(".acts button").first.inner_text().startswith("One: another date")
    look_at_each(tab)
    press(tab, "Enter")
    waits(tab, "differ in too much")
    assert kept(record) == []
    tab.close()


def look_at_each(tab: Any) -> None:
    """Bring each picture of two photos into view, as whole as the window lets it be."""
    tab.wait_for_selector(".seen img")
    for picture in tab.query_selector_all(".seen img"):
        picture.evaluate("one => one.scrollIntoView({ block: 'center' })")
        box, high = picture.bounding_box(), tab.viewport_size["height"]
        assert box["y"] >= 0, "does not fit the window"
        assert box["y"] + box["height"] <= high, "does not fit the window"
        tab.wait_for_function("one => 'seen' in one.dataset", arg=picture)
    tab.wait_for_selector(READY)


def shows(tab: Any, kind: str, page: Served) -> None:
    """Skip until a card of a kind is shown."""
    while page.seat.say({"act": "show"})["card"]["kind"] != kind:
        page.seat.say({"act": "skip", "card": page.seat.say({"act": "show"})["card"]["token"]})
    tab.reload()


def test_the_button_says_what_enter_keeps(browser: Any, source: tuple[Record, Served]) -> None:
    record, page = source
    tab = opened(browser, page)
    take = tab.locator("[data-act=take]")
    assert take.inner_text().startswith("Keep 4")
    tab.fill("#answer", "3")
    assert take.inner_text().startswith("Keep 3 instead of 4")
    take.click()
    waits(tab, "1 answered")
    assert kept(record) == ["3"]
    tab.close()


def test_the_button_of_a_sum_says_what_it_keeps(
    browser: Any, odd_sum: tuple[Record, Served]
) -> None:
    record, page = odd_sum
    tab = opened(browser, page)
    take = tab.locator("[data-act=take]")
    assert take.inner_text().startswith("As written")
    tab.fill("#answer", "6")
    words = take.inner_text()
    assert ": 6 instead of 9" in words
    assert "the others as shown" in words
    take.click()
    waits(tab, "1 answered")
    assert "6" in kept(record)
    tab.close()


def test_a_second_press_before_the_next_card_was_looked_at_keeps_nothing(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = opened(browser, page)
    at_once(tab, "Enter", "Enter", "Enter")
    waits(tab, "press was not taken")
    waits(tab, "1 answered")
    assert len(kept(record)) == 1
    press(tab, "Enter")
    waits(tab, "2 answered")
    tab.wait_for_selector(READY)
    tab.locator("[data-act=take]").dblclick()
    waits(tab, "3 answered")
    waits(tab, "press was not taken")
    assert len(kept(record)) == 3
    tab.close()


def test_a_held_key_keeps_one_answer_and_writes_one_digit(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = opened(browser, page)
    tab.keyboard.down("Enter")
    waits(tab, "1 answered")
    tab.wait_for_selector(READY)
    for _ in range(30):
        tab.keyboard.down("Enter")  # without a release in between: the keyboard repeats it
    waits(tab, "let go of Enter first")
    tab.keyboard.up("Enter")
    assert len(kept(record)) == 1
    for _ in range(5):
        tab.keyboard.down("8")
    tab.keyboard.up("8")
    assert tab.input_value("#answer") == "8"
    tab.close()


def test_what_is_typed_while_an_answer_is_saved_is_told_and_asked_once_more(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = opened(browser, page)
    gate = threading.Event()
    say = page.seat.say

    def slowly(message: dict[str, Any]) -> dict[str, Any]:
        gate.wait(30)
        return say(message)

    page.seat.say = slowly  # type: ignore[method-assign]
    tab.keyboard.press("Enter")
    tab.keyboard.press("1")
    waits(tab, "“1” came while the answer before was being saved")
    gate.set()
    waits(tab, "1 answered")
    assert tab.input_value("#answer") == ""
    press(tab, "5", "Enter")
    waits(tab, "Is 5 all of it?")
    assert len(kept(record)) == 1
    press(tab, "Enter")
    waits(tab, "2 answered")
    assert kept(record)[1] == "5"
    tab.close()


def test_a_picture_that_still_comes_is_waited_for(
    browser: Any, source: tuple[Record, Served]
) -> None:
    record, page = source
    tab = browser.new_page()
    held: list[Any] | None = []

    def hold(route: Any) -> None:
        route.continue_() if held is None else held.append(route)

    tab.route("**/picture/close/**", hold)
    tab.goto(page.file.as_uri())
    tab.wait_for_selector("#answer")
    tab.fill("#answer", "7")
    tab.keyboard.press("Enter")
    waits(tab, "the picture is still coming")
    tab.locator("[data-act=take]").click()
    tab.locator("[data-act=nothing]").click()
    assert kept(record) == []
    waiting, held = held, None
    for route in waiting:
        route.continue_()
    tab.focus("#answer")
    press(tab, "Enter")
    waits(tab, "1 answered")
    assert kept(record) == ["7"]
    tab.close()


@pytest.mark.parametrize(("wide", "high"), [(1280, 800), (640, 400), (360, 640)])
def test_photos_are_kept_only_after_each_was_whole_in_view(
    browser: Any, odd_sum: tuple[Record, Served], wide: int, high: int
) -> None:
    record, page = odd_sum
    tab = opened(browser, page)
    tab.set_viewport_size({"width": wide, "height": high})
    shows(tab, "photos", page)
    tab.wait_for_selector("h2:has-text('2 photos')")
    at_once(tab, "1")
    waits(tab, "press was not taken")
    assert kept(record) == []
    look_at_each(tab)
    tab.keyboard.press("2")
    waits(tab, "1 answered")
    assert kept(record) != []
    tab.close()


def test_an_enter_that_is_refused_brings_what_was_not_seen(
    browser: Any, odd_sum: tuple[Record, Served]
) -> None:
    record, page = odd_sum
    tab = opened(browser, page)
    tab.set_viewport_size({"width": 360, "height": 400})
    shows(tab, "sum", page)
    last = tab.locator(".part img").last
    last.wait_for()
    tab.keyboard.press("Enter")
    while not tab.query_selector(READY):
        waits(tab, "press was not taken")
        assert kept(record) == []
        tab.keyboard.press("Enter")
        tab.wait_for_timeout(500)
    assert last.get_attribute("data-seen") == ""
    press(tab, "Enter")
    waits(tab, "1 answered")
    tab.close()


def test_an_answer_waits_for_a_record_that_is_out_of_reach(
    browser: Any, source: tuple[Record, Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    record, page = source
    tab = opened(browser, page)

    def lost() -> Any:
        raise UnavailableError("the database can't be reached", where="the record database")

    with monkeypatch.context() as away:
        away.setattr(record, "writing", lost)
        tab.keyboard.press("7")
        tab.keyboard.press("Enter")
        waits(tab, "This answer is not saved yet; it is sent again until it is.")
        waits(tab, "the database can't be reached")
        assert kept(record) == []
    waits(tab, "1 answered")
    assert kept(record) == ["7"]
    assert tab.locator("#trouble").is_hidden()
    tab.close()
