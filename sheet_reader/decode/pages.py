"""A page of a sheet in one picture: what was seen of it before decoding, and what was read.

What was seen is small, so that it can be kept and used again. Its numbers are rounded to 32 bits
before they are first used; so a page that is decoded from what was kept of it gives exactly what
its photo gave.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES, BoxReadings
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Occlusion, Reasons
from sheet_reader.sheet.page import Cell, SheetCode
from sheet_reader.vision.findings import BoxEvidence, SheetView

FORM = 3
"""Of the bytes that :func:`packed` makes; a change of what they hold takes the next number."""
LEAST = DECODE.kept_floor
MEASURES = (
    "error_mm", "blur_mm", "contrast", "ink", "stroke", "stroke_noise", "leaves_mm", "gap_stroke",
    "edge_stroke",
)  # fmt: skip

Floats32 = NDArray[np.float32]
DecodedStatus = Literal["accepted", "flagged", "empty"]


@dataclass(frozen=True, slots=True, eq=False)
class PageEvidence:
    """A page as vision and digits saw it. ``logs`` float32 (N, 14): the natural logarithm of each
    box's class probabilities, a row per box, columns as in ``CLASSES``. ``last_day`` is the last
    day on which the visit can have been made: that on which the photo was read.
    """

    code: SheetCode
    boxes: tuple[BoxEvidence, ...]
    logs: Floats32
    advice: str
    last_day: date


@dataclass(frozen=True, slots=True)
class FieldReading:
    """One field of one page in one picture.

    ``value`` is the most probable value as text ("14", "2041", "2026-05-20" for a date) or None
    where nothing was read; ``confidence`` (0..1) its probability; ``status`` "accepted",
    "flagged" or "empty" (all boxes surely blank: not recorded); ``reasons`` why it is flagged.
    ``runner_up`` is the next value and ``runner_up_confidence`` its probability (None with a
    probability above 0: the runner-up is "not recorded").
    """

    field: str
    value: str | None
    confidence: float
    status: DecodedStatus
    reasons: Reasons = ()
    runner_up: str | None = None
    runner_up_confidence: float = 0.0


@dataclass(frozen=True, slots=True)
class PageReading:
    """All fields of one page in one picture that have boxes on it. ``site`` and ``visit_date``
    (ISO 8601) are the accepted ones, or None while they wait for a decision; on a sheet printed
    for a site ``site`` comes from the code and is no field. ``threshold`` is the one from which on
    counts were accepted. ``evidence`` is what the page was decoded from, None where the reader does
    not give it.
    """

    code: SheetCode
    fields: tuple[FieldReading, ...]
    site: str | None
    visit_date: str | None
    advice: str = ""
    threshold: float = 0.0
    evidence: PageEvidence | None = field(default=None, compare=False, repr=False)


def evidence_of(view: SheetView, readings: BoxReadings, last_day: date) -> PageEvidence:
    """What ``view`` and the ``readings`` of its boxes, in the same order, say.

    Raises ValueError where there are more or fewer rows than boxes.
    """
    given = np.asarray(readings.probabilities, dtype=np.float64)
    if given.shape != (len(view.boxes), len(readings.classes)):
        raise ValueError(f"{given.shape} probabilities for {len(view.boxes)} boxes")
    order = [readings.classes.index(name) for name in CLASSES]
    logs = np.log(np.maximum(given[:, order], LEAST)).astype(np.float32)
    measured = np.array([[getattr(b, name) for name in MEASURES] for b in view.boxes], np.float32)
    boxes = _boxes([(b.cell, b.occluded) for b in view.boxes], measured)
    return PageEvidence(view.page.code, boxes, logs, view.quality.advice, last_day)


def _boxes(
    places: Iterable[tuple[Cell, Occlusion]], measured: Floats32
) -> tuple[BoxEvidence, ...]:
    rows = measured.reshape(-1, len(MEASURES)).tolist()
    return tuple(
        BoxEvidence(cell, occluded=why, **dict(zip(MEASURES, row, strict=True)))
        for (cell, why), row in zip(places, rows, strict=True)
    )


def packed(evidence: PageEvidence) -> bytes:
    """The evidence as bytes: compressed; a line of JSON, then the numbers, little endian."""
    code = evidence.code
    told = {
        "form": FORM,
        "classes": CLASSES,
        "code": [code.study, code.layout, code.sheet, code.page],
        "last_day": evidence.last_day.isoformat(),
        "advice": evidence.advice,
        "cells": [[b.cell.field, b.cell.index, b.cell.part, b.cell.box_mm] for b in evidence.boxes],
        "occluded": [b.occluded.value for b in evidence.boxes],
    }
    measured = np.array([[getattr(b, name) for name in MEASURES] for b in evidence.boxes], "<f4")
    head = json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()
    body = evidence.logs.astype("<f4").tobytes() + measured.tobytes()
    return zlib.compress(head + b"\n" + body, 6)


def unpacked(data: bytes) -> PageEvidence | None:
    """The evidence of :func:`packed`; None for a form that this version does not know.

    Raises ValueError for bytes that are damaged.
    """
    try:
        head, _, body = zlib.decompress(data).partition(b"\n")
        told: dict[str, Any] = json.loads(head)
        if told["form"] != FORM or tuple(told["classes"]) != CLASSES:
            return None
        cells = [Cell(name, index, tuple(box), part) for name, index, part, box in told["cells"]]
        numbers = np.frombuffer(body, "<f4").astype(np.float32)
        logs, measured = np.split(numbers, [len(cells) * len(CLASSES)])
        return PageEvidence(
            SheetCode(*told["code"]),
            _boxes(zip(cells, map(Occlusion, told["occluded"]), strict=True), measured),
            logs.reshape(len(cells), len(CLASSES)),
            told["advice"],
            date.fromisoformat(told["last_day"]),
        )
    except (zlib.error, KeyError, TypeError, ValueError) as error:
        raise ValueError(f"what was kept of a page is damaged: {error}") from error
