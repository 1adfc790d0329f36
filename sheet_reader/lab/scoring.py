"""Hold what was read against what was written: counts that add up over photographs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from sheet_reader.decode.pages import FieldReading, PageReading
from sheet_reader.digits.classes import EMPTY, BoxReadings
from sheet_reader.numbers import LAB
from sheet_reader.simulate.truth import CellTruth, FieldTruth, PhotoTruth, SheetTruth
from sheet_reader.vision.findings import BoxView, SheetView
from sheet_reader.wording import words

COVERED = LAB.plain_covered
SATURATED = LAB.plain_saturated
LOST = LAB.lost_share


@dataclass(slots=True)
class Score:
    """Counts over photographs, fields and boxes; ``errors_mm`` has one entry per box placed.

    ``fields`` counts those whose boxes are all visible; ``right`` those whose value is right
    before review; ``sure`` all that were not flagged, and ``sure_wrong`` the wrong ones of them,
    hidden fields included; ``plain`` and ``plain_flagged`` leave out what is the sheet's own
    fault (struck, corrected, signs, strays, wrong sums, hidden). ``lost_unnoticed`` counts boxes
    that the reader takes for visible although they are lost; ``missed`` fields that were written,
    but surely "not recorded" to the reader. ``people`` has an entry for each accepted field of a
    person: 1 where it is wrong, else 0.
    """

    photos: int = 0
    sheets: int = 0
    found: int = 0
    misidentified: int = 0
    bare: int = 0
    false_sheets: int = 0
    boxes: int = 0
    boxes_placed: int = 0
    boxes_occluded: int = 0
    lost: int = 0
    lost_unnoticed: int = 0
    blank: int = 0
    blank_as_ink: int = 0
    inked: int = 0
    ink_as_blank: int = 0
    fields: int = 0
    right: int = 0
    flagged: int = 0
    plain: int = 0
    plain_flagged: int = 0
    sure: int = 0
    sure_wrong: int = 0
    missed: int = 0
    site_wrong: int = 0
    date_wrong: int = 0
    errors_mm: list[float] = field(default_factory=list)
    people: dict[str, list[int]] = field(default_factory=dict)
    seconds: dict[str, list[float]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Add another score's counts to this one's."""
        for item in fields(self):
            mine, theirs = getattr(self, item.name), getattr(other, item.name)
            if isinstance(mine, dict):
                for key, values in theirs.items():
                    mine.setdefault(key, []).extend(values)
            else:
                setattr(self, item.name, mine + theirs)


def visible(cell: CellTruth) -> bool:
    """Whether the box can be read in the picture at all."""
    return cell.inside and cell.covered <= COVERED and cell.saturated <= SATURATED


def lost(cell: CellTruth) -> bool:
    """Whether so much of the box is hidden that its content can't be known."""
    return not cell.inside or cell.covered >= LOST or cell.saturated >= 2 * LOST


def score_views(truth: PhotoTruth, views: Sequence[SheetView], score: Score) -> None:
    """Count sheets found and boxes placed."""
    score.photos += 1
    score.sheets += len(truth.sheets)
    if not truth.sheets:
        score.bare += 1
        score.false_sheets += len(views)
        score.notes += [f"false sheet {v.page.code} in a picture of: {truth.kind}" for v in views]
        return
    met = set()
    for view in views:
        sheet = sheet_under(truth, view)
        if sheet is None or view.page.code != sheet.code:
            score.misidentified += 1
            score.notes.append(f"identified as {view.page.code}, is {sheet and sheet.code}")
        elif id(sheet) not in met:
            met.add(id(sheet))
            _score_boxes(sheet, view, score)
        else:
            score.notes.append(f"{sheet.code} was found twice")
    score.found += len(met)


def sheet_under(truth: PhotoTruth, view: SheetView) -> SheetTruth | None:
    """The true sheet where ``view`` was seen: the one whose middle is nearest."""
    place = np.mean(view.outline_px, axis=0)
    distances = [float(np.linalg.norm(np.mean(s.outline_px, axis=0) - place)) for s in truth.sheets]
    return truth.sheets[int(np.argmin(distances))] if distances else None


