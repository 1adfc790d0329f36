"""A stand-in for the reader: the picture's first row spells out, as JSON, what it shows.

Test photos are drawn by ``photo``; importable by worker processes, hence a module of its own.
"""

from __future__ import annotations

import io
import json
import os
import signal
import time
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading
from sheet_reader.decode.sheet import decode_page
from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reasons import Code, Occlusion, Reasons, because, from_json, in_words
from sheet_reader.sheet.page import Cell, Page, SheetCode
from sheet_reader.study.kinds import DATE, NUMBER, SITE
from sheet_reader.study.study import (
    CountField,
    FieldSpec,
    Plot,
    Season,
    Site,
    Study,
    Visits,
)
from sheet_reader.vision.findings import BoxEvidence, BoxView, NoSheet, PhotoQuality, SheetView

WIDTH = 4000


def a_study(folder: Path) -> Study:
    """A small study of our own: two plots, two counts, three sites."""
    return Study(
        key="ponds",
        title="Pond snails",
        paper="A4",
        season=Season(date(2026, 4, 1), date(2026, 9, 30)),
        visits=Visits(),
        header=(
            FieldSpec("site", "Site number", SITE, 4),
            FieldSpec("date", "Visit date", DATE, 6),
            FieldSpec("helpers", "Helpers", NUMBER, 2, 1, 20),
        ),
        plots=(Plot("shade", "Shade", "shaded"), Plot("sun", "Sun", "open")),
        counts=(
            CountField("snails", "Snails", 3, 0, 400),
            CountField("eggs", "Egg masses", 2, 0, 40),
        ),
        sums=(),
        comments=None,
        instructions=(),
        sites=(
            Site("1004", "Mill", "Pat Doe, pat@example.org"),
            Site("1010", "Weir", "Kim Roe, kim@example.org"),
            Site("1022", "Lock", ""),
        ),
        folder=folder,
    )


def says(
    values: dict[str, Any] | None = None, *, flagged: dict[str, Any] | None = None, **more: Any
) -> dict[str, Any]:
    """What a photo shows: accepted values, flagged ones, and the page they are on."""
    fields: dict[str, Any] = {"site": "1004", "date": "2026-05-20", "helpers": "2"}
    fields |= {"shade.snails": "7", "shade.eggs": "0", "sun.snails": "12", "sun.eggs": "3"}
    fields |= values or {}
    for name in flagged or {}:
        fields.pop(name, None)
    return {"accepted": fields, "flagged": flagged or {}, **more}


def photo(said: Any, *, seed: int = 0) -> bytes:
    """A PNG that shows ``said`` to :func:`read`; ``seed`` makes its bytes differ."""
    gray = np.full((80, WIDTH), 255, dtype=np.uint8)
    text = json.dumps(said).encode()
    gray[0, : len(text)] = np.frombuffer(text, dtype=np.uint8)
    gray[0, len(text)] = 0
    gray[70, 0] = seed % 256
    gray[70, 1] = seed // 256
    stream = io.BytesIO()
    Image.fromarray(gray).save(stream, "PNG")
    return stream.getvalue()


def scan(pages: int) -> bytes:
    """A PDF of so many pages, each of a shade of its own, which :func:`read` takes for a sheet."""
    shades = [Image.new("L", (WIDTH, 80), 20 + 10 * page) for page in range(pages)]
    stream = io.BytesIO()
    shades[0].save(stream, "PDF", save_all=True, append_images=shades[1:], resolution=300)
    return stream.getvalue()


def _scanned(picture: OpenedPicture) -> dict[str, Any]:
    page = round((float(np.median(picture.gray)) - 20) / 10)
    day = f"2026-{page % 5 + 4:02}-{int(picture.sha256[:4], 16) % 28 + 1:02}"
    return says({"date": day}, flagged={"sun.eggs": "3"})


def read(
    picture: OpenedPicture, study: Study, _book: object, today: date, /, *, history: Any = None
) -> list[Any]:
    """The stand-in reader; "act" makes it misbehave. Several sheets in one photo are found in the
    order they lie, on odd days in the reverse one; on odd days a sheet may say something else.
    A sheet may be ``doubted`` where there is ``history``: these fields are flagged then.
    """
    row = picture.gray[0]
    if np.ptp(picture.gray) < 8:  # all of one shade, as JPEG leaves it
        return _read_one(_scanned(picture), picture, study, 0.0)
    said = json.loads(row[: int(np.argmin(row))].tobytes())
    if isinstance(said, list):
        found = [_read_one(one, picture, study, 500.0 * n) for n, one in enumerate(said)]
        parts = found[::-1] if today.day % 2 else found
        return [item for part in parts for item in part]
    if isinstance(said, dict) and today.day % 2:
        said = said | said.get("on_odd_days", {})
    if isinstance(said, dict) and history:
        said = _doubted(said)
    return _read_one(said, picture, study, 0.0)


