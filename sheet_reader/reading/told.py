"""What decoding anew has changed, in lines for the coordinator."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from sheet_reader.numbers import READING
from sheet_reader.reading.rules import CAUSES
from sheet_reader.wording import counted, neutral_name, words

if TYPE_CHECKING:
    from sheet_reader.reading.decoding import Anew
    from sheet_reader.record.history.runs import Change

MOST_SHEETS = READING.most_sheets


def lines_of(anew: Anew) -> list[str]:
    """What was decoded anew, why, and which fields changed; nothing where nothing need be told."""
    lines: list[str] = []
    news = anew.causes - {"history"}
    if anew.pages and (news or anew.changes):
        lines.append(f"{_why(anew.causes)}: {counted(len(anew.pages), 'page')} decoded anew, "
                     f"without the photos; {_what(anew)}")  # fmt: skip
        lines += _which(anew.changes.values())
    return lines


def _why(causes: Iterable[str]) -> str:
    changed = [what for part, what in CAUSES.items() if part in causes and part != "history"]
    if not changed:
        return "More is known of these sites now"
    return f"Changed since: {', '.join(changed)}"


def _what(anew: Anew) -> str:
    changes = anew.changes.values()
    if not changes:
        return "no field changed"
    sheets = len({change.page.page_instance_id for change in changes})
    effective = [change for change in changes if not change.decided]
    news = [c for c in effective if c.after.status == "flagged" and c.before.status != "flagged"]
    doubted = sum(c.before.value is not None for c in news)
    asked = len(news) - doubted
    settled = sum(c.after.status != "flagged" and c.before.status == "flagged" for c in effective)
    parts = [f"{counted(len(changes), 'field')} of {counted(sheets, 'page')} changed"]
    parts += [f"{doubted:,} {'is' if doubted == 1 else 'are'} doubted now"] if doubted else []
    parts += [f"{asked:,} wait{'s' if asked == 1 else ''} for you now"] if asked else []
    parts += [f"{settled:,} no longer wait{'s' if settled == 1 else ''}"] if settled else []
    return ", ".join(parts)


def _which(changes: Iterable[Change]) -> list[str]:
    by_page: dict[int, list[Change]] = defaultdict(list)
    for change in changes:
        by_page[change.page.page_instance_id].append(change)
    named = [_page(some) for _, some in sorted(by_page.items())[:MOST_SHEETS]]
    more = len(by_page) - MOST_SHEETS
    return named + ([f"  and {counted(more, 'page')} more"] if more > 0 else [])


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
