"""Pages decoded anew, without their photos, after the study file, the site list or history changed:
as if the photos had been read anew, and nothing that was accepted vanishes without a question.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import decided
import numpy as np
import pytest
from sqlalchemy import select

from sheet_reader.decode.pages import FieldReading, packed, unpacked
from sheet_reader.decode.sheet import decode_page
from sheet_reader.demo.samples import copy_sample
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.gather import INBOX
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.reading import batch, decoding
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.reading.opening import open_record
from sheet_reader.reading.picture import read_picture
from sheet_reader.reading.site_history import SETTLED, SiteHistory, site_hands
from sheet_reader.record.history.answers import Value
from sheet_reader.record.history.runs import evidence_of_runs, kept_pages, not_unasked
from sheet_reader.record.history.states import FieldState
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.days import Season
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Site, Study, SumRule
from sheet_reader.wording import words

TODAY = date(2026, 9, 30)
PLANTS = "pinched.plants"
Change = Callable[[Study], Study]


@pytest.fixture(scope="session")
def read_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study with six photos read: two sites, three visits each, on blanks and own sheets."""
    folder = tmp_path_factory.mktemp("beans") / "study"
    copy_sample("bean_tips", folder)
    study = read_study(folder)
    book, hands = LayoutBook(study), ProceduralHands()
    (folder / INBOX).mkdir()
    for number in range(6):
        day = study.season.first + timedelta(days=28 + 14 * (number // 2))
        site = study.sites[number % 2].number
        visit = random_visit(study, np.random.default_rng([number, 5]), site, day)
        request = Request(visit, 1, on_blank=number < 4)
        photo = photo_of(book, hands, "easy", 70 + number, request, long_side=1700)
        (folder / INBOX / f"{number}.jpg").write_bytes(photo.data)
    summary = read_batch(study, jobs=0, today=TODAY)
    assert summary.pages == 6
    return folder


@pytest.fixture
def study(read_once: Path, tmp_path: Path) -> Study:
    folder = tmp_path / "study"
    shutil.copytree(read_once, folder)
    return read_study(folder)


def ranges(study: Study, lowest: int) -> Study:
    return replace(study, counts=tuple(replace(c, lowest=lowest) for c in study.counts))


def fewer_sites(study: Study) -> Study:
    return replace(study, sites=study.sites[1:])


def more_sites(study: Study) -> Study:
    return replace(study, sites=(*study.sites, Site("9995", "Quarry", "")))


def shorter(study: Study) -> Study:
    return replace(study, season=Season(study.season.first, date(2026, 6, 1)))


def another_sum(study: Study) -> Study:
    return replace(study, sums=(SumRule(PLANTS, ("pinched.blackfly", "pinched.ladybirds")),))


CHANGES: dict[str, Change] = {
    "fewer sites": fewer_sites,
    "more sites": more_sites,
    "narrower ranges": lambda s: ranges(s, 30),
    "wider ranges": lambda s: ranges(s, 0),
    "a shorter season": shorter,
    "a stricter share": lambda s: replace(s, allowed_error=0.00005),
    "a looser share": lambda s: replace(s, allowed_error=0.05),
    "another sum": another_sum,
}


def together(study: Study) -> Study:
    return shorter(ranges(replace(fewer_sites(study), allowed_error=0.00005), 30))


def stored(study: Study) -> dict[tuple[int, str], tuple[object, ...]]:
    """Every field of every page as its latest run has it, by page instance."""
    r, k = schema.readings.c, schema.reading_runs.c
    with Record.open(study) as record, record.reading() as connection:
        latest = [page.run_id for page in kept_pages(connection, study.key)]
        query = (
            select(
                k.page_instance_id, r.field, r.value, r.confidence, r.status, r.reasons,
                r.runner_up, r.runner_up_confidence, k.site, k.visit_date, k.threshold,
            )
            .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
            .where(k.id.in_(latest))
        )  # fmt: skip
        return {(row[0], row[1]): tuple(row)[2:] for row in connection.execute(query)}


def runs(study: Study) -> int:
    with Record.open(study) as record, record.reading() as connection:
        return len(connection.execute(select(schema.reading_runs.c.id)).all())


def current(study: Study) -> dict[tuple[int, str], FieldState]:
    with open_record(study) as record:
        return {(row.photo_id, row.field): row for row in record.readings()}


def test_decoding_anew_gives_what_reading_the_photos_anew_gives(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(study.folder, tmp_path / "other")
    decoded, anew = together(study), together(replace(study, folder=tmp_path / "other"))
    before = stored(study)
    summary = read_batch(decoded, jobs=0, today=TODAY)
    assert (summary.decoded, summary.read) == (6, 0)
    with monkeypatch.context() as patched:  # the photos, not what is kept of them
        patched.setattr(batch, "decode_anew", lambda *_, **__: decoding.Redecoded())
        for _ in range(3):  # a site's second and third visit hear of those before
            read_batch(anew, jobs=0, today=TODAY, again=True)
    assert read_batch(anew, jobs=0, today=TODAY).decoded == 1  # refused: its site left the list
    assert stored(decoded) == stored(anew)
    assert stored(decoded) != before


def test_what_is_kept_decodes_as_vision_and_digits_would_tell(read_once: Path) -> None:
    """A page decoded from the bytes kept of it, against the same page never packed."""
    study = read_study(read_once)
    (picture,) = open_pictures(read_once / INBOX / "1.jpg")
    assert isinstance(picture, OpenedPicture)
    ((_, first),) = read_picture(picture, study, LayoutBook(study), TODAY)  # type: ignore[misc]
    assert first.evidence is not None
    evidence = unpacked(packed(first.evidence))
    assert evidence is not None
    for change in CHANGES.values():
        assert decode_page(evidence, change(study)) == decode_page(first.evidence, change(study))


def test_nothing_is_decoded_where_nothing_changed(study: Study) -> None:
    runs_before = runs(study)
    summary = read_batch(replace(study, title="Other", instructions=("Count.",)), jobs=0)
    assert (summary.decoded, summary.lines) == (0, ())
    assert runs(study) == runs_before


def test_after_a_photo_only_its_own_site_is_looked_at_again(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counted: what the last look costs must not grow with the other sites of the record."""
    asked: list[set[str] | None] = []
    plain = decoding.history_of

    def noted(record: Record, sites: set[str] | None = None) -> SiteHistory:
        asked.append(sites)
        return plain(record, sites)

    site, day = study.sites[0].number, study.season.first + timedelta(days=7)
    visit = random_visit(study, np.random.default_rng([9, 5]), site, day)
    request = Request(visit, 1, on_blank=False)
    photo = photo_of(LayoutBook(study), ProceduralHands(), "easy", 80, request, long_side=1700)
    (study.folder / INBOX / "earlier.jpg").write_bytes(photo.data)
    monkeypatch.setattr(decoding, "history_of", noted)
    summary = read_batch(study, jobs=0, today=TODAY)
    assert summary.read == 1
    assert summary.decoded >= 1, "the site's later visits have a history more now"
    assert asked[0] is None
    assert len(asked) > 1
    assert all(sites == {site} for sites in asked[1:])
    monkeypatch.undo()
    assert read_batch(study, jobs=0, today=TODAY).decoded == 0, "nothing was overlooked"


def test_a_change_that_is_taken_back_leaves_all_as_it_was(study: Study) -> None:
    before = {k: (r.value, r.status) for k, r in current(study).items()}
    read_batch(together(study), jobs=0)
    during = {k: (r.value, r.status) for k, r in current(together(study)).items()}
    assert during != before
    read_batch(study, jobs=0)
    assert {k: (r.value, r.status) for k, r in current(study).items()} == before
    assert verify(study).problems == ()


def test_every_accepted_value_stays_or_is_asked_about(study: Study) -> None:
    before, first = current(study), stored(study)
    changed = together(study)
    summary = read_batch(changed, jobs=0)
    after = current(changed)
    sure = {k for k, row in before.items() if row.status == "accepted"}
    lost = {key for key in sure if after[key].status != "accepted"}
    assert lost
    assert all(after[key].value == before[key].value for key in sure)
    assert {after[key].status for key in lost} == {"doubted"}
    with open_record(changed) as record:
        assert {(w.photo_id, w.field) for w in decided.pending(record)} >= lost
        assert any(note.startswith(f"doubted: {len(lost)} values") for note in record.notes())
    line = summary.lines[0]
    assert line.startswith("Changed since: study.toml, the site list, allowed_error: 6 pages")
    now = stored(changed)
    doubted = sum(first[k][2] != now[k][2] == "flagged" and first[k][0] is not None for k in now)
    assert f"{doubted} are doubted now" in line
    assert "in the tables, marked, until you answer in review" in summary.lines[-1]
    assert any("photo-0001" in line for line in summary.lines[1:])


def test_a_decision_stands_and_is_told_where_it_would_differ(study: Study) -> None:
    row = next(r for r in current(study).values() if r.field == PLANTS and r.status == "accepted")
    with open_record(study) as record:
        decided.decide(record, row.reading_id, Value("8"), by="Ada")
    changed = ranges(study, 60)
    summary = read_batch(changed, jobs=0)
    now = current(changed)[row.photo_id, PLANTS]
    assert (now.value, now.status) == ("8", "corrected")
    told = [line for line in summary.lines if "the decision stands" in line]
    assert [f"photo-{row.photo_id:04}" in line and PLANTS in line for line in told] == [True]


def test_pictures_of_a_field_that_is_asked_about_now(study: Study) -> None:
    changed = ranges(study, 60)
    read_batch(changed, jobs=0)
    with open_record(changed) as record:
        asked = next(w for w in decided.pending(record) if w.field == PLANTS)
        images = field_images(record, asked.reading_id)
    assert images.boxes.shape[1:] == (64, 64)
    assert len(images.boxes) == next(f.boxes for f in study.fields if f.name == PLANTS)
    assert images.context_png.startswith(b"\x89PNG")


def test_the_history_tells_the_decoding(study: Study) -> None:
    changed = ranges(study, 60)
    row = next(r for r in current(study).values() if r.field == PLANTS and r.status == "accepted")
    read_batch(changed, jobs=0)
    with open_record(changed) as record:
        told = [e for e in record.history(row.site, row.visit_date) if e.field == PLANTS]
    assert [e.what for e in told] == ["read, accepted", "decoded anew, flagged"]
    assert words(told[1].reasons)


def test_work_that_was_interrupted_goes_on(study: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    changed = together(study)
    monkeypatch.setattr(decoding, "AT_A_TIME", 2)
    real, calls = decoding.runs.keep_decoded, []

    def keep(*args: object) -> object:
        if len(calls) == 2:
            raise KeyboardInterrupt
        calls.append(args)
        return real(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(decoding.runs, "keep_decoded", keep)
    with pytest.raises(KeyboardInterrupt):
        read_batch(changed, jobs=0)
    monkeypatch.setattr(decoding.runs, "keep_decoded", real)
    assert read_batch(changed, jobs=0).decoded == 2
    assert verify(changed).problems == ()


def test_worker_processes_give_the_same(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(study.folder, tmp_path / "other")
    monkeypatch.setattr(decoding, "FEWEST_FOR_WORKERS", 1)
    alone, shared = together(study), together(replace(study, folder=tmp_path / "other"))
    read_batch(alone, jobs=0)
    assert read_batch(shared, jobs=2).decoded == 6
    assert stored(alone) == stored(shared)


def test_a_sure_reading_that_differs_from_a_former_sure_one_is_asked() -> None:
    was = {"a": "12", "b": None, "c": "3"}
    read = [
        FieldReading("a", "13", 0.999, "accepted"),
        FieldReading("b", "0", 0.999, "accepted"),
        FieldReading("c", "3", 0.999, "accepted"),
        FieldReading("d", "4", 0.999, "accepted"),
    ]
    got = not_unasked(read, was)
    assert [f.status for f in got] == ["flagged", "flagged", "accepted", "accepted"]
    assert words(got[0].reasons) == "was surely read as 12 before"
    assert words(got[1].reasons) == "was surely read as nothing before"


def test_evidence_is_small_and_under_the_checksums(study: Study) -> None:
    with Record.open(study) as record, record.reading() as connection:
        pages = kept_pages(connection, study.key)
        kept = evidence_of_runs(connection, [page.source or 0 for page in pages])
    assert max(map(len, kept.values())) < 8_000
    with Record.open(study) as record, record.engine.connect() as raw:
        raw.exec_driver_sql("DROP TRIGGER reading_runs_keep_update")
        raw.exec_driver_sql("UPDATE reading_runs SET evidence = x'00' WHERE id = 1")
        raw.commit()
    assert any("reading of the page" in line or "page" in line for line in verify(study).problems)


def test_what_was_kept_of_the_pages_tells_each_sites_hands(study: Study) -> None:
    with open_record(study) as record:
        hands = site_hands(record, record.state())
        days = {s.number: [f.day for f in hands[s.number]] for s in study.sites[:2]}
        placed = [v for v in record.state() if v.site and v.visit_date]
        for number, told in days.items():
            assert told == sorted({v.visit_date for v in placed if v.site == number})
            assert len(told) >= 2
        site, last = study.sites[0].number, days[study.sites[0].number][-1]
        rows = [r for r in record.readings() if (r.site, r.visit_date) == (site, last)]
        sure = (r for r in rows if r.value and r.status == "accepted" and r.confidence >= SETTLED)
        row = next(r for r in sure if "." in r.field)
        before = next(f for f in hands[site] if f.day == last).examples
        assert 10 <= len(before) <= 80
        swapped = row.value[:-1] + str((int(row.value[-1]) + 1) % 10)
        decided.decide(record, row.reading_id, Value(swapped), by="Ada")
        after = next(f for f in site_hands(record, record.state())[site] if f.day == last).examples
    flat = len(after) < len(before), "a clear digit that a person renamed is no example"
    assert flat[0] or (after.digits != before.digits).any()
    others = [f for s, found in hands.items() for f in found if (s, f.day) != (site, last)]
    assert len(others) == len(placed) - 1


def test_a_read_without_an_inbox_goes_on_where_known_sheets_wait(study: Study) -> None:
    with open_record(study) as record:
        assert not decoding.waits_for_decoding(record)
    with open_record(together(study)) as record:
        assert decoding.waits_for_decoding(record)
