"""Known pages decoded anew where the rules changed since: seconds, and no photo is touched.

A page is decoded from what was kept of it under the study file, site list, history and program of
now. What people decided stands.
"""

from __future__ import annotations

import multiprocessing
import threading
from bisect import bisect_left
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from sqlalchemy import Connection

from sheet_reader.decode.pages import PageReading, unpacked
from sheet_reader.decode.promise import default_threshold
from sheet_reader.numbers import READING
from sheet_reader.reading.opening import promise_of
from sheet_reader.reading.photo import nothing_written
from sheet_reader.reading.rules import DecodingRules, changed_parts, decoder_version, same_share
from sheet_reader.reading.site_history import SiteHistory, history_of, portions
from sheet_reader.reading.worker import end_with_parent
from sheet_reader.record.history import runs
from sheet_reader.record.history.meaning_answers import load_meanings
from sheet_reader.record.history.runs import Change, KeptPage
from sheet_reader.record.history.states import VisitState
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.study import days
from sheet_reader.study.study import Study
from sheet_reader.threads import one_thread, one_thread_from_the_start
from sheet_reader.wording import neutral_name

AT_A_TIME = READING.decoded_at_a_time
FEWEST_FOR_WORKERS = READING.fewest_for_workers

Task = tuple[bytes, float, date]
"""Packed evidence, the threshold to accept from, and the last day the page can be of."""
PROMPT = timedelta(days=READING.prompt_days)
Step = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class KnownPages:
    """What a round found: the pages by instance, and the site that each counts for."""

    pages: dict[int, KeptPage]
    sites: Mapping[int, str | None]

    @classmethod
    def at(cls, pages: Iterable[KeptPage], visits: Iterable[VisitState]) -> KnownPages:
        """By the ``pages`` as they were read, and the ``visits`` as they stand."""
        sites = {page.page_instance_id: visit.site for visit in visits for page in visit.pages}
        return cls({page.page_instance_id: page for page in pages}, sites)

    def changed_since(self, before: KnownPages) -> tuple[set[int], set[str]]:
        """The page instances that are not as they were, and all sites whose history that may
        change: of no other site can a page be read otherwise.
        """
        numbers = self.pages.keys() | before.pages.keys()
        pages = {n for n in numbers if self.pages.get(n) != before.pages.get(n)}
        both = (self, before)
        sites = {known.sites.get(n) for known in both for n in pages}
        sites |= {known.pages[n].site for known in both for n in pages & known.pages.keys()}
        return pages, {site for site in sites if site}


@dataclass(slots=True)
class Redecoded:
    """What was decoded anew: page instances, what changed, and why.
    ``history`` is what the sites' records hold afterwards, where that is known, ``known`` what the
    latest round found.
    """

    pages: set[int] = field(default_factory=set)
    causes: set[str] = field(default_factory=set)
    changes: dict[tuple[int, str], Change] = field(default_factory=dict)
    history: SiteHistory | None = None
    known: KnownPages | None = None

    def add(self, changes: Iterable[Change]) -> None:
        """Note changes; of several of one field the first reading and the last one count."""
        for change in changes:
            key = change.page.page_instance_id, change.after.field
            first = self.changes.pop(key, change)
            told = replace(change, before=first.before)
            if (told.before.value, told.before.status) != (told.after.value, told.after.status):
                self.changes[key] = told


class Clock:
    """The last day that a page can be of, by when it was read: the first day from then on at which
    the machine's clock is known to have been right, since a sheet that was read then is dated
    shortly before; or else ``today``. So what was read while the clock was behind is held against
    the right day later, but a date that was in the future by a right clock stays doubtful.
    """

    def __init__(self, study: Study, pages: Iterable[KeptPage], today: date) -> None:
        self._study, self._today = study, today
        read = ((self._day(page), page.visit_date) for page in pages if page.visit_date)
        right = {day for day, made in read
                 if day - PROMPT <= date.fromisoformat(made) <= days.latest(day)}  # fmt: skip
        self._right = sorted(right)

    def _day(self, page: KeptPage) -> date:
        return days.of_moment(page.read_at, self._study)

    def last_day(self, page: KeptPage) -> date:
        """The last day that ``page`` can be of, but for the tolerance of a day."""
        at = bisect_left(self._right, self._day(page))
        return self._right[at] if at < len(self._right) else self._today


