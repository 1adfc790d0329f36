"""The photo with its boxes drawn: where each box was found, what was read, what waits.

A thin blue frame is an accepted value; a thick orange one with a ? a question; a grey one with a
dash an empty field; a violet one with an X one that can't be read. Copies hold nothing but the
picture and a mark that says what they are: no metadata of the camera or owner, and no file name but
the photo's neutral one.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import StorageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import marked_as_overlay, open_pictures
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.loading import LATEST
from sheet_reader.record.history.photo_fates import became
from sheet_reader.record.history.states import TRUSTED
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.wording import neutral_name

LONGEST_PX = REVIEW.overlay_px
JPEG_QUALITY = REVIEW.overlay_quality
PLATE = REVIEW.plate
INKS: dict[str, tuple[int, int, int]] = {
    **dict.fromkeys(TRUSTED, (175, 90, 20)),
    "doubted": (0, 110, 230),
    "flagged": (0, 110, 230),
    "empty": (130, 130, 130),
    "unreadable": (150, 40, 130),
}
"""Blue, green, red by status; each at least 3:1 against white (WCAG 2.2, non-text contrast)."""
SIGNS = {"doubted": "?", "flagged": "?", "empty": "-", "unreadable": "X"}
"""What stands beside the value, so that no colour has to be told from another."""
LEGEND = (("accepted", "14 accepted"), ("flagged", "14? question"), ("empty", "- empty"),
          ("unreadable", "X can't be read"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mark:
    """A field in a picture: its boxes, float (n, 4, 2) x, y in px, its status and its value."""

    corners: NDArray[np.float64]
    status: str
    text: str


def draw(
    gray: NDArray[np.uint8],
    marks: Sequence[Mark],
    outlines: Sequence[NDArray[np.float64]] = (),
    fate: str = "",
) -> NDArray[np.uint8]:
    """``gray`` (H, W) with ``marks`` and page ``outlines`` (4, 2): uint8 (h, w, 3) blue green red.

    The picture is turned so that its first page stands upright, shrunk to LONGEST_PX, and gets a
    legend below, with its ``fate`` above that where its values serve nowhere.
    """
    turns = quarter_turns(outlines[0]) if len(outlines) else 0
    scale = min(1.0, LONGEST_PX / max(gray.shape))
    size = (round(gray.shape[1] * scale), round(gray.shape[0] * scale))
    small = np.rot90(cv2.resize(gray, size, interpolation=cv2.INTER_AREA), turns)
    canvas = np.array(cv2.cvtColor(np.ascontiguousarray(small), cv2.COLOR_GRAY2BGR), np.uint8)
    for outline in outlines:
        _polygon(canvas, turned(outline * scale, turns, size), (90, 140, 40), 2)
    for mark in marks:
        boxes = turned(mark.corners.reshape(-1, 2) * scale, turns, size).reshape(-1, 4, 2)
        _draw_mark(canvas, boxes, mark)
    strips = [_strip(canvas.shape[1], fate)] if fate else []
    return np.vstack([canvas, *strips, _legend(canvas.shape[1])])


def quarter_turns(outline: NDArray[np.float64]) -> int:
    """Quarter turns to the left, 0 to 3, that bring a page upright.

    ``outline`` (4, 2) has the page's corners in px, clockwise from its printed top left.
    """
    right = outline[1] - outline[0] + outline[2] - outline[3]
    angle = np.arctan2(right[1], right[0])
    return round(float(angle) / (np.pi / 2)) % 4


def turned(points: NDArray[np.float64], turns: int, size: tuple[int, int]) -> NDArray[np.float64]:
    """``points`` (n, 2) in a picture of ``size`` (width, height) turned left so many quarters."""
    width, height = size
    for _ in range(turns):
        points = np.column_stack([points[:, 1], width - 1 - points[:, 0]])
        width, height = height, width
    return points


def _draw_mark(canvas: NDArray[np.uint8], boxes: NDArray[np.float64], mark: Mark) -> None:
    if not len(boxes):
        return
    ink = INKS.get(mark.status, INKS["flagged"])
    waits = mark.status in ("flagged", "doubted")
    for box in boxes:
        _polygon(canvas, box, ink, 3 if waits else 1)
    text = f"{mark.text}{SIGNS.get(mark.status, '')}"
    if text:
        _label(canvas, boxes[0], text, ink)


def _label(
    canvas: NDArray[np.uint8], box: NDArray[np.float64], text: str, ink: tuple[int, int, int]
) -> None:
    """The value on a white plate that stands on the upper edge of the first box."""
    height = float(np.linalg.norm(box[3] - box[0]))
    size = max(0.4, height / 70)
    thick = max(1, round(size * 1.8))
    (wide, high), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, thick)
    x, y = round(float(box[:, 0].min())), round(float(box[:, 1].min()) - 0.1 * height)
    y = max(y, high + 4)
    cv2.rectangle(canvas, (x - 3, y - high - 4), (x + wide + 3, y + 4), PLATE, -1)
    cv2.putText(canvas, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, size, ink, thick, cv2.LINE_AA)


def _polygon(
    canvas: NDArray[np.uint8], points: NDArray[np.float64], ink: tuple[int, int, int], thick: int
) -> None:
    whole = np.rint(points).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(canvas, [whole], True, ink, thick, cv2.LINE_AA)


def _strip(width: int, text: str) -> NDArray[np.uint8]:
    strip = np.full((44, width, 3), PLATE, np.uint8)
    ink = INKS["flagged"]
    cv2.putText(strip, text, (10, 30), cv2.FONT_HERSHEY_SIMPLEX, 0.8, ink, 2, cv2.LINE_AA)
    return strip


def _legend(width: int) -> NDArray[np.uint8]:
    strip = np.full((44, width, 3), PLATE, np.uint8)
    step = width // len(LEGEND)
    for place, (status, words) in enumerate(LEGEND):
        x = 10 + place * step
        cv2.rectangle(strip, (x, 12), (x + 20, 32), INKS[status], 3 if status == "flagged" else 2)
        size = min(0.6, step / 260)
        cv2.putText(
            strip, words, (x + 28, 28), cv2.FONT_HERSHEY_SIMPLEX, size, (30, 30, 30), 1, cv2.LINE_AA
        )
    return strip


def write_overlays(
    record: Record, photo_id: int, folder: Path, *, frame: int | None = None
) -> list[Path]:
    """Draw every picture of a photo into ``folder``, made if missing; gives the files.

    A PDF or TIFF gives one file for each of its pictures; ``frame`` chooses one, from 0. Raises
    StorageError.
    """
    original = record.photo_path(photo_id)
    marks, outlines = _found(record, photo_id)
    fates = [
        became(record.study, visit, page.page_instance_id).words
        for visit in record.state()
        for page in visit.pages
        if page.photo_id == photo_id
    ]
    fate = "; ".join(dict.fromkeys(words for words in fates if words != "read"))
    written = []
    for picture in open_pictures(original):
        if not isinstance(picture, OpenedPicture) or frame not in (None, picture.frame):
            continue
        drawn = draw(picture.gray, marks[picture.frame], outlines[picture.frame], fate)
        written.append(_write_jpeg(folder / overlay_name(photo_id, picture.frame), drawn))
    if not written:
        raise StorageError("the kept photo cannot be opened", where=str(original))
    return written


def side_by_side(paths: Sequence[Path], folder: Path) -> Path:
    """Overlays in one picture, in ``folder``, all as high as the lowest. Raises StorageError."""
    pictures = [cv2.imread(str(path)) for path in paths]
    found = [np.asarray(picture, np.uint8) for picture in pictures if picture is not None]
    height = min(picture.shape[0] for picture in found)
    sizes = [(round(p.shape[1] * height / p.shape[0]), height) for p in found]
    scaled = [cv2.resize(p, size) for p, size in zip(found, sizes, strict=True)]
    name = "-and-".join(path.stem for path in paths)
    return _write_jpeg(folder / f"{name}.jpg", np.hstack(scaled).astype(np.uint8))


def overlay_name(photo_id: int, frame: int = 0) -> str:
    """The file name of a photo's overlay: neutral, one for each picture in the photo.

    >>> overlay_name(27), overlay_name(27, 2)
    ('photo-0027.jpg', 'photo-0027-3.jpg')
    """
    ending = f"-{frame + 1}" if frame else ""
    return f"{neutral_name(photo_id)}{ending}.jpg"


def _write_jpeg(path: Path, picture: NDArray[np.uint8]) -> Path:
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    try:
        atomic_write({path: marked_as_overlay(data.tobytes()) if done else b""})
    except OSError as error:
        raise StorageError(
            f"cannot write here: {(error.strerror or str(error)).lower()}", where=path.parent
        ) from error
    return path


Marks = defaultdict[int, list[Mark]]
Outlines = defaultdict[int, list[NDArray[np.float64]]]


def _found(record: Record, photo_id: int) -> tuple[Marks, Outlines]:
    """Marks and page outlines by frame, from the latest reading of each page of the photo."""
    s, k, r = schema.page_instances.c, schema.reading_runs.c, schema.readings.c
    first = schema.readings.alias()  # a run without the photo has the places of an earlier one
    places = (first.c.run_id == func.coalesce(k.decoded_from, k.id)) & (first.c.field == r.field)
    query = (
        select(s.frame, k.outline, r.id, first.c.corners)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .join(schema.readings, r.run_id == k.id)
        .join(first, places)
        .where(s.photo_id == photo_id, k.id.in_(LATEST))
        .order_by(s.id, r.id)
    )
    now = {row.reading_id: row for row in record.readings() if row.photo_id == photo_id}
    marks: Marks = defaultdict(list)
    outlines: Outlines = defaultdict(list)
    seen: set[tuple[int, str]] = set()
    with record.reading() as connection:
        for frame, outline, reading_id, corners in connection.execute(query):
            row = now.get(reading_id)
            if row is None:  # a page that is taken for another one now
                continue
            if (frame, outline) not in seen:
                seen.add((frame, outline))
                outlines[frame].append(np.array(json.loads(outline), np.float64).reshape(-1, 2))
            boxes = np.array(json.loads(corners), np.float64).reshape(-1, 4, 2)
            marks[frame].append(Mark(boxes, row.status, row.value or ""))
    return marks, outlines
