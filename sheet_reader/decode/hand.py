r"""Whose hand a sheet is in: the digits of known truth that the writer model learns from.

Four sources. A site or date that the rules leave no doubt about tells which digits its boxes hold.
The volunteer's own ten digits, 0 to 9 in order, tell their own truth (:func:`own_digits`). A site's
earlier sheets tell what people or rules settled there (:func:`remembered`). Digits that the reader
is surest of are added by :mod:`~.writer`.

The row of ten is filled in by people, so it is not believed blindly. A box counts only where it
holds a digit that can be seen; not where the reader takes it flatly for another digit (someone left
one out, or slipped); and the row not at all where more than a few boxes look like other digits than
theirs (written from 1 to 0, or by a hand that no one can read). Digits from the row or from earlier
sheets speak only where this sheet's own sure digits fit that hand no worse than anybody's: several
people may write at one site, or on one sheet.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.judgement import Judgement
from sheet_reader.decode.pages import PageEvidence
from sheet_reader.decode.posteriors import (
    STRUCK_AT,
    Floats,
    Group,
    box_probabilities,
    groups_of,
    unreadable_because,
)
from sheet_reader.decode.writer import (
    DIGITS,
    TINY,
    Examples,
    WriterModel,
    adapted,
    fit_of,
    sure_examples,
)
from sheet_reader.numbers import DECODE
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.study import FieldSpec
from sheet_reader.vision.findings import BoxEvidence

FEWEST, SHEETS = DECODE.hand_digits, DECODE.remembered_sheets


@dataclass(frozen=True, slots=True)
class FormerSheet:
    """A sheet of the site that was read before: its visit's day (ISO 8601) and the digits on it
    that a person confirmed or the rules settled.
    """

    day: str
    examples: Examples

    @property
    def mark(self) -> str:
        """A name for what it says: another where it says something else."""
        told = self.examples.x.tobytes() + self.examples.digits.tobytes()
        return hashlib.sha256(self.day.encode() + told).hexdigest()


Memory = Mapping[str, Sequence[FormerSheet]]
"""Site number → that site's earlier sheets, in any order."""


def _in_row(boxes: Sequence[BoxEvidence]) -> NDArray[np.bool_]:
    """Which boxes (N,) are of the row of the volunteer's own ten digits."""
    return np.array([box.cell.field == OWN_DIGITS for box in boxes], bool)


def _seen(boxes: Sequence[BoxEvidence]) -> NDArray[np.bool_]:
    return np.array([not unreadable_because(box) for box in boxes], bool)


def own_digits(boxes: Sequence[BoxEvidence], probabilities: Floats) -> Examples:
    """The examples in the row of ten among ``boxes``, with class probabilities (N, K)."""
    seen = _in_row(boxes) & _seen(boxes) & (probabilities[:, :DIGITS].sum(axis=1) > 0.5)
    wanted = np.array([box.cell.index for box in boxes], np.int64)[seen]
    p = probabilities[seen]
    if (p[:, :DIGITS].argmax(axis=1) != wanted).sum() > DECODE.row_odd_boxes:
        return Examples.none()
    return _not_flat(p, wanted)


def looks_struck(boxes: Sequence[BoxEvidence], probabilities: Floats) -> bool:
    """Whether a digit of the row looks struck out, as a crossed 7 or a slashed 0 may: then nothing
    on the sheet is taken for struck out without asking.
    """
    struck = probabilities[_in_row(boxes) & _seen(boxes), STRUCK_AT]
    return bool((struck > DECODE.row_struck_like).any())


def fitting(hand: Examples, sheet: Examples, model: WriterModel, least: float) -> Examples:
    """``hand`` where the sheet's own sure digits fit it by ``least`` or more (see
    :func:`~.writer.fit_of`), else none; also none where there are too few digits to tell.
    """
    if not len(hand) or np.isin(sheet.digits, hand.digits).sum() < FEWEST:
        return Examples.none()
    return hand if fit_of(sheet, hand, model) >= least else Examples.none()


def lately(former: Sequence[FormerSheet], day: str) -> list[FormerSheet]:
    """The sheets of before ``day`` that are looked back on, the latest first."""
    earlier = sorted((f for f in former if f.day < day), key=lambda f: f.day, reverse=True)
    return earlier[:SHEETS]


def remembered(
    former: Sequence[FormerSheet], day: str, sheet: Examples, model: WriterModel
) -> Examples:
    """The examples from a site's sheets of before ``day`` that fit the digits of ``sheet``. Each
    is tried by itself, the latest first, since one person may write one and another the next.
    """
    found = Examples.none()
    for one in lately(former, day):
        found += fitting(one.examples, sheet, model, DECODE.hand_fits)
    return found


