"""All that decoding needs of a page in a picture: small, so that it can be kept and used again.

Numbers are rounded to 32 bits before they are first used; so a page that is decoded from what was
kept of it gives exactly what its photo gave.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.types import CLASSES, BoxReadings
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.model import Cell, SheetCode
from sheet_reader.vision.findings import SheetView

FORM = 3
"""Of the bytes that :func:`packed` makes; a change of what they hold takes the next number."""
LEAST = DECODE.kept_floor
MEASURES = (
    "error_mm", "blur_mm", "contrast", "ink", "stroke", "stroke_noise", "leaves_mm", "gap_stroke",
    "edge_stroke",
)  # fmt: skip

Floats32 = NDArray[np.float32]


class SeenBox(Protocol):
    """What decoding asks of a box: see :class:`~sheet_reader.vision.findings.BoxView`."""

    @property
    def error_mm(self) -> float: ...  # noqa: D102
    @property
    def occluded(self) -> Occlusion: ...  # noqa: D102
    @property
    def blur_mm(self) -> float: ...  # noqa: D102
    @property
    def contrast(self) -> float: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class BoxEvidence:
    """A box without its picture; all as in :class:`~sheet_reader.vision.findings.BoxView`."""

    cell: Cell
    error_mm: float
    occluded: Occlusion
    blur_mm: float
    contrast: float
    ink: float
    stroke: float = 0.0
    stroke_noise: float = 0.0
    leaves_mm: float = 0.0
    gap_stroke: float = 0.0
    edge_stroke: float = 0.0


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

    def readings(self) -> BoxReadings:
        """The class probabilities."""
        return BoxReadings(np.exp(self.logs.astype(np.float64)), CLASSES)


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
    cells, hidden = [b.cell for b in view.boxes], [b.occluded for b in view.boxes]
    boxes = _boxes(cells, hidden, measured.reshape(-1, len(MEASURES)))
    return PageEvidence(view.page.code, boxes, logs, view.quality.advice, last_day)


def _boxes(
    cells: Sequence[Cell], hidden: Sequence[Occlusion], measured: Floats32
) -> tuple[BoxEvidence, ...]:
    return tuple(
        BoxEvidence(
            cell, occluded=Occlusion(why), **dict(zip(MEASURES, row.tolist(), strict=True))
        )
        for cell, why, row in zip(cells, hidden, measured, strict=True)
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
        count = len(told["cells"])
        numbers = np.frombuffer(body, "<f4").astype(np.float32)
        logs, measured = np.split(numbers, [count * len(CLASSES)])
        return PageEvidence(
            SheetCode(*told["code"]),
            _boxes(
                [Cell(name, index, tuple(box), part) for name, index, part, box in told["cells"]],
                [Occlusion(why) for why in told["occluded"]],
                measured.reshape(count, len(MEASURES)),
            ),
            logs.reshape(count, len(CLASSES)),
            told["advice"],
            date.fromisoformat(told["last_day"]),
        )
    except (zlib.error, KeyError, TypeError, ValueError) as error:
        raise ValueError(f"what was kept of a page is damaged: {error}") from error
