import numpy as np
import pytest

from sheet_reader.decode.pages import PageReading
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import picture as room
from sheet_reader.reasons import Code, because
from sheet_reader.vision.findings import NoSheet

PICTURE = OpenedPicture(np.full((40, 30), 200, np.uint8), "0" * 64, "photo.jpg")


@pytest.fixture
def found(monkeypatch, stated):
    """Stand in for vision and digits: what they return is given, what they get is kept."""

    def run(findings, states):
        seen = []
        monkeypatch.setattr(room, "find_sheets", lambda gray, _: (seen.append(gray), findings)[1])

        def read(crops):
            seen.append(crops)
            return stated(states[: len(crops)])

        monkeypatch.setattr(room, "read_sheet", read)
        return seen

    return run


def test_every_sheet_of_a_picture_is_read_and_the_rest_has_its_reason(found, beans, written, today):
    view = written(beans, {"a.plants": "12"}, sheet="1181").view()
    nothing = NoSheet(because(Code.NO_SHEET))
    seen = found([view, nothing], "12")
    got = room.read_picture(PICTURE, beans, None, today)
    assert got[1] == nothing
    assert got[0][0] is view
    page = got[0][1]
    assert isinstance(page, PageReading)
    assert page.site == "1181"
    assert page.fields[0].value == "12"
    assert seen[0] is PICTURE.gray
    assert seen[1].shape == (2, 64, 64)


def test_a_page_without_boxes_gives_no_fields(found, beans, written, today):
    view = written(beans, {}, sheet="1181").view()
    found([view], "")
    [(_, page)] = room.read_picture(PICTURE, beans, None, today)
    assert page.fields == ()


def test_the_threshold_is_passed_on(found, beans, written, today):
    view = written(beans, {"a.plants": "12"}).view()
    found([view], "12")
    [(_, page)] = room.read_picture(PICTURE, beans, None, today, threshold=0.99999)
    assert page.fields[0].status == "flagged"
