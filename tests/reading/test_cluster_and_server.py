"""All lies elsewhere at once: photos read on a Dask cluster, the record on a PostgreSQL server, the
originals on a store.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import dask_cluster
import database_server
import pytest
import stand_in
from dask_cluster import Running
from stand_in import says

from sheet_reader.errors import StorageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.cluster import Cluster
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.object_store import STORE_VARIABLE
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.engine import URL_VARIABLE
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

PHOTOS, MORE = 5, 12


@pytest.fixture
def elsewhere(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Running]:
    """A cluster, while record and originals are elsewhere too."""
    pytest.importorskip("fsspec", reason="fsspec (the extra store) is not installed")
    with (
        tempfile.TemporaryDirectory(prefix="pg") as folder,
        database_server.running(Path(folder)) as url,
        dask_cluster.running(tmp_path) as running,
    ):
        monkeypatch.setenv(URL_VARIABLE, url)
        monkeypatch.setenv(STORE_VARIABLE, f"memory://{tmp_path.name}")
        yield running


def test_a_worker_dies_and_nothing_is_lost_wherever_things_lie(
    study: Study, elsewhere: Running
) -> None:
    cluster = Cluster(elsewhere.address, elsewhere.tls)
    for number in range(PHOTOS):
        act = {"act": "die once", "mark": str(study.folder / "mark")} if number == 3 else {}
        data = stand_in.photo(says({"sun.snails": str(number)}, **act), seed=number)
        (study.folder / "inbox" / f"p{number}.png").write_bytes(data)
    summary = read_batch(study, reader=stand_in.read, cluster=cluster)
    assert (summary.read, summary.failed) == (PHOTOS, 0)
    assert all(line.startswith("Doubted since") for line in summary.lines)  # they differ
    assert (study.folder / "mark").exists(), "a worker died"
    assert not (study.folder / "record.sqlite").exists()
    assert not (study.folder / "originals").exists()
    assert len(list(originals.all_kept(study.folder))) == PHOTOS
    with Record.open(study) as record, record.reading() as connection:
        assert connection.dialect.name == "postgresql"
        rows = [row for row in record.readings() if row.field == "sun.snails"]
        assert sorted(row.read_value for row in rows) == [str(n) for n in range(PHOTOS)]
    assert verify(study).problems == ()
    the_scheduler_dies(study, elsewhere)


def the_scheduler_dies(study: Study, elsewhere: Running) -> None:
    """Midway: one line, what was read is kept, and the rest waits for whoever reads next."""
    for number in range(MORE):
        data = stand_in.photo(says(), seed=100 + number)
        (study.folder / "inbox" / f"q{number}.png").write_bytes(data)

    def kill(done: int, *_: object) -> None:
        if done == 1:
            elsewhere.scheduler.kill()
            elsewhere.scheduler.wait()

    cluster = Cluster(elsewhere.address, elsewhere.tls)
    with pytest.raises(StorageError, match="run the command again") as told:
        read_batch(study, reader=stand_in.read, cluster=cluster, on_progress=kill)
    assert "\n" not in str(told.value)
    with Record.open(study) as record:
        states = record.summary().photos
    assert states["read"] > PHOTOS
    assert states["read"] + states["waiting"] == PHOTOS + MORE
    rest = read_batch(study, reader=stand_in.read, jobs=0)
    assert (rest.read, rest.left_to_another) == (states["waiting"], 0)
