"""A photo in which no sheet was found, rescued on the page: pointed at, or typed in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import waiting_record
from sqlalchemy import func, select

from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
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
    answer = read_at(page, corners_of(record), site, chosen["page"])
    assert "is read" in answer["said"]
    assert [(one["id"], one["read"]) for one in answer["rescue"]["photos"]] == [(photo["id"], True)]
    ((fate,), (visit_found,)) = photo_fates(record), record.state()
    assert fate.fate == "without a place"  # its date waits
    assert visit_found.site == site
    digits = {e.value for e in visit_found.fields if e.value and "." in e.reading.field}
    assert digits & {"3", "33", "333"}


def read_at(page: Any, corners: Any, sheet: str, number: int = 1) -> dict[str, Any]:
    """Point at a sheet, look at it laid straight, and have it read."""
    shown = page.say(act="point_at", photo=1, corners=corners, sheet=sheet, page=number)
    assert shown["refused"] is None
    assert page.get(shown["straight"]).headers["content-type"] == "image/jpeg"
    found: dict[str, Any] = page.say(act="read_there", number=shown["number"])
    return found


def test_nothing_is_read_before_the_sheet_was_shown_straight(
    record: Record, visit: Callable[..., Any]
) -> None:
    page, site = visit(), record.study.sites[0].number
    good = {"photo": 1, "corners": corners_of(record), "sheet": site, "page": 1}
    first = page.say(act="point_at", **good)
    assert record.state() == []
    page.say(act="point_at", **good)
    for number in (None, 0, first["number"], 99, "1"):
        assert "refused" in page.say(act="read_there", number=number), number
    assert page.get(first["straight"]).status_code == 404
    assert record.state() == []


def test_corners_left_untouched_are_shown_and_not_read(
    record: Record, visit: Callable[..., Any]
) -> None:
    page, site = visit(), record.study.sites[0].number
    untouched = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]
    shown = page.say(act="point_at", photo=1, corners=untouched, sheet=site, page=1)
    assert shown["straight"]
    assert "does not lie where these corners put it" in shown["refused"]
    assert "refused" in page.say(act="read_there", number=shown["number"])
    assert record.state() == []


def test_another_sheet_than_the_printed_one_is_refused(
    record: Record, visit: Callable[..., Any]
) -> None:
    page, other = visit(), record.study.sites[1].number
    shown = page.say(act="point_at", photo=1, corners=corners_of(record), sheet=other, page=1)
    assert f"you chose site {other}" in shown["refused"].lower()


def test_what_cannot_be_read_so_is_refused(record: Record, visit: Callable[..., Any]) -> None:
    page, corners = visit(), corners_of(record)
    far = (1e6 * (np.array(corners) - 0.5) + 0.5).tolist()
    site = record.study.sites[0].number
    good = {"photo": 1, "corners": corners, "sheet": site, "page": 1}
    for odd in ({"photo": 9}, {"photo": "1"}, {"corners": corners[:3]}, {"corners": "x"},
                {"corners": corners[::-1]}, {"corners": [[0, 0]] * 4}, {"sheet": "0000"},
                {"page": 77}, {"page": None}, {"corners": [[float("nan"), 0]] * 4},
                {"corners": far}, {"corners": [[1e400, 0]] * 4}, {"corners": [[10**400, 1]] * 4},
                {"corners": [corners[n] for n in (1, 2, 3, 0)]}):  # fmt: skip
        shown = page.say(act="point_at", **(good | odd))
        assert shown["refused"], odd
        assert "refused" in page.say(act="read_there", number=shown.get("number")), odd
    assert record.state() == []
    assert page.told == []


def places(record: Record) -> list[tuple[str, int]]:
    """Site and number of fields of every visit."""
    return [(visit.site, len(visit.fields)) for visit in record.state()]


def test_what_was_read_there_is_taken_back_with_its_questions_and_its_history_stays(
    record: Record, visit: Callable[..., Any]
) -> None:
    page, site = visit(), record.study.sites[0].number
    read_at(page, corners_of(record), site)
    before = page.say(act="show")
    assert before["progress"]["waiting"] > 0
    page.say(act="unreadable", card=before["card"]["token"])
    runs, decided = counted(record)
    answer = page.say(act="take_there_back", photo=1)
    assert "taken back" in answer["said"]
    assert [one["read"] for one in answer["rescue"]["photos"]] == [False]
    assert "taken back" in answer["rescue"]["photos"][0]["why"]
    assert record.state() == []
    assert record.state_aside() == []
    assert page.say(act="show")["card"] is None
    assert [fate.fate for fate in photo_fates(record)] == ["not readable"]
    assert counted(record) == (runs, decided)
    assert "refused" in page.say(act="take_there_back", photo=1)
    assert "refused" in page.say(act="take_there_back", photo="x")
    read_at(page, corners_of(record), site)  # the same page anew, without what was decided on it
    assert [e for v in record.state() for e in v.fields if e.decision] == []
    assert counted(record) == (runs + 1, decided)


def test_pointing_again_takes_the_place_of_what_was_read_there(
    record: Record, visit: Callable[..., Any]
) -> None:
    page, site = visit(), record.study.sites[0].number
    read_at(page, corners_of(record), site)
    first = places(record)
    off = (np.array(corners_of(record)) + 0.002).tolist()
    answer = read_at(page, off, site)
    assert [one["read"] for one in answer["rescue"]["photos"]] == [True]
    assert places(record) == first
    assert [fate.fate for fate in photo_fates(record)] == ["without a place"]  # its date waits
    assert counted(record)[0] == 2


def counted(record: Record) -> tuple[int, int]:
    """How many runs and decisions about fields the record keeps."""
    with record.reading() as connection:
        return tuple(
            connection.scalar(select(func.count()).select_from(table)) or 0
            for table in (schema.reading_runs, schema.decisions)
        )  # type: ignore[return-value]


def test_or_it_is_typed_in_beside_the_photo(record: Record, visit: Callable[..., Any]) -> None:
    page = visit()
    names = {s.kind.name: s.name for s in record.study.fields if s.kind.name in ("site", "date")}
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
