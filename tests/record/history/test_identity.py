"""A visit keeps its identity whatever is put right, and no two visits have the same one."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from zipfile import ZipFile

import decided
from stand_in import says

from sheet_reader.record.history import deciding, mending
from sheet_reader.record.history.answers import FieldAnswer, LeftEmpty, Value
from sheet_reader.record.history.identity import identified
from sheet_reader.record.store.engine import RECORD_FILE
from sheet_reader.record.store.store import Record
from sheet_reader.results.facts import facts_of
from sheet_reader.results.formats.darwin_core.archive import darwin_core
from sheet_reader.results.frames import tables_of
from sheet_reader.study.study import Study

Post = Callable[..., Any]


def identities(record: Record) -> dict[tuple[str, str], str]:
    visits = record.state()
    known = [found.identity for found in identified(record, visits)]
    assert len(set(known)) == len(known)
    return {(v.site, v.visit_date): one for v, one in zip(visits, known, strict=True)}


def page_of(record: Record, site: str, day: str, which: int = 0) -> int:
    visit = next(v for v in record.state() if (v.site, v.visit_date) == (site, day))
    return sorted(page.page_instance_id for page in visit.pages)[which]


def reading(record: Record, page: int, field: str) -> int:
    return next(
        f.reading.reading_id
        for v in record.state()
        for f in v.fields
        if f.observation.page_instance_id == page and f.reading.field == field
    )


def published(record: Record) -> set[str]:
    """Every eventID, occurrenceID and measurementID."""
    snails, eggs = record.study.counts
    study = replace(record.study, counts=(replace(snails, taxon="Lymnaea"), eggs))
    (data,) = darwin_core(study, tables_of(study, facts_of(record))).values()
    with ZipFile(io.BytesIO(data)) as archive:
        files = [archive.read(f"{name}.txt").decode().splitlines()[1:]
                 for name in ("event", "occurrence", "measurementorfact")]  # fmt: skip
    found = [line.split("\t")[place > 0] for place, lines in enumerate(files) for line in lines]
    assert len(set(found)) == len(found)
    return set(found)


def test_twenty_corrections_change_no_identity(study: Study, post: Post) -> None:
    post(says())
    post(says({"site": "1010", "date": "2026-05-27"}))
    post(says({"site": "1022", "date": "2026-05-27"}))
    with Record.open(study) as record:
        before = set(identities(record).values())
        assert len(before) == 3
        told = published(record)
        assert len(told) == 3 + 6 + 6 + 15
        first = page_of(record, "1004", "2026-05-20")
        for step in range(6):  # to other sites and days, and back
            place = ("1010", "1004")[step % 2], ("2026-06-03", "2026-05-20")[step % 2]
            decided.move(record, first, site=place[0], visit_date=place[1], by="Ada")
            assert set(identities(record).values()) == before
        for text in ("14", "15", "16", "17", "18"):
            change = FieldAnswer(reading(record, first, "sun.snails"), Value(text))
            deciding.keep(record, [change], by="Ada")
            assert set(identities(record).values()) == before
        empty = FieldAnswer(reading(record, first, "sun.eggs"), LeftEmpty())
        deciding.keep(record, [empty], by="Ada")
        for photo in (1, 2):
            mending.set_aside(record, photo, by="Ada")
            assert len(identities(record)) == 2
            mending.take_back(record, photo, by="Ada")
            assert set(identities(record).values()) == before
        own = identities(record)["1004", "2026-05-20"]
    post(says({"sun.snails": "18"}))  # a better photo
    with Record.open(study) as record:
        mending.set_aside(record, 1, by="Ada")
        assert identities(record)["1004", "2026-05-20"] == own
        better = page_of(record, "1004", "2026-05-20")
        assert better != first
        decided.move(record, better, visit_date="2026-06-10", by="Ada")
        decided.move(record, better, visit_date="2026-05-20", by="Ada")
        assert set(identities(record).values()) == before
        while decided.undo_last(record, "Ada") is not None:
            assert len(identities(record)) == len(record.state())
        assert set(identities(record).values()) == before
        assert published(record) == told


def test_two_pages_moved_one_after_the_other_keep_it_in_any_order(
    study: Study, post: Post
) -> None:
    for order in ((0, 1), (1, 0)):
        day = f"2026-05-2{order[0]}"
        post(says({"date": day}))
        post(says({"date": day}))
        with Record.open(study) as record:
            own = identities(record)["1004", day]
            for page in [page_of(record, "1004", day, which) for which in order]:
                decided.move(record, page, site="1022", by="Ada")
            assert identities(record)["1022", day] == own


def test_a_photo_whose_date_waited_takes_no_visit_over(study: Study, post: Post) -> None:
    post(says(flagged={"date": "2026-05-20"}))
    post(says())
    with Record.open(study) as record:
        own = identities(record)["1004", "2026-05-20"]
        (asked,) = (w for w in decided.pending(record) if w.field == "date")
        deciding.keep(record, [FieldAnswer(asked.reading_id, Value("2026-05-20"))], by="Ada")
        assert identities(record) == {("1004", "2026-05-20"): own}
        decided.undo_last(record, "Ada")
        assert identities(record)["1004", "2026-05-20"] == own


def test_a_record_made_anew_of_the_same_photos_has_the_same(study: Study, post: Post) -> None:
    post(says())
    post(says({"date": "2026-05-27"}))
    with Record.open(study) as record:
        before = identities(record)
    post(says({"date": "2026-06-03"}), again=True)
    with Record.open(study) as record:
        assert identities(record).items() > before.items()
        before = identities(record)
    for file in study.folder.glob(f"{RECORD_FILE}*"):
        file.unlink()
    shutil.rmtree(study.folder / "originals", ignore_errors=True)
    post(says({"date": "2026-06-10"}))
    with Record.open(study) as record:
        assert identities(record).items() > before.items()


def test_a_change_is_known_by_its_time_and_a_repetition_changes_nothing(
    study: Study, post: Post
) -> None:
    def times(record: Record) -> dict[str, str]:
        (found,) = identified(record, record.state())
        return found.modified

    post(says())
    with Record.open(study) as record:
        before = times(record)
        assert all(before.values())
    post(says(), again=True)
    with Record.open(study) as record:
        assert times(record) == before
        page = page_of(record, "1004", "2026-05-20")
        change = FieldAnswer(reading(record, page, "sun.snails"), Value("13"))
        deciding.keep(record, [change], by="Ada")
        after = times(record)
        assert {name for name in after if after[name] != before[name]} == {"sun.snails"}
        assert after["sun.snails"] > before["sun.snails"]
        pages = [seen.page_instance_id for visit in record.state() for seen in visit.pages]
        for page in pages:
            decided.move(record, page, site="1022", by="Ada")
        assert all(moved > before[name] for name, moved in times(record).items())
