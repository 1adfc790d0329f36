"""One page as seen in one picture: every field judged, using all that is known together.

The most probable assignment of the sheet and the posterior of each field come from one model:
boxes are independent given what is written; numbers follow the study's rules. The rules tie
fields together only through sums (and through the site, which picks the history), so the joint
posterior factorises: site, date and counts are enumerated one by one (``posteriors``, ``sites``,
``dates``, ``counts``) and the fields of a sum are inferred together (``sums``). Before that the
boxes are looked at once more as the work of one hand (``writer``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.counts import History, judge_count, with_history, with_range
from sheet_reader.decode.dates import PARTS, also_turned, judge_date
from sheet_reader.decode.evidence import box_probabilities, unreadable_because
from sheet_reader.decode.hand import FormerSheet, Group, Hand, Memory, looks_struck, settled_parts
from sheet_reader.decode.ink_doubts import InkDoubts
from sheet_reader.decode.judgement import Judgement
from sheet_reader.decode.page_evidence import PageEvidence, evidence_of
from sheet_reader.decode.posteriors import CONTRADICTION, NumberPosterior, read_numbers
from sheet_reader.decode.promise import default_threshold
from sheet_reader.decode.rules import Rules
from sheet_reader.decode.sites import judge_site
from sheet_reader.decode.sums import balanced_doubt, exceeded, most_settled, settled, usable
from sheet_reader.decode.types import FieldReading, PageReading
from sheet_reader.decode.writer import shipped_model
from sheet_reader.digits.types import BoxReadings
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Occlusion, Reason, because
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.days import mixed_orders, span
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.model import FieldSpec, Study, SumRule
from sheet_reader.vision.findings import SheetView

KEY_DOUBT = DECODE.key_doubt


@dataclass(frozen=True, slots=True)
class _Boxes:
    """Posteriors by the boxes alone and why boxes are hidden, by field and part."""

    posteriors: dict[Group, NumberPosterior]
    hidden: dict[Group, tuple[Occlusion, ...]]


def decode_sheet(
    view: SheetView,
    readings: BoxReadings,
    study: Study,
    today: date,
    *,
    history: History | None = None,
    memory: Memory | None = None,
    threshold: float | None = None,
    rules: Rules = Rules.ALL,
) -> PageReading:
    """Decode all fields that have boxes on the page.

    ``readings`` has one row per ``view.boxes`` in the same order. ``today`` is the last day a
    visit can have been made. The rest as in :func:`decode_page`.
    """
    seen = evidence_of(view, readings, today)
    return decode_page(
        seen, study, history=history, memory=memory, threshold=threshold, rules=rules
    )


def decode_page(
    view: PageEvidence,
    study: Study,
    *,
    history: History | None = None,
    memory: Memory | None = None,
    threshold: float | None = None,
    rules: Rules = Rules.ALL,
) -> PageReading:
    """Decode what was seen of a page; without its picture, so that a changed study, site list or
    history can be applied to pages that were seen long ago.

    ``history`` gives earlier values by site and field, ``memory`` digits of the site's earlier
    sheets: they help to read the counts, never the site and the date by which they were found. A
    field is accepted (or taken as surely empty) from ``threshold`` (0..1) on; None takes the one
    that the shipped calibration data bear out for ``study.allowed_error``.
    """
    page = read_page(view, study, rules)
    if not mixed_orders(study):
        page = page.in_printed_order()
    return judged_page(page, history=history, memory=memory, threshold=threshold)


@dataclass(frozen=True, slots=True)
class PosteriorPage:
    """A page's boxes, site and date as decoded before anything of its site is known."""

    view: PageEvidence
    study: Study
    rules: Rules
    probabilities: NDArray[np.float64]
    specs: tuple[FieldSpec, ...]
    boxes: _Boxes
    alone: Mapping[Group, NumberPosterior]
    keys: Mapping[str, Judgement]
    hand: Hand | None
    doubts: InkDoubts

    def in_printed_order(self) -> PosteriorPage:
        """The page where day and month are known to stand as the sheet asks for them."""
        keys = {
            name: replace(key, flags=())
            if [flag.code for flag in key.flags] == [Code.DAY_OR_MONTH]
            else key
            for name, key in self.keys.items()
        }
        return replace(self, keys=keys)

    def remembering(self, former: Sequence[FormerSheet], visit: str) -> PosteriorPage:
        """The page in the light of the site's ``former`` sheets, where the hand is the same."""
        given = self.hand.remembering(former, visit) if self.hand and former else None
        if self.hand is None or not given:
            return self
        return replace(self, boxes=_read_boxes(self.view, self.hand.adapted(given)))


