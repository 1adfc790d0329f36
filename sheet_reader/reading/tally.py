"""What a run of reading has done, and how it is told: a summary, and lines for the coordinator."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from sheet_reader.numbers import READING
from sheet_reader.reading.decoding import Redecoded
from sheet_reader.reading.rules import CAUSES
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.history.photos import both_names
from sheet_reader.record.history.runs import Change
from sheet_reader.wording import counted, neutral_name, words


@dataclass(frozen=True, slots=True)
class BatchSummary:
    """What one call of read_batch did.

    Each thing that arrived is one of these: a new photo (``arrived``), ``known`` from before,
    ``refused`` (no picture) or ``left_out`` (drawn by this program). Of the new photos ``new_read``
    and ``new_failed`` were read and not readable, ``new_checks`` show a print check; ``read`` and
    ``failed`` also count photos that earlier runs took in, ``failed`` the refused things too.
    ``photo_ids`` are the photos looked at, ``decoded`` is how many known pages were decoded anew
    without their photos.
    ``lines`` has one line per thing that failed, and one per thing worth telling; ``seconds`` is
    the time spent reading. ``fault`` says what is wrong with the installation where no photo could
    be read for that reason: then all of them wait.
    """

    arrived: int = 0
    known: int = 0
    refused: int = 0
    left_out: int = 0
    new_read: int = 0
    new_failed: int = 0
    new_checks: int = 0
    read: int = 0
    failed: int = 0
    pages: int = 0
    accepted: int = 0
    flagged: int = 0
    empty: int = 0
    left_to_another: int = 0
    decoded: int = 0
    seconds: float = 0.0
    lines: tuple[str, ...] = ()
    photo_ids: tuple[int, ...] = ()
    fault: str = ""


@dataclass(slots=True)
class BatchTally:
    """What a run has done so far; ``counts`` by the names of the summary."""

    counts: Counter[str] = field(default_factory=Counter)
    lines: list[str] = field(default_factory=list)
    new: set[int] = field(default_factory=set)
    drawn: list[str] = field(default_factory=list)
    looked_at: list[int] = field(default_factory=list)
    fault: str = ""
    decoded: Redecoded = field(default_factory=Redecoded)
    doubts: list[str] = field(default_factory=list)

    def count(self, photo_id: int, name: str, result: PhotoResult) -> None:
        """Add what one photo gave."""
        self.looked_at.append(photo_id)
        check = bool(result.notes) and not result.failures
        outcome = "read" if result.pages else "checks" if check else "failed"
        self.counts.update(["pages"] * len(result.pages))
        self.counts.update([] if outcome == "checks" else [outcome])
        self.counts.update([f"new_{outcome}"] if photo_id in self.new else [])
        self.counts.update(f.reading.status for page in result.pages for f in page.fields)
        told = (*result.failures, *result.notes)
        self.lines += [f"{both_names(photo_id, name)}: {words([reason])}" for reason in told]

    def summary(self, seconds: float) -> BatchSummary:
        """The tally as it is told."""
        drawn = []
        if self.drawn:
            more = " …" if len(self.drawn) > READING.most_names else ""
            pictures = "picture was" if len(self.drawn) == 1 else "pictures were"
            drawn = [f"{len(self.drawn)} {pictures} drawn by sheet_reader and left out: "
                     f"{', '.join(self.drawn[: READING.most_names])}{more}"]  # fmt: skip
        return BatchSummary(
            **self.counts,
            arrived=len(self.new),
            left_out=len(self.drawn),
            seconds=seconds,
            decoded=len(self.decoded.pages),
            lines=(*self.lines, *drawn, *lines_of(self.decoded), *self.doubts),
            photo_ids=tuple(self.looked_at),
            fault=self.fault,
        )


def lines_of(done: Redecoded) -> list[str]:
    """What was decoded anew, why, and which fields changed; nothing where nothing need be told."""
    changes = done.changes.values()
    if not done.pages or not (done.causes - {"history"} or changes):
        return []
    changed = [told for part, told in CAUSES.items() if part in done.causes and part != "history"]
    why = f"Changed since: {', '.join(changed)}" if changed else "More is known of these sites now"
    pages = counted(len(done.pages), "page")
    by_page: dict[int, list[Change]] = defaultdict(list)
    for change in changes:
        by_page[change.page.page_instance_id].append(change)
    named = [_page(some) for _, some in sorted(by_page.items())[: READING.most_sheets]]
    more = len(by_page) - READING.most_sheets
    return [
        f"{why}: {pages} decoded anew, without the photos; {_changed(changes, len(by_page))}",
        *named,
        *([f"  and {counted(more, 'page')} more"] if more > 0 else []),
    ]


def _changed(changes: Collection[Change], pages: int) -> str:
    if not changes:
        return "no field changed"
    effective = [change for change in changes if not change.decided]
    news = [c for c in effective if c.after.status == "flagged" and c.before.status != "flagged"]
    doubted = sum(c.before.value is not None for c in news)
    asked = len(news) - doubted
    settled = sum(c.after.status != "flagged" and c.before.status == "flagged" for c in effective)
    parts = [f"{counted(len(changes), 'field')} of {counted(pages, 'page')} changed"]
    parts += [f"{doubted:,} {'is' if doubted == 1 else 'are'} doubted now"] if doubted else []
    parts += [f"{asked:,} wait{'s' if asked == 1 else ''} for you now"] if asked else []
    parts += [f"{settled:,} no longer wait{'s' if settled == 1 else ''}"] if settled else []
    return ", ".join(parts)


def _page(changes: Sequence[Change]) -> str:
    page = changes[0].page
    place = ", ".join(filter(None, (page.site, page.visit_date)))
    told = "; ".join(map(_field, changes))
    return f"  {neutral_name(page.photo_id)}{f' ({place})' if place else ''}: {told}"


def _field(change: Change) -> str:
    before, after = change.before, change.after
    said = after.value or "nothing"
    if change.decided:
        return f"{after.field} is read as {said} now; the decision stands"
    if after.status == "flagged" and before.status == "accepted":
        return f"{after.field} {before.value} is doubted ({words(after.reasons)})"
    if after.status == "flagged":
        return f"{after.field} {said}? ({words(after.reasons)})"
    if before.value == after.value:
        return f"{after.field} {said}, no longer asked about"
    return f"{after.field} {before.value or 'nothing'} is read as {said} now"
