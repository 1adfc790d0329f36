"""A made-up season written into a record as if its photos had been read: quick, truth known.

Each photo is a small picture that says that it is made up; the boxes of every field are drawn by
invented hands, so that questions can be looked at and answered.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.atomic import atomic_write, private_folder
from sheet_reader.decode.pages import FieldReading
from sheet_reader.demo.bean_season import SITES, WEEKS, MadeSheet, made_sheets
from sheet_reader.demo.samples import copy_in_season
from sheet_reader.intake.files import Origin
from sheet_reader.reading.field_pictures import pack_boxes, png_of
from sheet_reader.reading.opening import open_record
from sheet_reader.reasons import Code, Reasons, because
from sheet_reader.record.history import found, photos
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store import claims
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import choose_numbers
from sheet_reader.study.study import Study

MODEL = "made up"
CROP, HANDS, AGAIN, INK = 64, 8, 3, (46, 36)
_SURE, _DOUBTFUL = 0.99999, 0.62
_PX_PER_MM = 8.0
_PLACES = ("Millrace", "Orchard", "Chapel", "Quarry", "Heron", "Kiln", "Ferry", "Sluice",
           "Juniper", "Brickfield")  # fmt: skip
_KINDS = ("allotments", "lane", "yard")
_CONTEXT = (110, 420)
"""Height and width of the strip of paper around a field."""


def make_season_folder(
    folder: Path, today: date, seed: int, sites: int = SITES, weeks: int = WEEKS
) -> tuple[Study, int]:
    """Write the study into ``folder`` and the record of ``weeks`` weeks; the visit after them is
    expected on the day after ``today``. Gives the study and the number of sheets.

    Raises OSError where it can't be written.
    """
    copy_in_season("bean_tips", folder, today, weeks)
    atomic_write({folder / "sites.csv": _site_list(sites).encode()})
    private_folder(folder / "inbox")
    study = read_study(folder)
    with open_record(study) as record:
        return study, keep_season(record, made_sheets(study, seed, weeks), seed)


def _site_list(sites: int) -> str:
    lines = ["number,label,contact"]
    for place, number in enumerate(choose_numbers(sites, digits=4).numbers):
        name = f"{_PLACES[place % len(_PLACES)]} {_KINDS[place // len(_PLACES) % len(_KINDS)]}"
        again = place // (len(_PLACES) * len(_KINDS))
        name += f" {again + 1}" if again else ""
        lines.append(f"{number},{name},{name.replace(' ', '.').lower()}@example.org")
    return "\n".join(lines) + "\n"


def keep_season(record: Record, sheets: Iterable[MadeSheet], seed: int) -> int:
    """Write the sheets into ``record``, each with a photo of its own, all of them or none; gives
    their number.

    Raises OSError where an original can't be written.
    """
    rng, token = np.random.default_rng([seed, 17]), claims.my_token()
    (page,) = lay_out(record.study).pages
    number = 0
    with record.writing() as connection:
        for number, sheet in enumerate(sheets, start=1):
            data = _photo(sheet, number)
            digest = hashlib.sha256(data).hexdigest()
            place = originals.place_of(digest, ".png")
            originals.keep(Path(record.folder), place, data)
            name = f"made_up_{number:03}.png"
            origin = Origin("mail", name, f"mail_{number:03}.eml", _sender(record.study, sheet))
            photo, _ = photos.add_photo(connection, digest, name, place, len(data), origin)
            task = claims.Task(photo, name, place, 0)
            claims.claim(connection, task, token)
            result = _result(record.study, sheet, page.code.layout, rng)
            found.finish(connection, task, token, result, MODEL, "")
    return number


def _sender(study: Study, sheet: MadeSheet) -> str:
    site = study.site(sheet.site)
    return site.contact if site is not None else ""


def _photo(sheet: MadeSheet, number: int) -> bytes:
    """A small grey picture, another one for each sheet."""
    paper = np.full((120, 330), 235, np.uint8)
    lines = (f"made-up photo {number}", f"site {sheet.site}, {sheet.day}", "no photo was taken")
    for line, text in enumerate(lines):
        cv2.putText(paper, text, (8, 30 + 32 * line), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 60, 1)
    return png_of(paper)


def _result(
    study: Study, sheet: MadeSheet, layout: str, rng: np.random.Generator
) -> PhotoResult:
    if sheet.unreadable:
        return PhotoResult((), (because(Code.BLURRED),), "no sheet")
    return PhotoResult((_page(study, sheet, layout, rng),))


def _page(study: Study, sheet: MadeSheet, layout: str, rng: np.random.Generator) -> FoundPage:
    day = sheet.day.isoformat()
    hand = int(rng.integers(HANDS))
    boxes = {spec.name: spec.boxes for spec in study.fields}
    dated = study.date_field.name
    written = {dated: day} | {n: None if v is None else str(v) for n, v in sheet.values.items()}
    return FoundPage(
        frame=0, study=study.key, layout=layout, sheet=sheet.site, page=1,
        identified_by="machine code", px_per_mm=_PX_PER_MM, blur_mm=0.1, contrast=0.8,
        hidden_boxes=0, glare_share=0.0, advice="", site=sheet.site, visit_date=day,
        outline=((0, 0), (210, 0), (210, 297), (0, 297)), wording=as_text(wording_of(study)),
        site_label=next((s.label for s in study.sites if s.number == sheet.site), None),
        fields=tuple(
            _field(_reading(sheet, name, text), boxes[name], hand, name == dated, rng)
            for name, text in written.items()
        ),
    )  # fmt: skip


def _reading(sheet: MadeSheet, name: str, text: str | None) -> FieldReading:
    if text is None:
        return FieldReading(name, None, _SURE, "empty")
    if name not in sheet.doubtful:
        return FieldReading(name, text, _SURE, "accepted")
    other = text[:-1] + ("7" if text[-1] == "1" else "1")
    return FieldReading(
        name, text, _DOUBTFUL, "flagged", _why(sheet, name, text), other, 1 - _DOUBTFUL
    )


def _why(sheet: MadeSheet, name: str, text: str) -> Reasons:
    plot = name.partition(".")[0]
    stages = [f"{plot}.{n}" for n in ("egg_clusters", "small_larvae", "large_larvae")]
    parts = [sheet.values[n] for n in stages] if plot == sheet.sum_off else []
    total = f"{plot}.ladybirds"
    known = [value for value in parts if value is not None]
    if len(known) == 3 and name in (total, *stages):
        written = sheet.values[total]
        fields = [total, *stages]
        return (because(Code.SUM_OFF, total=written, parts=sum(known), fields=fields),)
    other = "7" if text[-1] == "1" else "1"
    place = {"box": len(text) - 1, "boxes": len(text), "part": ""}
    return (because(Code.BOX_UNCERTAIN, **place, first=text[-1], second=other),)


def _field(
    read: FieldReading, boxes: int, hand: int, dated: bool, rng: np.random.Generator
) -> FoundField:
    text = read.value or ""
    text = text[8:10] + text[5:7] + text[2:4] if dated else text.rjust(boxes)
    crops = [_digit(hand, sign, int(rng.integers(3))) for sign in text]
    around = b""
    if read.status != "accepted":
        paper = np.full(_CONTEXT, 244, np.uint8)
        strip = np.hstack(crops)
        top, left = (paper.shape[0] - CROP) // 2, 40
        paper[top : top + CROP, left : left + strip.shape[1]] = strip
        around = png_of(paper)
    return FoundField(read, pack_boxes(crops), around)


@cache
def _inks() -> NDArray[np.uint8]:
    """Ink of 0..255, uint8 (HANDS, 10, AGAIN, 46, 36): each digit by each hand, several times."""
    path = resources.files("sheet_reader.demo").joinpath("data", "digits.png")
    data = np.frombuffer(path.read_bytes(), np.uint8)
    sprite = np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), np.uint8)
    rows, columns = INK
    tiles = sprite.reshape(HANDS * AGAIN, rows, 10, columns).transpose(0, 2, 1, 3)
    return tiles.reshape(HANDS, AGAIN, 10, rows, columns).transpose(0, 2, 1, 3, 4)


def _digit(hand: int, sign: str, again: int) -> NDArray[np.uint8]:
    """A printed box with a digit by this hand, uint8 (64, 64); " " leaves it empty."""
    crop = np.full((CROP, CROP), 244, np.uint8)
    cv2.rectangle(crop, (6, 3), (CROP - 7, CROP - 4), 120, 1)
    if sign != " ":
        inner = crop[9 : 9 + INK[0], 14 : 14 + INK[1]]
        inner[:] = np.minimum(inner, 244 - 200 * (_inks()[hand, int(sign), again] / 255.0))
    return crop
