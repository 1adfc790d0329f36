"""Reading on a real Dask cluster: scheduler and two workers in processes of their own, over TLS."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import dask_cluster
import decided
import pytest
import stand_in
from dask_cluster import Running
from stand_in import says

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import cluster as on_cluster
from sheet_reader.reading import worker
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.cluster import Cluster
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.reading.worker import Work
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import photo_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with dask_cluster.running(tmp_path_factory.mktemp("dask")) as found:
        yield found


@pytest.fixture
def cluster(running: Running) -> Cluster:
    return Cluster(running.address, running.tls)


def put(study: Study, *said: Any) -> None:
    for number, one in enumerate(said):
        data = stand_in.photo(one, seed=number)
        (study.folder / "inbox" / f"p{number}.png").write_bytes(data)


def told(record: Record) -> list[str]:
    """All that the record says of readings and visits, but for its numbers of pages and readings,
    which go by the order in which photos were done.
    """
    rows = sorted(record.readings(), key=lambda row: (row.photo_id, row.field))
    said = [*map(repr, rows), *map(repr, record.visits())]
    return [re.sub(r"(page_instance|reading|run)_id=\d+", "", one) for one in said]


def boxes(record: Record) -> list[bytes]:
    """The crops of all doubtful fields."""
    waiting = [field_images(record, item.reading_id).boxes for item in decided.pending(record)]
    return sorted(crop.tobytes() for crops in waiting for crop in crops)


def test_photos_read_on_a_cluster_are_read_as_by_worker_processes(
    cluster: Cluster, tmp_path: Path
) -> None:
    """Real photographs, through the whole program."""
    book = LayoutBook(read_study(SAMPLES / "bean_tips"))
    photos = [photo_of(book, ProceduralHands(), "typical", number).data for number in range(2)]
    found = []
    for name, where in (("here", {"jobs": 2}), ("there", {"cluster": cluster})):
        shutil.copytree(SAMPLES / "bean_tips", tmp_path / name)
        study = read_study(tmp_path / name)
        (study.folder / "inbox").mkdir(exist_ok=True)
        for number, data in enumerate(photos):
            (study.folder / "inbox" / f"p{number}.jpg").write_bytes(data)
        summary = read_batch(study, today=date(2026, 9, 30), **where)  # type: ignore[arg-type]
        assert summary.read == 2
        with Record.open(study) as record:
            found.append((told(record), boxes(record)))
    assert len(found[0][0]) > 30
    assert found[0] == found[1]


def test_a_worker_that_dies_loses_nothing_and_a_photo_that_kills_is_a_fault(
    study: Study, cluster: Cluster
) -> None:
    """The scheduler blames whatever lay on a worker that died; only one photo is to blame."""
    mark = str(study.folder / "mark")
    acts = ["", "die once", "", "die", "", "raise"]
    put(study, *(says(act=act, mark=mark) for act in acts))
    summary = read_batch(study, reader=stand_in.read, cluster=cluster)
    assert (summary.read, summary.failed) == (4, 2)
    assert sorted(summary.lines) == [
        "p3.png (photo-0004): the reader broke down over this photo",
        "p5.png (photo-0006): the reader stumbled over this photo (ValueError: odd numbers)",
    ]
    with Record.open(study) as record:
        assert record.summary().photos == {"read": 4, "stopped": 2}


def test_results_are_kept_as_they_come(study: Study, cluster: Cluster) -> None:
    """Whoever looks after the first photo finds it in the record, and stopping there is safe."""
    put(study, *(says() for _ in range(12)))
    seen: list[int] = []

    class StopError(Exception):
        pass

    def look(done: int, *_: object) -> None:
        with Record.open(study) as record:
            seen.append(record.summary().photos["read"])
        if done == 2:
            raise StopError

    with pytest.raises(StopError):
        read_batch(study, reader=stand_in.read, cluster=cluster, on_progress=look)
    assert seen == [1, 2]
    assert read_batch(study, reader=stand_in.read, cluster=cluster).read == 10


def test_only_a_few_photos_are_under_way(
    study: Study, cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(study, *(says() for _ in range(12)))
    most = []
    plain = on_cluster._Crew.next

    def counted(self: Any) -> Any:
        most.append(len(self.under_way))
        return plain(self)

    monkeypatch.setattr(on_cluster._Crew, "next", counted)
    assert read_batch(study, reader=stand_in.read, cluster=cluster).read == 12
    assert 1 <= max(most) <= 4


def test_a_missing_original_is_a_line_and_the_others_go_on(study: Study, cluster: Cluster) -> None:
    put(study, says(), says())
    with pytest.raises(UsageError):  # taken in, not read
        read_batch(study, cluster=Cluster("tls://127.0.0.1:9", (Path("none"),) * 3))
    next((study.folder / "originals").glob("*/*")).unlink()
    for file in (study.folder / "inbox").iterdir():
        file.unlink()
    summary = read_batch(study, reader=stand_in.read, cluster=cluster)
    assert (summary.read, summary.failed) == (1, 1)
    assert "FileNotFoundError" in summary.lines[0]


def test_workers_with_another_program_are_refused(
    study: Study, cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(study, says())
    monkeypatch.setattr(worker, "versions", lambda: ("0.next", "reader", "decoder"))
    with pytest.raises(UsageError, match=r"runs another program: .* there, 0\.next reader decoder"):
        read_batch(study, reader=stand_in.read, cluster=cluster)
    monkeypatch.undo()
    assert read_batch(study, reader=stand_in.read, cluster=cluster).read == 1


def test_workers_without_the_program_are_told(study: Study, cluster: Cluster) -> None:
    put(study, says())
    with pytest.raises(UsageError, match=r"can't run the program .*no_such_module"):
        read_batch(study, reader=nowhere(), cluster=cluster)


def nowhere() -> Any:
    """A reader that workers can't import."""
    import sys
    from types import ModuleType

    def reader(picture: OpenedPicture, *_: object, **__: object) -> list[Any]:
        raise AssertionError(picture)

    module = ModuleType("no_such_module")
    sys.modules[module.__name__] = module
    reader.__module__, reader.__qualname__ = module.__name__, "reader"
    module.reader = reader  # type: ignore[attr-defined]
    return reader