def read_page(view: PageEvidence, study: Study, rules: Rules = Rules.ALL) -> PosteriorPage:
    """The part of :func:`decode_page` that no threshold, history or memory changes. A date that
    may be meant the other way round is flagged: :meth:`PosteriorPage.in_printed_order`.
    """
    today = view.last_day
    probabilities = box_probabilities(view.boxes, view.readings())
    boxes = _read_boxes(view, probabilities)
    names = {name for name, _ in boxes.posteriors}
    specs = tuple(spec for spec in study.fields if spec.name in names)
    alone = boxes.posteriors
    judged_keys = _judge_keys(specs, boxes, study, today, rules)
    hand: Hand | None = None
    if Rules.WRITER in rules:
        parts = settled_parts(specs, judged_keys)
        hand = Hand.of(view.boxes, probabilities, parts, shipped_model())
        boxes = _read_boxes(view, hand.adapted())
        again = _judge_keys(specs, boxes, study, today, rules)
        judged_keys = {n: _not_against(judged_keys[n], k) for n, k in again.items()}
    doubts = InkDoubts(view.boxes, probabilities)
    keys = {n: doubts.applied(k) for n, k in judged_keys.items()}
    dated = study.date_field.name
    if dated in keys:
        keys[dated] = also_turned(keys[dated], span(study), today)
    return PosteriorPage(
        view, study, rules, probabilities, specs, boxes, alone, keys, hand, doubts
    )


def place_of(page: PosteriorPage, threshold: float | None = None) -> tuple[str | None, str | None]:
    """Site and visit date that :func:`judged_page` will give, None where they are not sure; sooner
    told than all of the page.
    """
    if threshold is None:
        threshold = default_threshold(page.study.allowed_error)
    return _place(page, _keys(page, threshold))


def _keys(page: PosteriorPage, threshold: float) -> dict[str, FieldReading]:
    sure = 1.0 - (1.0 - threshold) * KEY_DOUBT
    return {name: judged.reading(sure) for name, judged in page.keys.items()}


def _place(
    page: PosteriorPage, keys: Mapping[str, FieldReading]
) -> tuple[str | None, str | None]:
    site = _site(page.view.code.sheet, page.study, keys)
    day = keys.get(page.study.date_field.name)
    return site, day.value if day and day.status == "accepted" else None


def judged_page(
    page: PosteriorPage,
    *,
    history: History | None = None,
    memory: Memory | None = None,
    threshold: float | None = None,
) -> PageReading:
    """The rest of :func:`decode_page`."""
    view, study, specs, doubts = page.view, page.study, page.specs, page.doubts
    if threshold is None:
        threshold = default_threshold(study.allowed_error)
    boxes, keys = page.boxes, _keys(page, threshold)
    site, visit = _place(page, keys)
    if visit and site and (former := (memory or {}).get(site)):
        boxes = page.remembering(former, visit).boxes
    earlier = (history or {}).get(site or "", {}) if Rules.HISTORY in page.rules else {}
    crossing = not looks_struck(view.boxes, page.probabilities)
    judged = _judge_counts(specs, boxes, page.alone, study, earlier, page.rules, crossing)
    counts = {name: doubts.applied(count) for name, count in judged.items()}
    fields = tuple(
        keys[s.name] if s.name in keys else counts[s.name].reading(threshold) for s in specs
    )
    advice = view.advice or doubts.advice
    return PageReading(view.code, fields, site, visit, advice, threshold, view)


def _not_against(alone: Judgement, again: Judgement) -> Judgement:
    """A site or date in the light of the writer's hand, ``again``, with every reason to ask that
    the boxes ``alone`` gave. Where those clearly spell another one, that is shown and asked.
    """
    if again.value == alone.value:
        return again.flagged(*alone.flags)
    near = again.value == alone.runner_up
    if near and alone.runner_up_confidence >= CONTRADICTION * alone.confidence:
        return again.flagged(*alone.flags)
    if alone.flags:
        return alone
    return alone.flagged(because(Code.HAND_DIFFERS, boxes=alone.value, hand=again.value))


