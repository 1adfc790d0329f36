"""What the page does beside its cards: remarks to type up, photos without a sheet."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from sheet_reader.errors import UsageError
from sheet_reader.reading.pointed import Pointing
from sheet_reader.review.browser.free_writing import remark_rows, typed_up_on
from sheet_reader.review.browser.messages import sentence
from sheet_reader.review.browser.rescue import (
    place_of,
    read_there,
    rescue_view,
    take_there_back,
    type_in,
)
from sheet_reader.review.desk import RecordDesk
from sheet_reader.review.model import Gray
from sheet_reader.wording import words

Plain = dict[str, Any]


class Beside:
    """The work of one person beside the cards. Every answer is plain data; one with ``remarks`` or
    ``rescue`` is shown in place of a card.
    """

    def __init__(self, desk: RecordDesk, by: str, today: date) -> None:
        self._desk, self._by, self._today = desk, by, today
        self.acts: dict[str, Callable[[Plain], Plain]] = {
            "remarks": self._remarks, "type_up": self._type_up, "rescue": self._rescue,
            "point_at": self._point_at, "read_there": self._read_there,
            "take_there_back": self._take_back, "type_in": self._type_in,
        }  # fmt: skip
        self._pointing: tuple[int, Pointing] | None = None
        self._pointed = 0

    def _remarks(self, _message: Plain) -> Plain:
        return {"remarks": remark_rows(self._desk)}

    def _type_up(self, message: Plain) -> Plain:
        page, text = message.get("page"), message.get("text")
        return {"kept": typed_up_on(self._desk, page, text, self._by)}

    def _rescue(self, _message: Plain) -> Plain:
        return {"rescue": rescue_view(self._desk.record)}

    def _point_at(self, message: Plain) -> Plain:
        """Show a place laid straight; only what was shown so can be read."""
        self._pointing = None
        try:
            where = place_of(self._desk.record, message)
        except UsageError as error:
            return {"refused": sentence(str(error))}
        self._pointed += 1
        self._pointing = self._pointed, where
        shown = f"/picture/straight/{self._pointed}" if where.straight is not None else None
        refused = None if where.refused is None else sentence(words((where.refused,)))
        return {"straight": shown, "number": self._pointed, "refused": refused}

    def straight(self, number: int) -> Gray | None:
        """The place that was pointed at last, laid straight."""
        last = self._pointing
        return last[1].straight if last is not None and last[0] == number else None

    def _read_there(self, message: Plain) -> Plain:
        last = self._pointing
        if last is None or last[0] != message.get("number") or last[1].refused is not None:
            return {"refused": "Point at the corners and look at the sheet first."}
        try:
            said = read_there(self._desk.record, last[1], self._today, self._by)
        except UsageError as error:
            return {"refused": sentence(str(error))}
        self._pointing = None
        return self._rescue(message) | {"said": said}

    def _take_back(self, message: Plain) -> Plain:
        try:
            said = take_there_back(self._desk.record, message, self._by)
        except UsageError as error:
            return {"refused": sentence(str(error))}
        return self._rescue(message) | {"said": said}

    def _type_in(self, message: Plain) -> Plain:
        try:
            told = type_in(self._desk.record, message, self._today, self._by)
        except UsageError as error:
            return {"refused": f"{error}."}
        return told if "doubts" in told else self._rescue(message) | told