def _score_boxes(sheet: SheetTruth, view: SheetView, score: Score) -> None:
    boxes = {(b.cell.field, b.cell.index): b for b in view.boxes}
    for cell in sheet.cells:
        box = boxes.get((cell.field, cell.index))
        if lost(cell):
            unnoticed = box is not None and not box.occluded
            score.lost += 1
            score.lost_unnoticed += unnoticed
            if unnoticed:
                score.notes.append(
                    f"{cell.field}[{cell.index}] taken for visible: inside {cell.inside}, "
                    f"covered {cell.covered:.2f}, saturated {cell.saturated:.2f}"
                )
        if not visible(cell):
            continue
        score.boxes += 1
        if box is None or box.occluded:
            score.boxes_occluded += 1
            continue
        score.boxes_placed += 1
        error = box_error_mm(cell, box, sheet.print_scale)
        score.errors_mm.append(error)
        if error > 1.0:
            score.notes.append(f"{cell.field}[{cell.index}] is {error:.2f} mm off")


def box_error_mm(cell: CellTruth, box: BoxView, print_scale: float) -> float:
    """Mean distance of the four corners from their true places, mm on the paper."""
    true = np.array(cell.corners_px)
    sides = np.linalg.norm(true - np.roll(true, -1, axis=0), axis=1)
    width, height = box.cell.box_mm[2:]
    px_per_mm = float(np.sum(sides)) / (2 * (width + height) * print_scale)
    return float(np.mean(np.linalg.norm(box.corners_px - true, axis=1)) / px_per_mm)


def score_boxes_read(
    sheet: SheetTruth, view: SheetView, readings: BoxReadings, score: Score
) -> None:
    """Count blank boxes taken for ink (more likely not empty than empty) and the reverse."""
    empty = readings.probabilities[:, readings.classes.index(EMPTY)] > 0.5
    truth = {(c.field, c.index): c for c in sheet.cells}
    for box, seems_empty in zip(view.boxes, empty, strict=True):
        cell = truth.get((box.cell.field, box.cell.index))
        if cell is None or box.occluded or not visible(cell) or cell.stray:
            continue
        if cell.content == "empty":
            score.blank += 1
            score.blank_as_ink += not seems_empty
        else:
            score.inked += 1
            score.ink_as_blank += bool(seems_empty)
        if (cell.content == "empty") != bool(seems_empty):
            score.notes.append(f"{cell.field}[{cell.index}] {cell.content}, blank: {seems_empty}")


def score_page(sheet: SheetTruth, reading: PageReading, score: Score) -> None:
    """Count fields right, flagged, and wrong though not flagged."""
    read = {f.field: f for f in reading.fields}
    cells: dict[str, list[CellTruth]] = {}
    for cell in sheet.cells:
        cells.setdefault(cell.field, []).append(cell)
    for truth in sheet.fields:
        found = read.get(truth.field)
        if found is not None:
            _score_field(sheet, truth, found, cells[truth.field], score)
    if reading.site is not None and reading.site != sheet.site:
        score.site_wrong += 1
        score.notes.append(f"site {sheet.site} accepted as {reading.site}")
    if reading.visit_date is not None and reading.visit_date != sheet.visit_date:
        score.date_wrong += 1
        score.notes.append(f"date {sheet.visit_date} accepted as {reading.visit_date}")


def _score_field(
    sheet: SheetTruth, truth: FieldTruth, found: FieldReading, cells: list[CellTruth], score: Score
) -> None:
    flagged = found.status == "flagged"
    right = found.value == truth.value
    clear = all(visible(cell) for cell in cells)
    if not flagged:
        score.sure += 1
        score.sure_wrong += not right
        score.missed += found.status == "empty" and truth.state == "written"
        score.people.setdefault(sheet.person, []).append(int(not right))
    if clear:
        score.flagged += flagged
        score.fields += 1
        score.right += right or (truth.value is None and flagged)
    summed = truth.field in sheet.wrong_sums
    if clear and truth.state in ("written", "empty") and not any(c.stray for c in cells):
        score.plain += not summed
        score.plain_flagged += flagged and not summed
    if not right and not (truth.value is None and flagged):
        word = "flagged" if flagged else found.status.upper()
        score.notes.append(
            f"{truth.field} {truth.value} ({truth.state}{'' if clear else ', hidden'}) "
            f"read {found.value} at {found.confidence:.4f}, {word} {words(found.reasons)}"
        )