def _read_boxes(view: PageEvidence, probabilities: NDArray[np.float64]) -> _Boxes:
    rows: dict[Group, list[int]] = defaultdict(list)
    for i, box in enumerate(view.boxes):
        if box.cell.field != OWN_DIGITS:  # ten signs, not a number
            rows[box.cell.field, box.cell.part].append(i)
    for at in rows.values():
        at.sort(key=lambda i: view.boxes[i].cell.index)
    by_width: dict[int, list[Group]] = defaultdict(list)
    for group, at in rows.items():
        by_width[len(at)].append(group)
    posteriors: dict[Group, NumberPosterior] = {}
    for groups in by_width.values():
        stacked: NDArray[np.float64] = np.stack([probabilities[rows[g]] for g in groups])
        posteriors.update(zip(groups, read_numbers(stacked), strict=True))
    hidden = {
        group: tuple(unreadable_because(view.boxes[i]) for i in at) for group, at in rows.items()
    }
    return _Boxes(posteriors, hidden)


def _judge_keys(
    specs: Sequence[FieldSpec], boxes: _Boxes, study: Study, today: date, rules: Rules
) -> dict[str, Judgement]:
    """Site and date, as far as they are written by hand on the page."""
    found: dict[str, Judgement] = {}
    for name in (spec.name for spec in specs if spec.kind.is_key):
        if name == study.date_field.name:
            found[name] = judge_date(
                name,
                {part: boxes.posteriors[name, part] for part in PARTS},
                {part: boxes.hidden[name, part] for part in PARTS},
                study.season,
                today,
                Rules.CALENDAR in rules,
                study.visits.tolerance_days,
            )
        else:
            raw, hidden = boxes.posteriors[name, ""], boxes.hidden[name, ""]
            sites = [site.number for site in study.sites]
            found[name] = judge_site(name, raw, hidden, sites, Rules.SITES in rules)
    return found


def _site(sheet: str, study: Study, keys: Mapping[str, FieldReading]) -> str | None:
    """The site of the sheet: printed and coded, or handwritten and accepted."""
    if sheet != BLANK:
        return sheet if study.site(sheet) else None
    written = keys.get(study.site_field.name)
    return written.value if written and written.status == "accepted" else None


def _judge_counts(
    specs: Sequence[FieldSpec],
    boxes: _Boxes,
    alone: Mapping[Group, NumberPosterior],
    study: Study,
    earlier: Mapping[str, Sequence[int]],
    rules: Rules,
    crossing: bool,
) -> dict[str, Judgement]:
    counts = {s.name: s for s in specs if not s.kind.is_key}
    spelling = {name: spec.kind.spelling(study, spec) for name, spec in counts.items()}
    raw = {name: boxes.posteriors[name, ""] for name in counts}
    posteriors = dict(raw)
    for name, spec in counts.items():
        if Rules.RANGES in rules:
            posteriors[name] = with_range(posteriors[name], spelling[name])
        posteriors[name] = with_history(posteriors[name], spec, earlier.get(name, ()))
    unseen = {name for name in counts if any(boxes.hidden[name, ""])}
    sums = list(study.sums) if Rules.SUMS in rules else []
    complete = [rule for rule in sums if usable(rule, posteriors, unseen)]
    alone_counts = {name: alone[name, ""] for name in counts}
    after, findings = settled(complete, posteriors, alone_counts)
    judged = {
        name: judge_count(
            spec,
            raw[name],
            after.get(name, posteriors[name]),
            boxes.hidden[name, ""],
            spelling[name] if Rules.RANGES in rules else None,
            alone_counts[name],
            crossing=crossing,
        )
        for name, spec in counts.items()
    }
    for rule in (f.rule for f in findings if not f.disputed):
        for name, doubt in balanced_doubt(rule, posteriors, after).items():
            value = judged[name].value
            most = most_settled(posteriors[name], int(value)) if value else 1.0
            sure = min(judged[name].confidence, 1.0 - doubt, most)
            judged[name] = replace(judged[name], confidence=sure)
    questions: list[tuple[SumRule, Reason | None]] = [
        (f.rule, f.question) for f in findings if f.disputed
    ]
    questions += [(rule, exceeded(rule, posteriors, unseen)) for rule in sums]
    for rule, question in questions:
        if question is not None:
            for name in (rule.total, *rule.parts):
                judged[name] = judged[name].flagged(question)
    return judged