def _doubted(said: dict[str, Any]) -> dict[str, Any]:
    names = said.get("doubted", [])
    accepted = {n: v for n, v in said["accepted"].items() if n not in names}
    return said | {
        "accepted": accepted,
        "flagged": said["flagged"] | {n: said["accepted"][n] for n in names},
    }


def _reasons(said: Any, field: str) -> Reasons:
    """The field's reasons: words, or a list as a record keeps it."""
    given = said.get("reasons", {}).get(field, "unclear")
    return in_words(given) if isinstance(given, str) else from_json(json.dumps(given))


def _read_one(said: Any, picture: OpenedPicture, study: Study, left: float) -> list[Any]:
    if isinstance(said, str):
        return [NoSheet(because(Code.TEXT, text=said))]
    misbehave(said.get("act", ""), said.get("mark", ""))
    time.sleep(said.get("seconds", 0))
    code = SheetCode(
        said.get("study", study.key), "v1", said.get("sheet", "BLANK"), said.get("page", 1)
    )
    fields = [FieldReading(n, v, 0.999, "accepted") for n, v in said["accepted"].items()]
    fields = [f if f.value is not None else _empty(f.field) for f in fields]
    fields += [
        FieldReading(n, v, 0.6, "flagged", _reasons(said, n), "1", 0.3)
        for n, v in said["flagged"].items()
    ]
    accepted = {f.field: f.value for f in fields if f.status == "accepted"}
    places = accepted.get("site"), accepted.get("date")
    reading = PageReading(code, tuple(fields), *places, threshold=said.get("threshold", 0.0))
    return [(_view(picture, code, fields, said.get("blur", 0.1), left), reading)]


def read_seen(
    picture: OpenedPicture, study: Study, book: object, today: date, /, *, history: Any = None
) -> list[Any]:
    """As :func:`read`, but each page is decoded, by the study's rules, from box probabilities that
    are kept: what is flagged is doubtful in its last box.
    """
    del history  # by the evidence
    return [
        item if isinstance(item, NoSheet) else _seen(item[0], item[1], study, today)
        for item in read(picture, study, book, today)
    ]


def _seen(view: SheetView, page: PageReading, study: Study, today: date) -> Any:
    specs = {spec.name: spec for spec in study.fields}
    boxes: list[BoxEvidence] = []
    rows: list[list[float]] = []
    for field in page.fields:
        text, spec = field.value or "", specs[field.field]
        if spec.kind.name == "date":
            text = text[8:10] + text[5:7] + text[2:4]
        for index, sign in enumerate(text.rjust(spec.boxes)):
            part = ("day", "month", "year")[index // 2] if spec.kind.name == "date" else ""
            cell = Cell(field.field, index, (20.0 + 9 * index, 20.0, 7.0, 9.0), part)
            boxes.append(BoxEvidence(cell, 0.1, Occlusion.NONE, 0.1, 0.9, 0.2))
            sure = 0.6 if field.status == "flagged" and index == spec.boxes - 1 else 0.99999
            at = CLASSES.index(EMPTY if sign == " " else sign)
            rows.append([sure if k == at else (1 - sure) / 13 for k in range(len(CLASSES))])
    logs = np.log(np.array(rows)).astype(np.float32)
    evidence = PageEvidence(page.code, tuple(boxes), logs, "", today)
    return view, decode_page(evidence, study)


def misbehave(act: str, mark: str) -> None:
    """Do ``act``; a hanging one makes the file ``mark``, so that the test knows."""
    if act == "hang":
        Path(mark).touch()
        while True:
            time.sleep(600)
    elif act == "die once":
        if not Path(mark).exists():
            Path(mark).touch()
            os.kill(os.getpid(), signal.SIGKILL)
    elif act == "die":
        os._exit(3)
    elif act == "raise":
        raise ValueError("odd numbers")


def _empty(name: str) -> FieldReading:
    return FieldReading(name, None, 0.999, "empty")


def _view(
    picture: OpenedPicture, code: SheetCode, fields: list[FieldReading], blur: float, left: float
) -> SheetView:
    boxes = []
    for row, field in enumerate(fields):
        cell = Cell(field.field, 0, (20.0, 20.0 + 12 * row, 7.0, 9.0))
        corners = np.array([[10, 10], [24, 10], [24, 28], [10, 28]], dtype=np.float64)
        crop = np.full((64, 64), row, dtype=np.uint8)
        boxes.append(BoxView(cell, 0.1, crop=crop, corners_px=corners))
    page = Page(code, 1, 210, 297, (), (), (0, 0, 1, 1), (0, 0, 1, 1))
    height = picture.gray.shape[0]
    corners = [[left, 0], [left + 500, 0], [left + 500, height], [left, height]]
    outline = np.array(corners, dtype=np.float64)
    return SheetView(page, tuple(boxes), PhotoQuality(8, blur, 0.8, 0, 0), "machine code", outline)