class _Round:
    """A look at what is known: the rules of now, and the pages that are not decoded under them, of
    those whose rules may have changed since the round that found ``before``.
    """

    def __init__(
        self, record: Record, book: LayoutBook, today: date, before: KnownPages | None = None
    ) -> None:
        self.record = record
        with record.reading() as connection:
            pages = runs.kept_pages(connection, record.study.key)
            meanings = load_meanings(connection, record.study)
        self.clock = Clock(record.study, pages, today)
        self.known = KnownPages.at(pages, record.state())
        changed, sites = self.known.changed_since(before) if before else (set(), None)
        history = history_of(record, sites)
        if sites is not None:
            pages = [p for p in pages if p.site in sites or p.page_instance_id in changed]
        self.rules = DecodingRules.of(record.study, history, book, meanings.renamed)
        self.stale = [page for page in pages if page.under != self._name(page)]
        self.history = history if not self.stale and sites is None else None

    def _name(self, page: KeptPage) -> str:
        """The rules under which a page would be decoded now."""
        last_day = self.clock.last_day(page)
        return self.rules.name(page.layout, page.site, page.visit_date, page.doubts, last_day)

    def decode(self, jobs: int, anew: Redecoded, step: Step) -> None:
        """Decode the pages and note in ``anew`` what that gave."""
        results = zip(
            self.stale, _decoded(self.rules, self._tasks(), jobs, len(self.stale)), strict=True
        )
        done = 0
        for some in portions(results, AT_A_TIME):
            with self.record.writing() as connection:
                anew.add(self._keep(connection, some, anew))
            done += len(some)
            step(done, len(self.stale), neutral_name(some[-1][0].photo_id))

    def _tasks(self) -> Iterator[Task]:
        """What to decode, with the threshold to accept from: that of today, or where allowed_error
        is as it was the one that the page was read with, since her audits speak of what is read
        later.
        """
        strictest = default_threshold(self.record.study.allowed_error)
        if self.record.audited():
            strictest = promise_of(self.record).threshold
        for some in portions(self.stale, AT_A_TIME):
            with self.record.reading() as connection:
                kept = runs.evidence_of_runs(connection, [page.source for page in some])
            for page in some:
                sure = page.threshold if same_share(page.under, self._name(page)) else strictest
                yield kept[page.source], sure, self.clock.last_day(page)

    def _keep(
        self,
        connection: Connection,
        some: Iterable[tuple[KeptPage, PageReading | None]],
        anew: Redecoded,
    ) -> list[Change]:
        given, as_before = [], {}
        for page, reading in some:
            if reading is None:
                now = as_before[page.page_instance_id] = self._name(page)
            else:
                now = self.rules.name_for(reading, self.clock.last_day(page))
                given.append((page, reading, now, decoder_version()))
            anew.causes |= changed_parts(page.under, now)
            anew.pages.add(page.page_instance_id)
        runs.note_under(connection, as_before)
        return runs.keep_decoded(connection, given)


def decode_anew(
    record: Record,
    jobs: int,
    on_step: Step = lambda *_: None,
    anew: Redecoded | None = None,
    today: date | None = None,
) -> Redecoded:
    """Decode every page whose rules changed since, until none is left: a page that reads otherwise
    may change the history of the site's later visits. After the first round only sites are looked
    at of which a page has changed since, also where ``anew`` comes from an earlier call.

    ``jobs`` worker processes share the work where there is much of it; the result does not depend
    on them. What was done is added to ``anew``.
    """
    anew = Redecoded() if anew is None else anew
    book, today = whole_book(record.study), today or days.today(record.study)
    for _ in range(READING.most_rounds):
        found = _Round(record, book, today, anew.known)
        anew.known, anew.history = found.known, found.history
        if not found.stale:
            break
        found.decode(jobs, anew, on_step)
    return anew


def waits_for_decoding(record: Record) -> bool:
    """Whether a read would decode known pages anew."""
    return bool(_Round(record, whole_book(record.study), days.today(record.study)).stale)


def _decoded(
    rules: DecodingRules, tasks: Iterator[Task], jobs: int, count: int
) -> Iterator[PageReading | None]:
    if jobs < 2 or count < FEWEST_FOR_WORKERS:
        with one_thread():
            for task in tasks:
                yield _one(rules, task)
        return
    context = multiprocessing.get_context("spawn")
    ahead = READING.given_ahead * jobs  # what is kept meanwhile lets no worker wait
    with ProcessPoolExecutor(jobs, context, _start, (rules,)) as pool:
        given: deque[Future[list[PageReading | None]]] = deque()
        for some in portions(tasks, READING.given_at_once):
            given.append(pool.submit(_some_here, some))
            if len(given) > ahead:
                yield from given.popleft().result()
        while given:
            yield from given.popleft().result()


_rules: DecodingRules | None = None


def _start(rules: DecodingRules) -> None:
    global _rules
    one_thread_from_the_start()
    threading.Thread(target=end_with_parent, daemon=True).start()
    _rules = rules


def _some_here(tasks: Sequence[Task]) -> list[PageReading | None]:
    assert _rules is not None
    return [_one(_rules, task) for task in tasks]


def _one(rules: DecodingRules, task: Task) -> PageReading | None:
    """The page decoded; None where its photo would give no page now, and it stays as it was read:
    nothing is written on it, its site left the list, or the evidence is of an unknown form.
    """
    data, threshold, last_day = task
    evidence = unpacked(data)
    if evidence is None or not rules.knows(evidence.code):
        return None
    page = rules.decode(evidence, threshold, last_day)
    if nothing_written(rules.study_of(evidence.code.layout), evidence, page):
        return None
    return replace(page, evidence=None)
