"""One page as seen in one picture: every field judged, using all that is known together.

The most probable assignment of the sheet and the posterior of each field come from one model:
boxes are independent given what is written; numbers follow the study's rules. The rules tie
fields together only through sums (and through the site, which picks the history), so the joint
posterior factorises: site, date and counts are enumerated one by one (``posteriors``,
``site_and_date``, ``counts``) and the fields of a sum are inferred together (``sums``). Before that
the boxes are looked at once more as the work of one hand (``writer``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import Flag
from typing import TypedDict, Unpack

from sheet_reader.decode.counts import History, judge_count, with_history, with_range
from sheet_reader.decode.hand import FormerSheet, Memory, SheetHand, looks_struck, settled_parts
from sheet_reader.decode.ink_doubts import InkDoubts
from sheet_reader.decode.judgement import Judgement
from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading, evidence_of
from sheet_reader.decode.posteriors import (
    CONTRADICTION,
    Floats,
    Group,
    NumberPosterior,
    box_probabilities,
    posteriors_of,
)
from sheet_reader.decode.promise import default_threshold
from sheet_reader.decode.site_and_date import PARTS, also_turned, judge_date, judge_site
from sheet_reader.decode.sums import balanced_doubt, exceeded, most_settled, settled, usable
from sheet_reader.decode.writer import shipped_model
from sheet_reader.digits.classes import BoxReadings
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, because
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.days import mixed_orders, span
from sheet_reader.study.study import FieldSpec, Study
from sheet_reader.vision.findings import SheetView


class Known(TypedDict, total=False):
    """What a page is judged with. ``history`` gives earlier values by site and field, ``memory``
    digits of the site's earlier sheets: they help to read the counts, never the site and the date
    by which they were found. A field is accepted (or taken as surely empty) from ``threshold``
    (0..1) on; None takes the one that the shipped calibration data bear out for
    ``study.allowed_error``.
    """

    history: History | None
    memory: Memory | None
    threshold: float | None


class Rules(Flag):
    """Knowledge beyond the boxes themselves. Combine with ``|``; ``Rules.ALL`` is the default."""

    BOXES = 0
    """Boxes alone: no knowledge of the study beyond the number of boxes."""
    RANGES = 1
    """Lowest and highest plausible value of each field."""
    SITES = 2
    """A handwritten site number must be on the site list (each one ends in its check digit)."""
    CALENDAR = 4
    """The visit date is a day of the calendar, within the season, not after today."""
    SUMS = 8
    """A total equals the sum of its parts, unless the volunteer added wrongly."""
    HISTORY = 16
    """What the same site recorded in the same field before."""
    WRITER = 32
    """A sheet is filled in by one hand: its sure digits help to read the doubtful ones."""
    ALL = 63


def decode_sheet(
    view: SheetView,
    readings: BoxReadings,
    study: Study,
    today: date,
    *,
    rules: Rules = Rules.ALL,
    **known: Unpack[Known],
) -> PageReading:
    """Decode all fields that have boxes on the page.

    ``readings`` has one row per ``view.boxes`` in the same order. ``today`` is the last day a
    visit can have been made. The rest as in :func:`decode_page`.
    """
    return decode_page(evidence_of(view, readings, today), study, rules=rules, **known)


def decode_page(
    view: PageEvidence, study: Study, *, rules: Rules = Rules.ALL, **known: Unpack[Known]
) -> PageReading:
    """Decode what was seen of a page; without its picture, so that a changed study, site list or
    history can be applied to pages that were seen long ago.
    """
    page = read_page(view, study, rules)
    if not mixed_orders(study):
        page = page.in_printed_order()
    return page.judged(**known)


@dataclass(frozen=True, slots=True)
class PosteriorPage:
    """A page's boxes, site and date as decoded before anything of its site is known. ``alone`` are
    the posteriors by each box for itself, ``posteriors`` those in the light of the writer's hand.
    """

    view: PageEvidence
    study: Study
    rules: Rules
    probabilities: Floats
    specs: tuple[FieldSpec, ...]
    posteriors: Mapping[Group, NumberPosterior]
    alone: Mapping[Group, NumberPosterior]
    keys: Mapping[str, Judgement]
    hand: SheetHand | None
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
        return replace(self, posteriors=posteriors_of(self.view, self.hand.adapted(given)))

    def place(self, threshold: float | None = None) -> tuple[str | None, str | None]:
        """Site and visit date that :meth:`judged` will give, None where they are not sure; sooner
        told than all of the page.
        """
        keys, sheet = self._keys(self._sure_from(threshold)), self.view.code.sheet
        accepted = {name: key.value for name, key in keys.items() if key.status == "accepted"}
        site = accepted.get(self.study.site_field.name)
        if sheet != BLANK:  # printed and coded
            site = sheet if self.study.site(sheet) else None
        return site, accepted.get(self.study.date_field.name)

    def _sure_from(self, threshold: float | None) -> float:
        return default_threshold(self.study.allowed_error) if threshold is None else threshold

    def _keys(self, threshold: float) -> dict[str, FieldReading]:
        sure = 1.0 - (1.0 - threshold) * DECODE.key_doubt
        return {name: judged.reading(sure) for name, judged in self.keys.items()}

    def judged(self, **known: Unpack[Known]) -> PageReading:
        """The rest of :func:`decode_page`."""
        history, memory = known.get("history") or {}, known.get("memory") or {}
        threshold, page = self._sure_from(known.get("threshold")), self
        site, visit = self.place(threshold)
        if visit and site and (former := memory.get(site)):
            page = self.remembering(former, visit)
        earlier = history.get(site or "", {}) if Rules.HISTORY in self.rules else {}
        counts = page._counts(earlier)
        found = self._keys(threshold) | {
            name: self.doubts.applied(count).reading(threshold) for name, count in counts.items()
        }
        fields = tuple(found[spec.name] for spec in self.specs)
        advice = self.view.advice or self.doubts.advice
        return PageReading(self.view.code, fields, site, visit, advice, threshold, self.view)

    def _counts(self, earlier: Mapping[str, Sequence[int]]) -> dict[str, Judgement]:
        study, specs = self.study, {s.name: s for s in self.specs if not s.kind.is_key}
        raw = {name: self.posteriors[name, ""] for name in specs}
        alone = {name: self.alone[name, ""] for name in specs}
        in_range = Rules.RANGES in self.rules
        spelling = {n: s.kind.spelling(study, s) if in_range else None for n, s in specs.items()}
        before: dict[str, NumberPosterior] = {}
        for name, spec in specs.items():
            known = spelling[name]
            ranged = raw[name] if known is None else with_range(raw[name], known)
            before[name] = with_history(ranged, spec, earlier.get(name, ()))
        unseen = {name for name in specs if any(raw[name].hidden)}
        sums = study.sums if Rules.SUMS in self.rules else ()
        usable_sums = [rule for rule in sums if usable(rule, before, unseen)]
        after, findings = settled(usable_sums, before, alone)
        crossing = not looks_struck(self.view.boxes, self.probabilities)
        judged = {
            name: judge_count(
                spec, raw[name], after.get(name, before[name]), spelling[name], alone[name],
                crossing=crossing,
            )
            for name, spec in specs.items()
        }  # fmt: skip
        for rule in (f.rule for f in findings if not f.disputed):
            for name, doubt in balanced_doubt(rule, before, after).items():
                value = judged[name].value
                most = most_settled(before[name], int(value)) if value else 1.0
                sure = min(judged[name].confidence, 1.0 - doubt, most)
                judged[name] = replace(judged[name], confidence=sure)
        questions = [(f.rule, f.question) for f in findings if f.disputed]
        questions += [(rule, why) for rule in sums if (why := exceeded(rule, before, unseen))]
        for rule, question in questions:
            for name in rule.fields:
                judged[name] = judged[name].flagged(question)
        return judged


def read_page(view: PageEvidence, study: Study, rules: Rules = Rules.ALL) -> PosteriorPage:
    """The part of :func:`decode_page` that no threshold, history or memory changes. A date that
    may be meant the other way round is flagged: :meth:`PosteriorPage.in_printed_order`.
    """
    today, probabilities = view.last_day, box_probabilities(view)
    alone = posteriors = posteriors_of(view, probabilities)
    names = {name for name, _ in alone}
    specs = tuple(spec for spec in study.fields if spec.name in names)
    keys = _judged_keys(specs, alone, study, today, rules)
    hand: SheetHand | None = None
    if Rules.WRITER in rules:
        parts = settled_parts(specs, keys)
        hand = SheetHand.of(view.boxes, probabilities, parts, shipped_model())
        posteriors = posteriors_of(view, hand.adapted())
        again = _judged_keys(specs, posteriors, study, today, rules)
        keys = {name: _not_against(keys[name], key) for name, key in again.items()}
    doubts = InkDoubts(view.boxes, probabilities)
    keys = {name: doubts.applied(key) for name, key in keys.items()}
    dated = study.date_field.name
    if dated in keys:
        keys[dated] = also_turned(keys[dated], span(study), today)
    return PosteriorPage(
        view, study, rules, probabilities, specs, posteriors, alone, keys, hand, doubts
    )


def _judged_keys(
    specs: Sequence[FieldSpec],
    posteriors: Mapping[Group, NumberPosterior],
    study: Study,
    today: date,
    rules: Rules,
) -> dict[str, Judgement]:
    """Site and date, as far as they are written by hand on the page."""
    found: dict[str, Judgement] = {}
    for name in (spec.name for spec in specs if spec.kind.is_key):
        if name == study.date_field.name:
            parts = {part: posteriors[name, part] for part in PARTS}
            found[name] = judge_date(
                name, parts, study.season, today, Rules.CALENDAR in rules,
                study.visits.tolerance_days,
            )  # fmt: skip
        else:
            sites = [site.number for site in study.sites]
            found[name] = judge_site(name, posteriors[name, ""], sites, Rules.SITES in rules)
    return found


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
