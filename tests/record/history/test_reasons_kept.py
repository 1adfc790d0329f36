"""Reasons in the record."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import decided
import pytest
import stand_in

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reasons import Code, because, codes_of, from_json, to_json
from sheet_reader.record.store.store import Record
from sheet_reader.results.export import export_files
from sheet_reader.results.facts import facts_of
from sheet_reader.results.frames import tables_of
from sheet_reader.study.study import Study
from sheet_reader.wording import words

Post = Callable[..., BatchSummary]
ABOVE = {"code": "above-range", "value": "72", "highest": 60}


def test_no_reason_is_nothing_in_the_record() -> None:
    assert to_json(()) is None
    assert from_json(None) == ()


DAMAGED = ['[{"code": "gap", "value":', '[{"code": 7}]', "[", '["x"]', "[7]", "7", "[null]",
           '[{"code": "in-future"}]']  # fmt: skip


@pytest.mark.parametrize("damaged", DAMAGED)
def test_damaged_reasons_are_shown_as_they_are(damaged: str) -> None:
    assert words(from_json(damaged))
    assert codes_of(from_json(damaged)) == "text"


def test_a_damaged_day_is_shown_as_it_is() -> None:
    damaged = because(Code.IN_FUTURE, date="\x012026-05-20")
    assert words([damaged]) == "visit date \x012026-05-20 lies in the future"


def test_a_reason_goes_through_the_record_into_the_tables(
    study: Study, post: Post, tmp_path: Path
) -> None:
    said = {"accepted": {"site": "1004", "date": "2026-05-20"}, "flagged": {"sun.eggs": "72"}}
    post(said | {"reasons": {"sun.eggs": [ABOVE]}})
    with Record.open(study) as record:
        (item,) = decided.pending(record)
        assert item.reasons == (because(Code.ABOVE_RANGE, value="72", highest=60),)
        export_files(study, tables_of(study, facts_of(record)), tmp_path)
        events = record.history("1004", "2026-05-20")
    with (tmp_path / "readings.csv").open(encoding="utf-8", newline="") as stream:
        (line,) = [row for row in csv.DictReader(stream) if row["field"] == "sun.eggs"]
    assert line["reason_code"] == "above-range"
    assert line["reason"] == "72 is more than the highest plausible value 60"
    assert [codes_of(e.reasons) for e in events if e.field == "sun.eggs"] == ["above-range"]


def test_a_photo_that_gave_nothing_keeps_why_as_data(study: Study) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo("not one of ours"))
    read_batch(study, reader=stand_in.read, jobs=0)
    with Record.open(study) as record:
        (photo,) = record.photos()
        assert photo.reasons == (because(Code.TEXT, text="not one of ours"),)
