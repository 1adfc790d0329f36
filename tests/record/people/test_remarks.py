"""Remarks on visits and pages, what letters asked, and how they are erased."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import text
from stand_in import says

from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase, named
from sheet_reader.record.people.remarks import (
    AskedItem,
    Remark,
    add_to_page,
    add_to_visit,
    asked_before,
    keep_answer,
    note_drafts,
    remarks_of,
)
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]
PLACE = ("1007", "2026-05-20")


def remark(said: str = "It rained.", mark: str = "m1", author: str = "pat@example.org") -> Remark:
    return Remark("mail", mark, author, said)


def test_a_remark_is_kept_once_for_each_visit(study: Study) -> None:
    with Record.open(study) as record:
        with record.writing() as connection:
            assert add_to_visit(connection, PLACE, remark())
            assert not add_to_visit(connection, PLACE, remark())
            assert add_to_visit(connection, ("1007", "2026-05-27"), remark())
            assert add_to_visit(connection, PLACE, remark("And blew.", "m2"))
        found = remarks_of(record)
    assert found.on(PLACE, ()) == ("by mail: It rained.", "by mail: And blew.")
    assert found.on(("1007", "2026-06-03"), ()) == ()
    assert verify(study).problems == ()


def test_a_remark_on_a_page_goes_with_the_page(study: Study, post: Post) -> None:
    post(says(), "one.png")
    with Record.open(study) as record:
        page = record.readings()[0].page_instance_id
        with record.writing() as connection:
            assert add_to_page(connection, page, remark("A frost.", author="Kim"))
            assert not add_to_page(connection, page, remark("A frost.", author="Kim"))
            assert add_to_visit(connection, PLACE, remark("Later."))
        found = remarks_of(record)
    assert found.on(PLACE, [page]) == ("by mail: A frost.", "by mail: Later.")
    assert found.on(("elsewhere", ""), [page]) == ("by mail: A frost.",)
    assert verify(study).problems == ()


def test_a_letter_and_its_answer(study: Study) -> None:
    asked = AskedItem(*PLACE, "empty sun.eggs")
    with Record.open(study) as record:
        note_drafts(record, {"letter-1": [asked]})
        assert asked_before(record) == {asked}
        assert keep_answer(record, ["another"], remark()) is None
        assert keep_answer(record, ["letter-1", "another"], remark()) == [PLACE]
        assert keep_answer(record, ["letter-1"], remark()) == []
    assert verify(study).problems == ()


def test_erase_takes_what_a_person_said_and_what_names_her(study: Study) -> None:
    with Record.open(study) as record, record.writing() as connection:
        add_to_visit(connection, PLACE, remark("Two of us.", author="Pat Doe <pat@example.org>"))
        add_to_visit(connection, PLACE, remark("Pat Doe was ill.", "m2", "Kim"))
        add_to_visit(connection, PLACE, remark("It rained.", "m3", "Kim"))
    assert len(named(study, "Pat Doe").remarks) == 2
    assert erase(study, "Pat Doe", bare_picture).remarks == 2
    with Record.open(study) as record:
        assert remarks_of(record).on(PLACE, ()) == ("by mail: It rained.",)
    held = b"".join(p.read_bytes() for p in study.folder.glob("record.sqlite*"))
    assert b"Two of us" not in held
    assert b"was ill" not in held
    assert verify(study).problems == ()


def test_a_remark_that_another_program_changed_is_told(study: Study) -> None:
    with Record.open(study) as record, record.writing() as connection:
        add_to_visit(connection, PLACE, remark())
    with Record.open(study) as record, record.engine.begin() as raw:
        raw.execute(text("UPDATE remarks SET text = 'It was dry.'"))
    assert any("a remark on a visit (number 1)" in fault for fault in verify(study).problems)