@dataclass(frozen=True, slots=True)
class SheetHand:
    """One sheet's boxes and what is known of the hand they are in. ``seen`` and ``known`` (N,) as
    in :func:`~.writer.adapted`; the row of ten is not among the ``seen``. ``own`` are the examples
    that it gives.
    """

    probabilities: Floats
    seen: NDArray[np.bool_]
    known: NDArray[np.int64]
    own: Examples
    model: WriterModel

    @classmethod
    def of(
        cls,
        boxes: Sequence[BoxEvidence],
        probabilities: Floats,
        settled: Mapping[Group, str],
        model: WriterModel,
    ) -> SheetHand:
        """The hand of ``boxes``, whose parts ``settled`` hold these digits beyond doubt."""
        known = _known(boxes, probabilities, settled)
        seen = _seen(boxes) & ~_in_row(boxes)
        sure = sure_examples(probabilities, seen, known)
        row = fitting(own_digits(boxes, probabilities), sure, model, DECODE.row_fits)
        return cls(probabilities, seen, known, row, model)

    def remembering(self, former: Sequence[FormerSheet], day: str) -> Examples:
        """The examples of the site's ``former`` sheets of before ``day`` (ISO 8601) where the hand
        is the same.
        """
        sure = sure_examples(self.probabilities, self.seen, self.known)
        return remembered(former, day, self.own + sure, self.model)

    def adapted(self, former: Examples | None = None) -> Floats:
        """The boxes' probabilities (N, K) in the light of the writer's digits, ``former`` ones
        among them.
        """
        given = self.own if former is None else self.own + former
        return adapted(self.probabilities, self.seen, self.known, self.model, given)


def parts_of(spec: FieldSpec, value: str) -> dict[Group, str]:
    """The digits of a field's settled ``value`` (a date as ISO 8601), by field and part."""
    return {(spec.name, part): digits for part, digits in spec.kind.parts(value).items()}


def former_sheet(day: str, page: PageEvidence, settled: Mapping[Group, str]) -> FormerSheet:
    """What a ``page`` of this ``day`` tells of its hand, once people or rules have ``settled`` the
    digits of some of its fields: those in boxes that can be seen and are not flatly taken for
    another digit, which may be a slip of whoever settled it; and the row of ten.
    """
    boxes, probabilities = page.boxes, box_probabilities(page)
    known = _known(boxes, probabilities, settled)
    at = np.flatnonzero(_seen(boxes) & (known >= 0))
    found = own_digits(boxes, probabilities) + _not_flat(probabilities[at], known[at])
    return FormerSheet(day, Examples(np.round(found.x, 4), found.digits))


def _known(
    boxes: Sequence[BoxEvidence], probabilities: Floats, settled: Mapping[Group, str]
) -> NDArray[np.int64]:
    """The digit of each box (N,) of the parts ``settled``, else -1."""
    known: NDArray[np.int64] = np.full(len(boxes), -1)
    groups = groups_of(boxes)
    for group in settled.keys() & groups.keys():
        found = groups[group]
        for place, digit in digits_in_boxes(probabilities[found], settled[group]).items():
            known[found[place]] = digit
    return known


def _not_flat(probabilities: Floats, digits: NDArray[np.int64]) -> Examples:
    """Those of the boxes (n, K) that are not flatly taken for another digit than theirs (n,)."""
    p = np.maximum(probabilities[:, :DIGITS], TINY)
    kept = np.log(p.max(axis=1) / p[np.arange(len(p)), digits]) <= DECODE.row_contradiction
    return Examples.of(probabilities[kept], digits[kept].tolist())


def digits_in_boxes(boxes: Floats, value: str) -> dict[int, int]:
    """Which digit each box (n, K) of a field holds whose value is ``value``, by its place; none
    where the boxes with a digit are not as many as the value has, or as many more as zeros lead.
    """
    filled = np.flatnonzero(boxes[:, :DIGITS].sum(axis=1) > 0.5)
    best = boxes[filled, :DIGITS].argmax(axis=1)
    lead = len(filled) - len(value)
    padded = value.zfill(len(filled)) if lead > 0 and not best[:lead].any() else value
    for spelt in (padded, value.lstrip("0")):
        if len(spelt) == len(filled) and spelt.isdecimal():
            return {int(i): int(c) for i, c in zip(filled, spelt, strict=True)}
    return {}


def settled_parts(specs: Sequence[FieldSpec], keys: Mapping[str, Judgement]) -> dict[Group, str]:
    """The digits of sites and dates that are beyond doubt. What the boxes alone say against a site
    or a date stays a reason to ask, whatever comes of it.
    """
    found: dict[Group, str] = {}
    for spec in specs:
        judged = keys.get(spec.name)
        if judged and judged.value and not judged.flags and judged.confidence >= DECODE.known:
            found |= parts_of(spec, judged.value)
    return found
