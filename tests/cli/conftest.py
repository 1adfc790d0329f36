"""A bean study whose photos spell out, in their first row, what a reader makes of them."""

import io
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from new_records import copied_records as copied_records
from new_records import new_record as new_record
from PIL import Image

from sheet_reader.cli.main import cli
from sheet_reader.decode.pages import FieldReading, PageReading
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import worker
from sheet_reader.reasons import Code, because, in_words
from sheet_reader.sheet.page import BLANK, Cell, Page, SheetCode
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import BoxView, NoSheet, PhotoQuality, SheetView

SAMPLES = Path(__file__).parents[2] / "samples"
SITE, OTHER_SITE = "2043", "0174"
COUNTS = {
    f"{plot}.{name}": value
    for plot in ("pinched", "unpinched")
    for name, value in {
        "minutes": "10",
        "plants": "14",
        "blackfly": "0",
        "egg_clusters": "3",
        "small_larvae": "4",
        "large_larvae": "5",
        "ladybirds": "12",
    }.items()
}


def photo_bytes(said: Any) -> bytes:
    """A picture with ``said`` as JSON in the grey values of its first row."""
    gray = np.full((300, 4000), 255, np.uint8)
    text = json.dumps(said).encode()
    gray[0, : len(text) + 1] = np.frombuffer(text + b"\0", np.uint8)
    stream = io.BytesIO()
    Image.fromarray(gray).save(stream, "PNG")
    return stream.getvalue()


def stand_in(
    picture: OpenedPicture, study: Study, _book: object, _today: date, /, **_: Any
) -> list[Any]:
    """Reads what the picture says; a plain text is the reason why there is no sheet."""
    row = picture.gray[0]
    said = json.loads(row[: int(np.argmin(row))].tobytes())
    if isinstance(said, str):
        return [NoSheet(because(Code.TEXT, text=said))]
    readings = []
    for name, value in said["accepted"].items():
        status = "accepted" if value is not None else "empty"
        readings.append(FieldReading(name, value, 0.9995, status, (), "8", 0.0004))  # type: ignore[arg-type]
    for name, (value, confidence, reason) in said["flagged"].items():
        readings.append(
            FieldReading(name, value, confidence, "flagged", in_words(reason), "8", 0.1)
        )
    code = SheetCode(study.key, "v1", said["sheet"], 1)
    accepted = said["accepted"]
    site = said["sheet"] if said["sheet"] != BLANK else accepted.get("site")
    advice = said.get("advice", "")
    page = PageReading(code, tuple(readings), site, accepted.get("visit_date"), advice)
    return [(_view(code, readings), page)]


def _view(code: SheetCode, readings: list[FieldReading]) -> SheetView:
    boxes = []
    for place, reading in enumerate(readings):
        digits = (reading.value or "").replace("-", "")[-6:] or " "
        for index, digit in enumerate(digits):
            cell = Cell(reading.field, index, (20.0 + 9 * index, 20.0 + 12 * place, 7.0, 9.0))
            x, y = 30.0 + 130 * place + 18 * index, 100.0
            corners = np.array([[x, y], [x + 14, y], [x + 14, y + 18], [x, y + 18]])
            boxes.append(BoxView(cell, 0.1, crop=_crop(digit), corners_px=corners))
    page = Page(code, 1, 210, 297, (), (), (0, 0, 1, 1), (0, 0, 1, 1))
    outline = np.array([[5, 50], [3900, 50], [3900, 280], [5, 280]], np.float64)
    quality = PhotoQuality(8.0, 0.1, 0.8, 0, 0.0)
    return SheetView(page, tuple(boxes), quality, "machine code", outline)


def _crop(digit: str) -> np.ndarray:
    crop = np.full((64, 64), 230, np.uint8)
    cv2.putText(crop, digit, (18, 48), cv2.FONT_HERSHEY_SIMPLEX, 1.4, 50, 3, cv2.LINE_AA)
    return crop


@dataclass
class Desk:
    """A study folder with an inbox, and the command line."""

    folder: Path

    def put(
        self,
        name: str,
        *,
        sheet: str = SITE,
        visit_date: str = "2026-05-20",
        advice: str = "",
        flagged: dict[str, tuple[str | None, float, str]] | None = None,
        **values: Any,
    ) -> Path:
        """A photo in the inbox: the usual counts, some of them changed or flagged."""
        accepted: dict[str, Any] = {"visit_date": visit_date, "helpers": "2", **COUNTS}
        accepted |= {key.replace("__", "."): value for key, value in values.items()}
        for field in flagged or {}:
            accepted.pop(field, None)
        said = {"accepted": accepted, "flagged": flagged or {}, "sheet": sheet, "advice": advice}
        return self.put_bytes(name, photo_bytes(said))

    def put_bytes(self, name: str, data: bytes) -> Path:
        path = self.folder / "inbox" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
        return path

    def run(self, command: str, *args: Any, typed: str | None = None) -> Result:
        """Run a command on the study."""
        extra = ["--jobs", "0"] if command == "read" else []
        words = [command, str(self.folder), *extra, *(str(arg) for arg in args)]
        return CliRunner().invoke(cli, words, input=typed)

    def done(self, command: str, *args: Any, typed: str | None = None) -> str:
        """Run a command that must succeed; gives its output."""
        result = self.run(command, *args, typed=typed)
        assert result.exit_code == 0, result.output
        return result.stdout


def desk_in(place: Path, patch: pytest.MonkeyPatch) -> Desk:
    """A bean study in ``place``, read by the stand-in."""
    folder = place / "beans"
    shutil.copytree(SAMPLES / "bean_tips", folder)
    (folder / "inbox").mkdir(exist_ok=True)
    patch.setattr(worker, "default_reader", lambda: stand_in)
    patch.setattr("sheet_reader.study.days.today", lambda *_: date(2026, 6, 1))
    return Desk(folder)


@pytest.fixture
def bean_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A bean study read by the stand-in."""
    return desk_in(tmp_path, monkeypatch)


Fill = Callable[[Desk], None]


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Desk, Fill], Desk]:
    """Does something to a fresh desk; what came of it is kept and copied to the next one."""
    kept: dict[Fill, Path] = {}

    def do(desk: Desk, fill: Fill) -> Desk:
        if fill in kept:
            shutil.rmtree(desk.folder)
            shutil.copytree(kept[fill], desk.folder)
        else:
            fill(desk)
            kept[fill] = tmp_path_factory.mktemp("filled") / "beans"
            shutil.copytree(desk.folder, kept[fill])
        return desk

    return do


def _read_a(desk: Desk) -> None:
    desk.put("a.png")
    desk.done("read")


@pytest.fixture
def one_read(bean_desk: Desk, filled: Callable[[Desk, Fill], Desk]) -> Desk:
    """The usual photo, ``a.png``, was read."""
    return filled(bean_desk, _read_a)


@pytest.fixture(scope="session")
def make_desk() -> Callable[[Path, pytest.MonkeyPatch], Desk]:
    """Makes a further one, for a study that the tests of a file share."""
    return desk_in


@pytest.fixture
def no_sheet() -> Callable[[str], bytes]:
    """The bytes of a photo that shows no sheet, with the reason."""
    return photo_bytes
