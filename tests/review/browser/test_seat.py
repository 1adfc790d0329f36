"""What is shown and kept: the page's side of a sitting, without any browser."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import waiting_record
from made_up import page as made_page
from made_up import read_in, take_in

from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, because
from sheet_reader.record.people.remarks import remarks_of
from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.own_view import ACTS, OwnKeys
from sheet_reader.review.browser.pages import static_files


def decided(record: Record) -> list[tuple[str, str | None, str, str]]:
    """Field, value, status and person of all that is decided."""
    return [
        (e.reading.field, e.value, e.status, e.decision.by)
        for v in record.state() for e in v.fields if e.decision is not None
    ]  # fmt: skip


@pytest.fixture
def page(record: Record, visit: Callable[..., Any]) -> Any:
    waiting_record.fill(record, 2, 3)
    return visit()


def answer(page: Any, view: dict[str, Any], act: str = "take", **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = page.say(act=act, card=view["card"]["token"], **more)
    return found


def test_one_message_answers_and_brings_the_next(page: Any, record: Record) -> None:
    view = page.say(act="show")
    assert view["card"]["read"]["value"] == "4"
    after = answer(page, view)
    assert after["said"] == "Kept: 4."
    assert after["card"]["name"] != view["card"]["name"]
    assert after["progress"]["answered"] == 1
    assert after["progress"]["waiting"] == 5
    assert decided(record) == [(view["card"]["name"], "4", "confirmed", "Kim")]


def test_the_acts_of_a_field(page: Any, record: Record) -> None:
    view = page.say(act="show")
    view = answer(page, view, "value", text="12")
    view = answer(page, view, "nothing")
    view = answer(page, view, "unreadable")
    assert [(value, status) for _, value, status, _ in decided(record)] == [
        ("12", "corrected"), (None, "empty"), (None, "unreadable"),
    ]  # fmt: skip


def test_the_same_answer_sent_twice_is_kept_once(page: Any, record: Record) -> None:
    view = page.say(act="show")
    first = answer(page, view, "value", text="12", id="one")
    again = answer(page, view, "value", text="12", id="one")
    assert again["kept"] == "one"
    assert again["card"] == first["card"]
    assert len(decided(record)) == 1
    late = answer(page, view, "value", text="13", id="two")
    assert "settled by now" in late["refused"]
    assert "kept" not in late
    assert [value for _, value, _, _ in decided(record)] == ["12"]


def test_an_unusual_value_is_shown_once_more(page: Any, record: Record) -> None:
    view = answer(page, page.say(act="show"), "value", text="777")
    assert view["look"]["text"] == "777"
    assert "more than" in view["look"]["why"]
    assert decided(record) == []
    answer(page, view, "value", text="777", sure=True)
    assert [value for _, value, _, _ in decided(record)] == ["777"]


def test_what_is_no_value_is_refused_with_what_would_be(page: Any, record: Record) -> None:
    view = answer(page, page.say(act="show"), "value", text="1o")
    assert view["refused"] == "Type the number in digits, e.g. 14."
    assert decided(record) == []


def test_numbers_that_are_none_name_no_card_and_no_field(page: Any, record: Record) -> None:
    view = page.say(act="show")
    for number in ("²", "٣", "9" * 5000):
        assert "settled by now" in page.say(act="take", card=f"back-{number}")["refused"]
        answer(page, view, "sum", fields={number: "3"})
    assert decided(record) == []


def test_back_any_number_of_steps_and_another_answer_takes_the_place(
    page: Any, record: Record
) -> None:
    view = page.say(act="show")
    names = []
    for _ in range(3):
        names.append(view["card"]["name"])
        view = answer(page, view)
    for steps in (1, 2, 3):
        view = page.say(act="back")
        assert view["card"]["name"] == names[-steps]
        assert view["card"]["before"] == view["card"]["read"]["value"]
    assert page.say(act="back")["refused"] == "This is the first question of this sitting."
    answer(page, view, "value", text="31")
    values = {name: value for name, value, _, _ in decided(record)}
    assert values[names[0]] == "31"
    assert len(values) == 3
    assert page.say(act="show")["progress"]["answered"] == 3


def test_an_answer_can_be_taken_back_and_its_question_comes_again(
    page: Any, record: Record
) -> None:
    first = page.say(act="show")
    before = record.state()
    answer(page, first)
    view = page.say(act="back")
    view = page.say(act="skip", card=view["card"]["token"])
    assert decided(record) == []
    assert record.state() == before
    assert view["progress"]["waiting"] == 6
    assert view["card"]["token"] != first["card"]["token"]


def test_skipped_questions_come_at_the_end(page: Any) -> None:
    view = page.say(act="show")
    skipped = view["card"]["token"]
    view = page.say(act="skip", card=skipped)
    seen = []
    while view["card"]:
        seen.append(view["card"]["token"])
        view = answer(page, view)
    assert seen[-1] == skipped
    assert len(seen) == 6


def test_a_remark_and_a_sheet_set_aside(page: Any, record: Record) -> None:
    view = page.say(act="show")
    view = answer(page, view, "remark", text="<b>wet</b> sheet")
    assert view["said"] == "The remark is kept."
    assert [t for texts in remarks_of(record).of_pages.values() for _, t in texts] == [
        "<b>wet</b> sheet"
    ]
    answer(page, view, "aside", text="twice")
    assert len(record.state()) == 1
    assert len(record.state_aside()) == 1


def test_another_date_and_site_move_the_sheet(page: Any, record: Record) -> None:
    view = page.say(act="show")
    now = next(v for v in record.state() if view["card"]["page"] in
               [p.page_instance_id for p in v.pages])  # fmt: skip
    same = answer(page, view, "date", text=now.visit_date)
    assert "what it has now" in same["refused"]
    answer(page, view, "date", text="27")
    assert {v.visit_date[8:] for v in record.state()} == {"27", now.visit_date[8:]}
    view = page.say(act="show")
    other = record.study.sites[3].number
    answer(page, view, "site", text=other)
    assert other in {v.site for v in record.state()}


def test_choosing_by_site_and_reason(page: Any) -> None:
    counts = json.loads(page.get("/choices").text)
    assert sorted(counts["site"].values()) == [3, 3]
    site = next(iter(counts["site"]))
    view = page.say(act="only", only={"site": site, "reason": ""})
    assert view["progress"]["waiting"] == 3
    assert view["progress"]["only"] == {"site": site}
    assert f"site {site}" in view["card"]["place"]
    assert page.say(act="only", only={"reason": "no-such"})["card"] is None
    assert page.say(act="only", only="odd")["progress"]["waiting"] == 6


ODD = ["", "take", "sum", "same", "date", "odd", "unlisted", "two_sheets", None, 7, {"a": 1}]


def test_odd_messages_change_nothing(page_of_two: Any) -> None:
    page = page_of_two
    view = page.say(act="show")
    for act in ODD:
        _send_oddly(page, view, act)
    assert decided(page.seat.source.record) == []
    assert page.told == []
    assert page.say(act="show")["card"] == view["card"]


def _send_oddly(page: Any, view: dict[str, Any], act: Any) -> None:
    for token in ("", "back-0", "back-x", "back-99999999999999999999", None, [], "0" * 900):
        page.say(act=act, card=token, text={"x": 1}, fields=[1], sheet=-3, keys="many", id=5)
    if act != "take":
        token = view["card"]["token"]
        page.say(act=act, card=token, text=None, fields={"99": "1", "x": 2}, sheet=10**30, sure=1)


# what is typed blind


def blind_record(record: Record) -> None:
    study = record.study
    said = {s.name: ("3", "accepted", 0.9999) for s in study.fields}
    site, day = study.sites[0].number, study.season.first.isoformat()
    names = {s.kind.name: s.name for s in study.fields}
    said[names["site"]] = (site, "flagged", 0.9)
    said[names["date"]] = (day, "accepted", 0.9999)
    said |= {rule.total: ("9", "accepted", 0.9999) for rule in study.sums}
    read_in(record, take_in(record, "a"), [made_page(study, said)])


def test_a_blind_field_shows_nothing_of_the_reading(
    record: Record, visit: Callable[..., Any]
) -> None:
    blind_record(record)
    page, site = visit(), record.study.sites[0].number
    view = page.say(act="show")
    assert view["card"]["blind"]
    assert "read" not in view["card"]
    assert site not in json.dumps(view["card"])
    assert "typed from the picture" in answer(page, view)["refused"]
    sure = answer(page, view, "value", text=record.study.sites[1].number, sure=True)
    assert sure["look"]["why"].startswith(f"The reader saw {site} (90 %)")
    assert decided(record) == []
    assert sure["card"]["read"]["value"] == site
    answer(page, sure, "value", text=record.study.sites[1].number, sure=True)
    assert decided(record)[0][1] == record.study.sites[1].number


def test_a_blind_field_that_agrees_needs_no_second_look(
    record: Record, visit: Callable[..., Any]
) -> None:
    blind_record(record)
    page = visit()
    view = answer(page, page.say(act="show"), "value", text=record.study.sites[0].number)
    assert "The reader saw" in view["said"]
    assert view["card"] is None


def test_an_audit_is_blind_and_keeps_the_first_answer(
    record: Record, visit: Callable[..., Any]
) -> None:
    waiting_record.fill(record, 2, 3)
    page = visit(audit=True)
    view = page.say(act="show")
    assert view["card"]["blind"]
    view = answer(page, view, "value", text="8")
    assert "kept as typed" in view["said"]
    (decision,) = [e.decision for v in record.state() for e in v.fields if e.decision]
    assert decision.blind
    assert decision.value == "8"


def test_sites_are_searched_by_name(record: Record, visit: Callable[..., Any]) -> None:
    blind_record(record)
    page = visit()
    site = record.study.sites[2]
    view = answer(page, page.say(act="show"), "value", text=site.label)
    assert view["look"]["text"] == site.number
    view = answer(page, view, "value", text="e")
    assert len(view["near"]) > 1


def test_the_pictures_of_the_next_cards_come_with_the_answer(page: Any) -> None:
    view = page.say(act="show")
    assert len(view["ahead"]) == REVIEW.page_cards_ahead
    for address in [*view["ahead"], *view["sheets"]]:
        assert page.get(address).status_code == 200
    following = answer(page, view)["card"]
    assert following["close"] == view["ahead"][0]


def test_keys_can_be_changed_and_switched_off_and_stay(page_of_two: Any, tmp_path: Path) -> None:
    page, file = page_of_two, tmp_path / "deep" / "keys.json"
    page.seat.keys = OwnKeys(file)
    said = {"on": False, "keys": {"skip": "j", "back": "J", "help": "7", "photo": "", "odd": "q"}}
    kept = page.request("POST", "/keys", headers=page.own(), content=json.dumps(said)).json()
    assert kept == {"on": False, "keys": {"back": "j", "photo": ""}}
    assert json.loads(page.get("/keys").text) == kept
    assert OwnKeys(file).known == kept
    file.write_text("{")
    assert OwnKeys(file).known == {"on": True, "keys": {}}
    page.seat.keys = OwnKeys()


def test_every_act_with_a_key_is_known_on_both_sides() -> None:
    script = static_files()["keys.js"][0].decode()
    usual = script.partition("export const USUAL = {")[2].partition("}")[0]
    assert tuple(re.findall(r"(\w+):", usual)) == ACTS


# every kind of card


@pytest.fixture
def kinds(record: Record, visit: Callable[..., Any]) -> Callable[[str], Any]:
    """Brings the first card of a kind to the page, which is given with it."""
    waiting_record.every_kind(record)
    page = visit()
    def shown(kind: str) -> tuple[Any, dict[str, Any]]:
        while (view := page.say(act="show"))["card"]["kind"] != kind:
            page.say(act="skip", card=view["card"]["token"])
        return page, view

    return shown


def test_a_sum_as_written_or_with_one_part_put_right(kinds: Any, record: Record) -> None:
    page, view = kinds("sum")
    assert [part["value"] for part in view["card"]["parts"]] == ["9", "2", "2", "2"]
    off = answer(page, view, "sum", fields={"1": "3"})
    assert off["look"]["why"] == "The total would be 9, the parts add to 7."
    assert "in digits" in answer(page, view, "sum", fields={"1": "1o"})["refused"]
    assert decided(record) == []
    right = answer(page, view, "sum", fields={"1": "5"})
    assert right["said"].startswith("Kept: ")
    assert "5" in {value for _, value, _, _ in decided(record)}


def test_photos_that_differ_are_shown_side_by_side(kinds: Any, record: Record) -> None:
    page, view = kinds("photos")
    assert len(view["card"]["sheets"]) == 2
    for sheet in view["card"]["sheets"]:
        assert page.get(sheet["sheet"]).status_code == 200
        assert page.get(sheet["key"]).status_code == 200
    before = len(record.state())
    answer(page, view, "date", text="28", sheet=1)
    assert len(record.state()) == before + 1


def test_what_lies_outside_is_one_card(kinds: Any, record: Record) -> None:
    page, view = kinds("outside")
    assert len(view["card"]["fields"]) == 2
    assert "can't be typed" in answer(page, view, "value", text="3")["refused"]
    said = answer(page, view)["said"]
    assert said == "Kept: another photo is asked for."
    assert [status for _, _, status, _ in decided(record)] == ["unreadable", "unreadable"]


# counts that are likely right


def two_likely(record: Record) -> list[str]:
    """A sheet with two counts that are only unclear; gives their names."""
    study = record.study
    said = {s.name: ("3", "accepted", 0.9999) for s in study.fields}
    names = {s.kind.name: s.name for s in study.fields}
    said[names["site"]] = (study.sites[0].number, "accepted", 0.9999)
    said[names["date"]] = (study.season.first.isoformat(), "accepted", 0.9999)
    said |= {rule.total: ("9", "accepted", 0.9999) for rule in study.sums}
    parts = {name for rule in study.sums for name in rule.fields}
    doubtful = [s.name for s in study.fields if s.kind.name == "count" and s.name not in parts][:2]
    said |= dict.fromkeys(doubtful, ("3", "flagged", 0.9))
    page = made_page(study, said)
    unclear = (because(Code.UNCERTAIN),)
    fields = [
        replace(f, reading=replace(f.reading, reasons=unclear) if f.reading.field in doubtful
                else f.reading)
        for f in page.fields
    ]  # fmt: skip
    read_in(record, take_in(record, "a"), [replace(page, fields=tuple(fields))])
    return doubtful


def test_counts_that_are_likely_right_are_one_card(
    record: Record, visit: Callable[..., Any]
) -> None:
    names, page = two_likely(record), visit()
    view = page.say(act="show")
    assert view["card"]["take"] == "All 2 are right"
    assert [part["value"] for part in view["card"]["parts"]] == ["3", "3"]
    assert view["progress"]["waiting"] == 1
    odd = answer(page, view, "sum", fields={"7": "1"})
    assert odd["refused"]
    after = answer(page, view, "sum", fields={"1": "5"})
    assert after["card"] is None
    kept = [(name, value) for name, value, *_ in decided(record)]
    assert kept == [(names[0], "3"), (names[1], "5")]


def test_one_enter_takes_all_counts_that_are_likely_right(
    record: Record, visit: Callable[..., Any]
) -> None:
    names, page = two_likely(record), visit()
    answer(page, page.say(act="show"))
    assert [(name, status) for name, _, status, _ in decided(record)] == [
        (name, "confirmed") for name in names
    ]


def test_remarks_are_typed_up_and_left(page: Any, record: Record) -> None:
    rows = page.say(act="remarks")["remarks"]
    assert len(rows) == 2
    number = rows[0]["page"]
    assert page.say(act="type_up", page=number, text="rain <i>all</i> week") == {"kept": True}
    for odd in ({"page": 99, "text": "x"}, {"page": "1", "text": "x"}, {"page": 1, "text": 3}):
        assert page.say(act="type_up", **odd) == {"kept": False}
    rows = page.say(act="remarks")["remarks"]
    assert [row["text"] for row in rows] == ["rain <i>all</i> week", ""]
    said = [t for texts in remarks_of(record).of_pages.values() for _, t in texts]
    assert said == ["rain <i>all</i> week"]
    page.say(act="type_up", page=number, text="")
    assert not remarks_of(record).of_pages
    too_long = page.request("POST", "/say", headers=page.own(), content=json.dumps(
        {"act": "type_up", "page": number, "text": "x" * 2001}))  # fmt: skip
    assert too_long.status_code == 409
    assert "at most 2,000 signs" in too_long.json()["error"]
    assert page.told == []
