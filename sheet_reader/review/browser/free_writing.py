"""What people wrote beside the fields: remarks on the page, typed up, added and listed."""

from __future__ import annotations

import hashlib
from typing import Any

from sheet_reader.record.history.states import TYPED
from sheet_reader.record.people.remarks import Remark, add_to_page, remarks_of, type_up, typed_up
from sheet_reader.review.cards import Card
from sheet_reader.review.desk import RecordDesk


def remark_on(desk: RecordDesk, card: Card, text: str, by: str) -> bool:
    """Keep a person's own remark on the sheet of a card; False for an empty one."""
    text = " ".join(text.split())
    if not text:
        return False
    mark = f"review-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
    with desk.record.writing() as connection:
        add_to_page(connection, card.place.page_instance_id, Remark("person", mark, by, text))
    return True


def typed_up_on(desk: RecordDesk, page: object, text: object, by: str) -> bool:
    """Keep what the handwritten remarks on a page say; False where there is no such page."""
    if not isinstance(page, int) or not isinstance(text, str) or desk.place_numbered(page) is None:
        return False
    type_up(desk.record, page, text, by)
    return True


def remark_rows(desk: RecordDesk) -> list[dict[str, Any]]:
    """Every sheet that was photographed, with the pictures of its free writing."""
    typed, others = typed_up(desk.record), remarks_of(desk.record)
    rows = []
    for visit in desk.visits():
        for page in visit.pages:
            if page.layout == TYPED:
                continue
            number, own = page.page_instance_id, typed.get(page.page_instance_id, "")
            site, day = visit.site or "not settled", visit.visit_date or "not settled"
            rows.append({
                "page": number, "text": own,
                "place": [f"site {site}", f"visit {day}", f"photo {page.photo}"],
                "said": [text for text in others.on(("", ""), [number]) if text != own],
                "comments": f"/picture/comments/{number}",
                "counted_by": f"/picture/counted_by/{number}",
            })  # fmt: skip
    return rows
