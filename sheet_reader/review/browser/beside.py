"""What the page does beside its cards: remarks to type up, photos without a sheet."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from sheet_reader.errors import UsageError
from sheet_reader.review.browser.free_writing import remark_rows, typed_up_on
from sheet_reader.review.browser.rescue import point_at, rescue_view, type_in
from sheet_reader.review.desk import RecordDesk

Plain = dict[str, Any]


class Beside:
    """The work of one person beside the cards. Every answer is plain data; one with ``remarks`` or
    ``rescue`` is shown in place of a card.
    """

    def __init__(self, desk: RecordDesk, by: str, today: date) -> None:
        self._desk, self._by, self._today = desk, by, today
        self.acts: dict[str, Callable[[Plain], Plain]] = {
            "remarks": self._remarks, "type_up": self._type_up, "rescue": self._rescue,
            "point_at": self._point_at, "type_in": self._type_in,
        }  # fmt: skip

    def _remarks(self, _message: Plain) -> Plain:
        return {"remarks": remark_rows(self._desk)}

    def _type_up(self, message: Plain) -> Plain:
        page, text = message.get("page"), message.get("text")
        return {"kept": typed_up_on(self._desk, page, text, self._by)}

    def _rescue(self, _message: Plain) -> Plain:
        return {"rescue": rescue_view(self._desk.record)}

    def _point_at(self, message: Plain) -> Plain:
        try:
            said = point_at(self._desk.record, message, self._today)
        except UsageError as error:
            return {"refused": f"{error}."}
        return self._rescue(message) | {"said": said}

    def _type_in(self, message: Plain) -> Plain:
        try:
            told = type_in(self._desk.record, message, self._today, self._by)
        except UsageError as error:
            return {"refused": f"{error}."}
        return told if "doubts" in told else self._rescue(message) | told
