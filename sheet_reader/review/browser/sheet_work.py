"""What the page does beside its cards: remarks, and photos in which no sheet was found, pointed at
and read, or typed in beside the photo.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date

import numpy as np

from sheet_reader.answers.questions import Card
from sheet_reader.answers.typed import sums_off_in, typed_answer
from sheet_reader.errors import UsageError
from sheet_reader.reading.pointed import (
    Pointing,
    pages_to_choose,
    point_at,
    read_pointed,
    read_where_pointed,
    take_back,
    without_sheet,
)
from sheet_reader.record.history.entered import enter
from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.people.remarks import Remark, add_to_page, remarks_of, type_up, typed_up
from sheet_reader.review.face import Plain, sentence
from sheet_reader.review.source import Gray, RecordQuestions
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.kinds import Refusal
from sheet_reader.wording import neutral_name, words


class SheetWork:
    """The work of one person beside the cards. Every answer is plain data; one with ``remarks`` or
    ``rescue`` is shown in place of a card.
    """

    def __init__(self, source: RecordQuestions, by: str, today: date) -> None:
        self._source, self._record, self._by, self._today = source, source.record, by, today
        self.acts: dict[str, Callable[[Plain], Plain]] = {
            "remarks": self._remarks, "type_up": self._type_up, "rescue": self._rescue,
            "point_at": self._point_at, "read_there": self._read_there,
            "take_there_back": self._take_there_back, "type_in": self._type_in,
        }  # fmt: skip
        self._pointing: tuple[int, Pointing] | None = None
        self._pointed = 0

    def do(self, act: str, message: Plain) -> Plain:
        """What comes of a message of one of the ``acts``; what can't be done with a photo says why.
        """
        try:
            return self.acts[act](message)
        except UsageError as error:
            if act == "type_up":
                raise
            return {"refused": sentence(str(error))}

    def remark_on(self, card: Card, text: str) -> bool:
        """Keep a person's own remark on the sheet of a card; False for an empty one."""
        text = " ".join(text.split())
        if not text:
            return False
        mark = f"review-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
        remark = Remark("person", mark, self._by, text)
        with self._record.writing() as connection:
            add_to_page(connection, card.place.page_instance_id, remark)
        return True

    def _remarks(self, _message: Plain) -> Plain:
        """Every sheet that was photographed, with the pictures of its free writing."""
        typed, others = typed_up(self._record), remarks_of(self._record)
        rows = []
        for visit in self._source.visits():
            site, day = visit.site or "not settled", visit.visit_date or "not settled"
            for page in visit.pages:
                if page.layout == TYPED:
                    continue
                number, own = page.page_instance_id, typed.get(page.page_instance_id, "")
                rows.append({
                    "page": number, "text": own,
                    "place": [f"site {site}", f"visit {day}", f"photo {page.photo}"],
                    "said": [text for text in others.on(("", ""), [number]) if text != own],
                    "comments": f"/picture/comments/{number}",
                    "counted_by": f"/picture/counted_by/{number}",
                })  # fmt: skip
        return {"remarks": rows}

    def _type_up(self, message: Plain) -> Plain:
        page, text = message.get("page"), message.get("text")
        if not isinstance(page, int) or not isinstance(text, str):
            return {"kept": False}
        if self._source.place_of(page) is None:
            return {"kept": False}
        type_up(self._record, page, text, self._by)
        return {"kept": True}

    def _rescue(self, _message: Plain) -> Plain:
        """The photos without a sheet and those that were read where a person pointed, the pages
        that one may be, and the fields to type in.
        """
        record = self._record
        pointed = set(read_where_pointed(record))
        wanted = pointed.union(without_sheet(record))
        photos = [
            {
                "id": fate.photo_id, "name": neutral_name(fate.photo_id),
                "why": "read where you pointed" if fate.photo_id in pointed
                else words(fate.reasons),
                "picture": f"/picture/arrived/{fate.photo_id}", "read": fate.photo_id in pointed,
            }
            for fate in photo_fates(record) if fate.photo_id in wanted
        ]  # fmt: skip
        pages = [self._page(page.code.sheet, page.number) for page in pages_to_choose(record)]
        fields = [
            {"name": s.name, "label": s.label, "kind": s.kind.name} for s in record.study.fields
        ]
        return {"rescue": {"photos": photos, "pages": pages, "fields": fields}}

    def _page(self, sheet: str, number: int) -> Plain:
        site = self._record.study.site(sheet)
        label = "a blank sheet" if sheet == BLANK else f"{sheet} {site.label if site else ''}"
        return {"sheet": sheet, "page": number, "label": f"{label}, page {number}"}

    def _point_at(self, message: Plain) -> Plain:
        """Show a place laid straight, by corners given as shares of the picture; only what was
        shown so can be read.
        """
        self._pointing = None
        photo, number = message.get("photo"), message.get("page")
        if not isinstance(photo, int) or not isinstance(number, int):
            raise UsageError("there is no such photo or page to be read")
        corners, sheet = _corners(message.get("corners")), str(message.get("sheet", ""))
        where = point_at(self._record, photo, corners, sheet, number)
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
            raise UsageError("point at the corners and look at the sheet first")
        result = read_pointed(self._record, last[1], self._today, self._by)
        name = neutral_name(last[1].photo_id)
        if not result.pages:
            raise UsageError(f"{name}: {words(result.failures)}")
        self._pointing = None
        fields = sum(len(found.fields) for found in result.pages)
        said = f"{name} is read, {fields} fields; what is doubtful is asked."
        return self._rescue(message) | {"said": said}

    def _take_there_back(self, message: Plain) -> Plain:
        photo = message.get("photo")
        take_back(self._record, photo if isinstance(photo, int) else 0, self._by)
        said = "What was read there is taken back, with its questions and answers; point again."
        return self._rescue(message) | {"said": said}

    def _type_in(self, message: Plain) -> Plain:
        """Keep the sheet of a photo as it was typed, or, unless the person is ``sure``, show the
        ``doubts`` to be looked at once more.
        """
        photo, given, study = message.get("photo"), message.get("values"), self._record.study
        if not isinstance(photo, int) or photo not in without_sheet(self._record):
            raise UsageError("there is no such photo to be typed in")
        texts = given if isinstance(given, dict) else {}
        said = {}
        for spec in study.fields:
            typed = typed_answer(study, spec, str(texts.get(spec.name, ""))[:60], self._today)
            if isinstance(typed, Refusal):
                raise UsageError(typed.message)
            said[spec.name] = typed
        doubts = [f"{one.spec.label}: {one.doubt}" for one in said.values() if one.doubt]
        doubts += [f"{one.spec.label}: leave empty what can't be read" for one in said.values()
                   if one.unreadable]  # fmt: skip
        off = sums_off_in(study, said)
        doubts += off.values()
        if doubts and message.get("sure") is not True:
            return {"doubts": doubts}
        values = {name: one.text for name, one in said.items()}
        enter(self._record, values, by=self._by, photo_id=photo, told=off)
        return self._rescue(message) | {"said": f"{neutral_name(photo)} is typed in."}


def _corners(said: object) -> list[list[float]]:
    try:
        corners = np.array(said, np.float64)
    except (TypeError, ValueError, OverflowError):
        corners = np.zeros(0)
    if corners.shape != (4, 2):
        raise UsageError("four corners are wanted")
    return corners.tolist()  # type: ignore[no-any-return]
