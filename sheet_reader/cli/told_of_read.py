"""What ``read`` tells when it is done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sheet_reader.cli.common import counted, hint, waits

if TYPE_CHECKING:
    from sheet_reader.record.history.found import BatchSummary
    from sheet_reader.record.history.rows import Summary
    from sheet_reader.study.model import Study


def what_came(batch: BatchSummary) -> str:
    """What this run did, in one line: each thing that arrived is counted in one place."""
    if not (batch.arrived or batch.read or batch.failed or batch.left_out):
        if batch.known == 0:
            return "No photos here."
        all_of = "It is" if batch.known == 1 else f"All {batch.known} photos are"
        return f"Nothing new. {all_of} in the record already."
    parts = [counted(batch.arrived, "new photo") if batch.arrived else "No new photo"]
    if batch.new_failed:
        parts[0] += f" ({batch.new_read} read, {batch.new_failed} not readable: reasons above)"
    if batch.new_checks:
        parts.append(f"{counted(batch.new_checks, 'print check')} (result above)")
    if batch.known:
        parts.append(f"{batch.known} known already")
    if batch.refused:
        parts.append(f"{batch.refused} not taken in (reasons above)")
    if batch.left_out:
        parts.append(f"{batch.left_out} left out")
    read, failed = batch.read - batch.new_read, batch.failed - batch.refused - batch.new_failed
    if read or failed:
        parts.append(f"{read + failed} from before looked at ({read} read, {failed} not readable)")
    parts.append(f"{counted(batch.pages, 'page')} read in {batch.seconds:.0f} s")
    fields = f"{batch.accepted:,} fields accepted, {batch.flagged:,} flagged, {batch.empty:,} empty"
    return f"{', '.join(parts)}: {fields}."


def standing(summary: Summary, questions: int) -> str:
    """How the whole record stands, in one line."""
    photos = sum(summary.photos.values())
    return (
        f"In the record: {counted(photos, 'photo')}, {counted(summary.visits, 'visit')}. "
        f"{waits(questions)}"
    )


def next_step(study: Study, summary: Summary, questions: int) -> str:
    """What to do next, as the record stands."""
    if not summary.visits:
        return f"Next:  put photos in {study.folder / 'inbox'}, then {hint('read', study.folder)}"
    return f"Next:  {hint('review' if questions else 'export', study.folder)}"
