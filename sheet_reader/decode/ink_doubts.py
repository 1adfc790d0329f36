"""Doubts that lie in the ink itself: too pale to be sure of, or come from elsewhere.

A sheet is written with one pen. Its own sure digits tell how dark a stroke of it is; so for each
box it is known how dark such a stroke would look there, after the box's own blur and light. An
"empty" is believed only where nothing in the box comes near that (a detection limit: what the
paper's noise gives there must lie clearly below what the sheet's ink would give; Currie, Analytical
Chemistry 40:586, 1968, for the idea of a decision limit). A digit far paler than the rest may be
the page behind. Ink on its way from the tally space into the first box is a doubt, too.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sheet_reader.decode.judgement import Judgement
from sheet_reader.decode.posteriors import EMPTY_AT, Floats, groups_of
from sheet_reader.decode.writer import DIGITS
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.vision.findings import BoxEvidence


@dataclass(frozen=True, slots=True)
class SheetInk:
    """The sheet's own ink, medians over its sure digits: darkness of the ``stroke`` (share of
    paper), ``blur_mm`` and ``contrast`` of the places where they stand.
    """

    stroke: float
    blur_mm: float
    contrast: float

    def expected(self, box: BoxEvidence) -> float:
        """How dark a stroke of this ink would look in ``box``."""
        own = DECODE.stroke_sd_mm**2
        blurs = (own + self.blur_mm**2) / (own + max(box.blur_mm, 0.0) ** 2)
        light = box.contrast / self.contrast if self.contrast > 0.0 else 1.0
        return self.stroke * min(1.0, math.sqrt(blurs)) * min(1.0, light)


def sheet_ink(boxes: Sequence[BoxEvidence], probabilities: Floats) -> SheetInk | None:
    """The ink of the sheet whose ``boxes`` have class ``probabilities`` (N, K); None where fewer
    than ``DECODE.ink_examples`` boxes surely hold a digit, or strokes were not measured.
    """
    sure = probabilities[:, :DIGITS].sum(axis=1) >= DECODE.ink_sure
    told = [b for b, held in zip(boxes, sure, strict=True) if held and not b.occluded and b.stroke]
    if len(told) < DECODE.ink_examples:
        return None
    table = np.array([(b.stroke, b.blur_mm, b.contrast) for b in told])
    return SheetInk(*np.median(table, axis=0).tolist())


def ink_doubts(boxes: Sequence[BoxEvidence], probabilities: Floats) -> list[Code | None]:
    """What speaks against the most probable class of each box, by its ink alone: ``FAINT_INK`` for
    an empty one that may hold ink, ``PALE_INK`` for a digit that may be no ink of this sheet,
    ``TALLY_INK`` for a digit beside a tally that runs on towards it; None for the others.
    """
    ink = sheet_ink(boxes, probabilities)
    return [_doubt(b, row, ink) for b, row in zip(boxes, probabilities, strict=True)]


def _doubt(box: BoxEvidence, row: Floats, ink: SheetInk | None) -> Code | None:
    if box.occluded or not box.stroke:
        return None
    best = int(row.argmax())
    expected = ink.expected(box) if ink else None
    if best == EMPTY_AT:
        limit = max(DECODE.seen_stroke, DECODE.noise_strokes * box.stroke_noise)
        if expected is not None:
            limit = min(limit, DECODE.ink_gate * expected)
        return Code.FAINT_INK if box.stroke >= limit else None
    if best >= DIGITS:
        return None
    # a stroke in the gap before the box, or, beside a 1, on the frame
    beside = DECODE.gap_share * expected if expected is not None else DECODE.gap_stroke
    on_frame = max(DECODE.edge_share * (expected or 0.0), DECODE.edge_stroke)
    in_gap = box.gap_stroke >= max(beside, DECODE.gap_noises * box.stroke_noise)
    if in_gap or (best == 1 and box.edge_stroke >= on_frame):
        return Code.TALLY_INK
    pale = expected is not None and box.stroke < DECODE.ink_gate * expected
    return Code.PALE_INK if pale else None


def pale_advice(ink: SheetInk | None) -> str:
    """What to tell the volunteer whose ink is near the limit of what a photo shows, else ""."""
    if ink is None or ink.stroke >= DECODE.pale_stroke:
        return ""
    return "Please write with a darker pen: the writing is so pale that some of it may be missed."


def sheet_doubt(boxes: Sequence[BoxEvidence], probabilities: Floats) -> float:
    """By how much (1 or more) every doubt of the sheet grows because many of its digits are
    doubtful: a hand or a photograph that the reader does not know well errs more than it thinks.
    One doubtful digit is anybody's and does not count.
    """
    seen = np.array([not b.occluded for b in boxes], bool)
    digits = probabilities[seen][:, :DIGITS]
    held = digits[digits.sum(axis=1) > 0.5]
    if not len(held):
        return 1.0
    doubtful = int((held.max(axis=1) < DECODE.clear_digit).sum())
    return float(max(1.0, (doubtful - 1) / len(held) / DECODE.usual_doubtful))


class InkDoubts:
    """What the ink of a page's ``boxes`` with class ``probabilities`` (N, K) says against the
    readings of their fields. ``advice`` is for the volunteer, or "".
    """

    def __init__(self, boxes: Sequence[BoxEvidence], probabilities: Floats) -> None:
        self._times = sheet_doubt(boxes, probabilities)
        self._reasons: dict[str, list[Reason]] = defaultdict(list)
        self._leaving: set[str] = set()
        self.advice = pale_advice(sheet_ink(boxes, probabilities))
        groups, codes = groups_of(boxes), ink_doubts(boxes, probabilities)
        for i, (box, code) in enumerate(zip(boxes, codes, strict=True)):
            name, part = box.cell.field, box.cell.part
            if code is not None:
                group = groups[name, part]
                place = because(code, box=group.index(i), boxes=len(group), part=part)
                self._reasons[name].append(place)
            if probabilities[i].argmax() < DIGITS and box.leaves_mm >= DECODE.leaving_mm:
                self._leaving.add(name)

    def applied(self, judged: Judgement) -> Judgement:
        """The judgement with these doubts."""
        times = DECODE.leaving_doubt if judged.field in self._leaving else 1.0
        raised = judged.doubted(times, because(Code.STROKE_LEAVES))
        raised = raised.doubted(self._times, because(Code.ODD_SHEET))
        return raised.flagged(*self._reasons.get(judged.field, ()))
