"""Fields as they come out of a record, for tests that need no record."""

from __future__ import annotations

from dataclasses import fields

from sheet_reader.record.history.states import FieldState, PageObservation, StoredReading

USUAL: dict[str, object] = {
    "reading_id": 1,
    "page_instance_id": 1,
    "photo": "IMG_1.jpg",
    "photo_id": 1,
    "frame": 0,
    "layout": "v1",
    "sheet": "BLANK",
    "page": 1,
    "px_per_mm": 8.0,
    "blur_mm": 0.1,
    "hidden_boxes": 0,
    "advice": "",
    "model": "m",
    "site": "",
    "visit_date": "2026-05-20",
    "field": "pinched.plants",
    "value": "14",
    "confidence": 0.8,
    "runner_up": "19",
    "runner_up_confidence": 0.15,
    "status": "accepted",
    "reasons": (),
    "decision": None,
}


def waiting(**changes: object) -> FieldState:
    """A field that waits. ``changes`` are named as its parts name them; ``value`` is the value as
    read and as it stands.
    """
    said = USUAL | {"status": "flagged"} | changes
    said["place"] = said["site"], said["visit_date"]
    known = {each.name for part in (PageObservation, StoredReading, FieldState)
             for each in fields(part)}  # fmt: skip
    if unknown := set(said) - known:
        raise TypeError(f"no part of a row: {unknown}")

    def of(part: type) -> dict[str, object]:
        return {each.name: said[each.name] for each in fields(part) if each.name in said}

    observation = PageObservation(**of(PageObservation))  # type: ignore[arg-type]
    reading = StoredReading(**of(StoredReading))  # type: ignore[arg-type]
    return FieldState(**of(FieldState), observation=observation, reading=reading)  # type: ignore[arg-type]
