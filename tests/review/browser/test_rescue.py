"""A photo in which no sheet was found, rescued on the page: pointed at, or typed in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import waiting_record

from sheet_reader.record.photo_list import photo_fates
from sheet_reader.record.store import Record
from sheet_reader.sheet.book import LayoutBook

SCALE, LEFT, TOP = 6.0, 90.0, 60.0


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    """A printed sheet of a site, with a digit in a box, of which no marker can be seen."""
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        book = LayoutBook(record.study)
        page = book.layout(record.study.sites[0].number).pages[0]
        raster = book.template(page, SCALE).copy()
        for marker in page.markers:
            x, y, w, h = cv2.boundingRect((np.array(marker.corners_mm) * SCALE).astype(np.float32))
            raster[max(y - 4, 0) : y + h + 4, max(x - 4, 0) : x + w + 4] = 205
        for cell in page.cells:
            x, y, w, h = (value * SCALE for value in cell.box_mm)
            place = int(x + 0.2 * w), int(y + 0.8 * h)
            cv2.putText(raster, "3", place, cv2.FONT_HERSHEY_SIMPLEX, 1.5, 25, 4, cv2.LINE_AA)
        height, width = raster.shape
        photo = np.full((height + 150, width + 200), 110, np.uint8)
        photo[int(TOP) : int(TOP) + height, int(LEFT) : int(LEFT) + width] = raster
        photo = cv2.GaussianBlur(photo, (0, 0), 0.7)
        waiting_record.read_in(record, waiting_record.take_in(record, photo, "lost.png"))
        record.photo_size = photo.shape[1], photo.shape[0]  # type: ignore[attr-defined]
        record.sheet_size = width, height  # type: ignore[attr-defined]
        yield record


def corners_of(record: Any) -> list[list[float]]:
    """The corners of the sheet as shares of the photo."""
    (wide, high), (width, height) = record.photo_size, record.sheet_size
    left, right = LEFT / wide, (LEFT + width) / wide
    top, bottom = TOP / high, (TOP + height) / high
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def test_the_reader_goes_on_from_four_corners(
    record: Record, visit: Callable[..., Any]
) -> None:
    page = visit()
    view = page.say(act="rescue")["rescue"]
    ((photo,), sheets) = view["photos"], view["pages"]
    assert page.get(photo["picture"]).status_code == 200
    site = record.study.sites[0].number
    chosen = next(one for one in sheets if one["sheet"] == site)
    answer = page.say(act="point_at", photo=photo["id"], corners=corners_of(record),
                      sheet=site, page=chosen["page"])  # fmt: skip
    assert "is read" in answer["said"]
    assert answer["rescue"]["photos"] == []
    ((fate,), (visit_found,)) = photo_fates(record), record.state()
    assert fate.fate == "without a place"  # its date waits
    assert visit_found.site == site
    digits = {e.value for e in visit_found.fields if e.value and "." in e.reading.field}
    assert digits & {"3", "33", "333"}


def test_what_cannot_be_read_so_is_refused(record: Record, visit: Callable[..., Any]) -> None:
    page, corners = visit(), corners_of(record)
    site = record.study.sites[0].number
    good = {"photo": 1, "corners": corners, "sheet": site, "page": 1}
    for odd in ({"photo": 9}, {"photo": "1"}, {"corners": corners[:3]}, {"corners": "x"},
                {"corners": corners[::-1]}, {"corners": [[0, 0]] * 4}, {"sheet": "0000"},
                {"page": 77}, {"page": None}, {"corners": [[float("nan"), 0]] * 4}):  # fmt: skip
        assert "refused" in page.say(act="point_at", **(good | odd)), odd
    assert record.state() == []
    assert page.told == []


def test_or_it_is_typed_in_beside_the_photo(record: Record, visit: Callable[..., Any]) -> None:
    page = visit()
    names = {s.kind: s.name for s in record.study.fields if s.kind in ("site", "date")}
    site = record.study.sites[1].number
    values = {names["site"]: site, names["date"]: "12 06 26", "pinched.plants": "777"}
    assert "refused" in page.say(act="type_in", photo=1, values={})
    asked = page.say(act="type_in", photo=1, values=values)
    assert "more than" in asked["doubts"][0]
    assert record.state() == []
    done = page.say(act="type_in", photo=1, values=values, sure=True)
    assert done["rescue"]["photos"] == []
    (row,) = record.visits()
    assert (row.site, row.visit_date) == (site, "2026-06-12")
    assert row.values["pinched.plants"] == "777"
    assert row.values["pinched.blackfly"] is None
    assert row.statuses["pinched.plants"] == "typed"