def test_a_scheduler_that_wants_tls_is_not_reached_without(
    study: Study, running: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(study, says())
    monkeypatch.setattr(on_cluster, "CONNECT_SECONDS", 0.5)
    plain = running.address.replace("tls://", "tcp://")
    with pytest.raises(StorageError, match="the scheduler can't be reached") as refused:
        read_batch(study, reader=stand_in.read, cluster=Cluster(plain))
    assert "\n" not in str(refused.value)
    with Record.open(study) as record:
        assert record.summary().photos == {"waiting": 1}


def test_a_certificate_of_another_authority_is_refused(
    study: Study, running: Running, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(study, says())
    monkeypatch.setattr(on_cluster, "CONNECT_SECONDS", 0.5)
    others = dask_cluster.certificates(tmp_path)
    with pytest.raises(StorageError, match="the scheduler can't be reached"):
        read_batch(study, reader=stand_in.read, cluster=Cluster(running.address, others))


def test_a_cluster_without_workers_is_told(
    study: Study, cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(study, says())
    monkeypatch.setattr(on_cluster._Crew, "_count", lambda _crew: 0)
    monkeypatch.setattr(on_cluster, "WORKERS_SECONDS", -1.0)
    with pytest.raises(StorageError, match="no worker has joined the cluster"):
        read_batch(study, reader=stand_in.read, cluster=cluster)


def test_no_contact_and_no_folder_travels(study: Study) -> None:
    work = Work(study, date(2026, 5, 20))
    assert "pat@example.org" in repr(study.sites)
    data = worker.packed(work)
    assert b"pat@example.org" not in data
    assert str(study.folder).encode() not in data
    assert study.sites[0].number.encode() in data
