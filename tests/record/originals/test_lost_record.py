"""A record that is gone while its photos are there: one clear line, and nothing overwritten."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import stand_in
from new_records import made_by_all_steps as copied_records  # noqa: F401
from stand_in import says

from sheet_reader.errors import RecordError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.engine import RECORD_FILE, sqlite_url
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]


def remove(folder: Path) -> None:
    for path in folder.glob(f"{RECORD_FILE}*"):
        path.unlink()


def empty(folder: Path) -> None:
    remove(folder)
    (folder / RECORD_FILE).touch()


def start_afresh(folder: Path) -> None:
    """A record as an empty folder gets it."""
    remove(folder)
    other = folder.parent / "other"
    other.mkdir()
    with Record.open(stand_in.a_study(other)):
        pass
    shutil.copy(other / RECORD_FILE, folder / RECORD_FILE)


LOSSES = [remove, empty, start_afresh]


@pytest.mark.parametrize("lose", LOSSES)
def test_a_record_without_its_photos_is_not_opened(
    study: Study, post: Post, tmp_path: Path, lose: Callable[[Path], None]
) -> None:
    post(says(), "Pat Doe.png")
    good = backup(study, tmp_path / "b.tar").file.read_bytes()
    lose(study.folder)
    for use in (
        lambda: Record.open(study),
        lambda: Record.open(study, for_reading=True),
        lambda: verify(study),
        lambda: backup(study, tmp_path / "b.tar"),
        lambda: erase(study, "Pat Doe", bare_picture),
        lambda: read_batch(study, reader=stand_in.read, jobs=0),
    ):
        with pytest.raises(RecordError) as caught:
            use()
        assert "originals" in str(caught.value)
        assert "backup" in caught.value.remedy
        assert "inbox" in caught.value.remedy
        assert "\n" not in str(caught.value)
    assert (tmp_path / "b.tar").read_bytes() == good
    assert lose is not remove or not (study.folder / RECORD_FILE).exists()


@pytest.mark.parametrize("lose", LOSSES)
def test_what_the_line_advises_works(
    study: Study, post: Post, lose: Callable[[Path], None]
) -> None:
    post(says())
    post(says({"site": "1010"}))
    with Record.open(study) as record:
        before = [(v.site, v.visit_date, v.values) for v in record.visits()]
    lose(study.folder)
    for path in (study.folder / "inbox").iterdir():
        path.unlink()
    (study.folder / "originals").rename(study.folder / "inbox" / "originals")
    assert read_batch(study, reader=stand_in.read, jobs=0).read == 2
    with Record.open(study) as record:
        assert [(v.site, v.visit_date, v.values) for v in record.visits()] == before


def test_a_first_run_killed_between_photo_and_record_goes_on(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    (study.folder / "inbox" / "a.png").write_bytes(stand_in.photo(says()))

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.record.history.photos.add_photo", killed)
        with pytest.raises(KeyboardInterrupt):
            read_batch(study, reader=stand_in.read, jobs=0)
    assert list((study.folder / "originals").glob("*/*"))
    assert verify(study).sound
    assert read_batch(study, reader=stand_in.read, jobs=0).read == 1


def test_another_studys_record_is_not_believed(study: Study, post: Post, tmp_path: Path) -> None:
    """An address of a database that knows nothing of these photos."""
    post(says())
    url = sqlite_url(tmp_path / "elsewhere.sqlite")
    with pytest.raises(RecordError, match="originals"):
        Record.open(study, url)
    bare = replace(study, folder=tmp_path / "bare")
    bare.folder.mkdir()
    with Record.open(bare, url) as record:
        assert record.photos() == []
