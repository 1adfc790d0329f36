"""The readings held against the study file as it is now.

A field was accepted under the study file of its day. Where the one in force now would ask about it,
it is asked about, until the file says otherwise again or a person has decided; nothing that was
asked about is ever accepted here. Pure functions over rows, a step before and a step after
:func:`sheet_reader.record.effective.visits_of`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from sheet_reader.record.effective import visits_of
from sheet_reader.record.standing import Decided, Effective, Read, Seen, Visit
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.model import FieldSpec, Study, SumRule

ANEW = "accepted before, but "
"""How the reason of a question begins that the study file of today asks."""
UNKNOWN = "study.toml has no such field now"

Place = tuple[int, str]
"""A field of a sighting."""


def visits_now(
    study: Study, seen: Sequence[Seen], reads: Sequence[Read], decided: Sequence[Decided]
) -> list[Visit]:
    """Every visit, by the study file in force."""
    held = {(d.sighting_id, d.field) for d in decided}
    anew = asked_anew(study, reads, held, threshold_of(study))
    placed = placed_for_sure(study, seen, reads, held)
    return without_unknown(study, visits_of(study, placed, anew, decided))


def threshold_of(study: Study) -> float:
    """The confidence from which a count counts as accepted under the study's ``accepted_error``.

    That of the shipped data. Own readings that contradict the promise tighten what is read from
    then on, not what was accepted before: all of that would be asked about again.
    """
    from sheet_reader.decode.calibration import default_threshold

    return default_threshold(study.accepted_error)


def asked_anew(
    study: Study, reads: Iterable[Read], held: Collection[Place], threshold: float
) -> list[Read]:
    """``reads`` with every accepted field flagged that the study file would ask about now; what a
    person decided (``held``) stands.
    """
    specs = {spec.name: spec for spec in study.fields}
    key_threshold = _for_keys(threshold)
    found = []
    for read in reads:
        spec = specs.get(read.field)
        free = read.status != "flagged" and (read.sighting_id, read.field) not in held
        if spec is not None and free:
            key = spec.kind in ("site", "date")
            reason = _against(study, read, spec, key_threshold if key else threshold)
            read = _asked(read, reason) if reason else read
        found.append(read)
    return _sums_checked(study.sums, found, held) if study.sums else found


def _for_keys(threshold: float) -> float:
    from sheet_reader.decode.sheet import KEY_DOUBT

    return 1.0 - (1.0 - threshold) * KEY_DOUBT


def _against(study: Study, read: Read, spec: FieldSpec, threshold: float) -> str:
    """Why an accepted field would be asked about now, or ""."""
    if read.confidence < threshold:
        return f"not certain enough for accepted_error = {study.accepted_error:g}"
    if spec.kind in ("site", "date") or not (read.value or "").isdecimal():
        return ""
    value = int(read.value or "")
    if spec.highest is not None and value > spec.highest:
        return f"{value} is more than the highest plausible value {spec.highest}"
    if spec.lowest is not None and value < spec.lowest:
        return f"{value} is less than the lowest plausible value {spec.lowest}"
    return ""


def _asked(read: Read, reason: str) -> Read:
    return replace(read, status="flagged", reason=ANEW + reason)


def _sums_checked(
    rules: Sequence[SumRule], reads: list[Read], held: Collection[Place]
) -> list[Read]:
    """Flag all fields of a sum that does not hold, where all were accepted and none is decided."""
    by_page: dict[int, dict[str, Read]] = defaultdict(dict)
    for read in reads:
        by_page[read.sighting_id][read.field] = read
    off: dict[int, str] = {}
    for on_page in by_page.values():
        for rule in rules:
            fields = [on_page[name] for name in (rule.total, *rule.parts) if name in on_page]
            reason = _sum_off(fields, held) if len(fields) == 1 + len(rule.parts) else ""
            for read in fields if reason else ():
                off.setdefault(read.reading_id, reason)
    return [_asked(r, off[r.reading_id]) if r.reading_id in off else r for r in reads]


def _sum_off(fields: Sequence[Read], held: Collection[Place]) -> str:
    """What is wrong with a total (first) and its parts, or ""."""
    for read in fields:
        decided = (read.sighting_id, read.field) in held
        if decided or read.status != "accepted" or not (read.value or "").isdecimal():
            return ""
    total, *parts = (int(read.value or "") for read in fields)
    if total == sum(parts):
        return ""
    return f"total {total}, parts add to {sum(parts)}: which is right?"


def placed_for_sure(
    study: Study, seen: Iterable[Seen], reads: Iterable[Read], held: Collection[Place]
) -> list[Seen]:
    """``seen`` without a site or date that may have been corrected under a name of the field which
    the study no longer has: such a page is left without a place rather than put to a wrong one.
    """
    known = {spec.name for spec in study.fields}
    names: dict[str, str] = {h.kind: h.name for h in study.header}
    on_page = {(read.sighting_id, read.field) for read in reads}
    doubtful = {number for number, name in held if "." not in name and name not in known}
    found = []
    for page in seen:
        if page.sighting_id in doubtful:
            if page.sheet == BLANK and (page.sighting_id, names["site"]) not in on_page:
                page = replace(page, site=None)
            if (page.sighting_id, names["date"]) not in on_page:
                page = replace(page, visit_date=None)
        found.append(page)
    return found


def without_unknown(study: Study, visits: Iterable[Visit]) -> list[Visit]:
    """``visits`` in which fields that the study does not have serve nowhere and ask nothing; what
    was read and decided of them stays among the readings.
    """
    known = {spec.name for spec in study.fields}
    return [
        replace(visit, fields=tuple(_known(field, known) for field in visit.fields))
        for visit in visits
    ]


def _known(field: Effective, known: Collection[str]) -> Effective:
    if field.read.field in known:
        return field
    reason = f"{field.reason}; {UNKNOWN}" if field.reason else UNKNOWN
    return replace(field, serves=False, asks=False, reason=reason)
