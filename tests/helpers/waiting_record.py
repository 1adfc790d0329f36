"""Records in which fields wait, with drawn sheets to look at: quick, and every value is known."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import cv2
import numpy as np

from sheet_reader.decode.pages import FieldReading
from sheet_reader.demo.samples import copy_sample
from sheet_reader.intake.files import Origin
from sheet_reader.reading.field_pictures import context_png, pack_boxes, png_of
from sheet_reader.reasons import Code, Reasons, because, in_words
from sheet_reader.record.history import found, photos
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store import claims
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import FieldSpec, Study

WIDE, HIGH = 840, 1188
BOX_W, BOX_H = 36, 44
FONT = cv2.FONT_HERSHEY_SIMPLEX

Said = tuple[str | None, str]
"""Value and status of a field."""


def bean_study(folder: Path) -> Study:
    """The bean study in a folder of its own."""
    copy_sample("bean_tips", folder)
    return read_study(folder)


def corners_of(study: Study, spec: FieldSpec) -> list[list[list[float]]]:
    """Where the boxes of a field are drawn."""
    at = [s.name for s in study.fields].index(spec.name)
    y = 50.0 + at * 62
    found = []
    for number in range(spec.boxes):
        x = 560.0 + number * BOX_W
        found.append([[x, y], [x + BOX_W, y], [x + BOX_W, y + BOX_H], [x, y + BOX_H]])
    return found


def drawn(study: Study, values: Mapping[str, str | None]) -> np.ndarray:
    """A sheet with these values written in its boxes, grey uint8 (HIGH, WIDE)."""
    sheet = np.full((HIGH, WIDE), 245, np.uint8)
    for spec in study.fields:
        boxes = corners_of(study, spec)
        y = boxes[0][0][1]
        cv2.putText(sheet, spec.label[:34], (30, int(y) + 30), FONT, 0.7, 60, 1, cv2.LINE_AA)
        text = values.get(spec.name) or ""
        if spec.kind.name == "date":
            text = text[8:10] + text[5:7] + text[2:4]
        for box, sign in zip(boxes, text.rjust(spec.boxes), strict=False):
            (left, top), (right, bottom) = box[0], box[2]
            cv2.rectangle(sheet, (int(left), int(top)), (int(right), int(bottom)), 120, 1)
            place = (int(left) + 9, int(bottom) - 9)
            cv2.putText(sheet, sign, place, FONT, 1.1, 20, 2, cv2.LINE_AA)
    return sheet


def found_page(
    study: Study,
    sheet: np.ndarray,
    said: Mapping[str, Said],
    *,
    reasons: Mapping[str, Reasons] | None = None,
    confidence: float = 0.8,
) -> FoundPage:
    """A page read from a drawn sheet."""
    fields = []
    for spec in study.fields:
        value, status = said.get(spec.name, (None, "empty"))
        corners = corners_of(study, spec)
        crops = [
            cv2.resize(sheet[int(b[0][1]) : int(b[2][1]), int(b[0][0]) : int(b[2][0])], (64, 64))
            for b in corners
        ]
        flagged = status == "flagged"
        mm = [(b[0][0] / 4, b[0][1] / 4, BOX_W / 4, BOX_H / 4) for b in corners]
        around = context_png(sheet, corners, mm) if flagged else b""
        why = (reasons or {}).get(spec.name, in_words("not sure enough") if flagged else ())
        read = FieldReading(
            spec.name, value, confidence if flagged else 0.9999, status, why,  # type: ignore[arg-type]
            "7" if flagged and value else None, 0.1 if flagged and value else 0.0,
        )  # fmt: skip
        fields.append(FoundField(read, pack_boxes(crops), around, _points(corners)))
    keys = {spec.kind.name: said.get(spec.name, (None, "")) for spec in study.fields}
    known = {kind: value for kind, (value, status) in keys.items() if status == "accepted"}
    return FoundPage(
        frame=0, study=study.key, layout="v1", sheet=BLANK, page=1, identified_by="machine code",
        px_per_mm=4.0, blur_mm=0.1, contrast=0.8, hidden_boxes=0, glare_share=0.0, advice="",
        site=known.get("site"), visit_date=known.get("date"),
        outline=((0.0, 0.0), (WIDE, 0.0), (WIDE, HIGH), (0.0, HIGH)), fields=tuple(fields),
        wording=as_text(wording_of(study)),
    )  # fmt: skip


def _points(corners: list[list[list[float]]]) -> tuple[tuple[tuple[float, float], ...], ...]:
    return tuple(tuple((x, y) for x, y in box) for box in corners)


def take_in(record: Record, sheet: np.ndarray | None, name: str) -> Task:
    """A photo that waits to be read: a drawn sheet, or bytes that are no picture."""
    data = png_of(sheet) if sheet is not None else name.encode()
    digest = hashlib.sha256(data + name.encode()).hexdigest()
    original = originals.place_of(digest, ".png")
    originals.keep(Path(record.folder), original, data)
    with record.writing() as connection:
        origin = Origin("file", name)
        photo_id, _ = photos.add_photo(connection, digest, name, original, len(data), origin)
    return Task(photo_id, name, original, 0)


def read_in(record: Record, task: Task, *pages: FoundPage) -> None:
    """Keep what a photo gave."""
    token = claims.my_token()
    failures = () if pages else in_words("the sheet was refused")
    result = PhotoResult(tuple(pages), failures, "read" if pages else "no sheet")
    with record.writing() as connection:
        assert claims.claim(connection, task, token)
        assert found.finish(connection, task, token, result, "drawn", "")


def fill(
    record: Record,
    sheets: int,
    flagged_each: int,
    *,
    wrong: Mapping[int, str] | None = None,
    first: int = 0,
) -> dict[tuple[int, str], str]:
    """So many drawn sheets of different visits, with so many counts flagged on each; gives the
    truth by photo and field. ``wrong`` names the readings (by number of the flagged field) that say
    something else; ``first`` is the number of the first sheet.
    """
    study, truth, number = record.study, {}, 0
    totals = {rule.total for rule in study.sums}
    parts = {name for rule in study.sums for name in rule.parts}
    counts = [
        s.name for s in study.fields if s.kind.name == "count" and s.name not in totals | parts
    ] + [s.name for s in study.fields if s.kind.name == "count" and s.name in parts]
    for n in range(first, first + sheets):
        site = study.sites[n % len(study.sites)].number
        day = study.season.first + timedelta(days=7 * (n // len(study.sites)))
        values = {s.name: str((7 * n + k) % 9 + 1) for k, s in enumerate(study.fields)}
        for spec in study.fields:
            if spec.kind.name in ("site", "date"):
                values[spec.name] = site if spec.kind.name == "site" else day.isoformat()
        for rule in study.sums:
            values[rule.total] = str(sum(int(values[part]) for part in rule.parts))
        said: dict[str, Said] = {name: (value, "accepted") for name, value in values.items()}
        sheet = drawn(study, values)
        task = take_in(record, sheet, f"{n:03}.png")
        for name in counts[:flagged_each]:
            said[name] = ((wrong or {}).get(number, values[name]), "flagged")
            truth[task.photo_id, name] = values[name]
            number += 1
        read_in(record, task, found_page(study, sheet, said))
    return truth


def doubtful(page: FoundPage, **values: str | None) -> FoundPage:
    """The page with some fields saying something else."""
    return replace(
        page,
        fields=tuple(
            replace(f, reading=replace(f.reading, value=values[f.reading.field]))
            if f.reading.field in values else f
            for f in page.fields
        ),
    )  # fmt: skip


def every_kind(record: Record) -> None:
    """A record with a card of every kind: fields, a sum, two photos that differ, a cut-off one."""
    study = record.study
    names = {s.kind.name: s.name for s in study.fields if s.kind.name in ("site", "date")}
    sites, first = [site.number for site in study.sites], study.season.first

    def take(name: str, week: int, shown: Mapping[str, str], **changes: Said) -> None:
        day = (first + timedelta(days=7 * week)).isoformat()
        values = {s.name: "2" for s in study.fields} | {rule.total: "6" for rule in study.sums}
        values |= {names["site"]: sites[week % len(sites)], names["date"]: day} | dict(shown)
        said: dict[str, Said] = {n: (value, "accepted") for n, value in values.items()}
        said |= {name.replace("__", "."): one for name, one in changes.items()}
        sheet = drawn(study, values)
        why = {n: (because(Code.HIDDEN, why="outside"),) for n, (value, status) in said.items()
               if status == "flagged" and value is None}  # fmt: skip
        read_in(record, take_in(record, sheet, name), found_page(study, sheet, said, reasons=why))

    rule = study.sums[0]
    take("doubt", 0, {}, pinched__plants=("2", "flagged"), pinched__blackfly=("2", "flagged"))
    take("sum", 1, {rule.total: "9"}, **{rule.total.replace(".", "__"): ("9", "flagged")})
    take("one", 2, {})
    take("other", 2, {s.name: "3" for s in study.fields if s.kind.name == "count"})
    take("half", 3, {}, unpinched__plants=(None, "flagged"), unpinched__minutes=(None, "flagged"))
