"""Everything that a volunteer could settle, found in the facts. Pure functions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from sheet_reader.reasons import Code
from sheet_reader.record.history.row_sums import sum_off
from sheet_reader.record.people.remarks import GOES_ALONG
from sheet_reader.results.contacts import bare
from sheet_reader.results.facts import Facts, FieldFact, VisitFact, counted, efforts
from sheet_reader.results.status.standing import Status
from sheet_reader.results.status.weeks import unplaced
from sheet_reader.study.study import FieldSpec, Study

Kind = Literal[
    "empty", "plot_empty", "unreadable", "sum", "effort", "page", "photo", "missed", "advice",
    "thanks",
]  # fmt: skip
ASKS = frozenset(get_args(Kind)) - GOES_ALONG
"""The kinds that ask something; the others only go along with a letter that does."""
ONLY_SUM_OFF = frozenset({Code.SUM_OFF, Code.ASKED_ANEW})
"""The codes of a field that waits for nothing but a sum."""
OF_PHOTOS: Mapping[Code, str] = {
    Code.BLURRED: "photo_blurred",
    Code.TOO_FEW_MARKERS: "photo_cut_off",
    Code.CODE_OUTSIDE: "photo_cut_off",
    Code.CODE_UNREADABLE: "photo_code",
    Code.NO_SHEET: "photo_no_sheet",
    Code.NOT_FOUND: "photo_no_sheet",
    Code.NOTHING_WRITTEN: "photo_blank",
    Code.OLDER_LAYOUT: "photo_older",
    Code.NO_PICTURE: "photo_file",
}
"""In which words of the letters a volunteer is told why a photo could not be read; "photo_other"
for all else, which is for the coordinator to find out.
"""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to say. ``visit_date`` is the expected day of a missed visit, "" for a photo.
    ``what`` tells items of a kind apart: of fields, plots and totals their name on the sheet, so
    that what was asked stays asked when they are called otherwise. ``told`` are the words put into
    its sentence (for a photo the key of the words that say why).
    ``words`` names the words of its sentence where they are not those of its kind.
    ``reading_id`` or ``photo_id`` say which picture shows the place.
    """

    kind: Kind
    site: str
    visit_date: str
    what: str = ""
    told: tuple[tuple[str, str], ...] = ()
    reading_id: int | None = None
    photo_id: int | None = None
    words: str = ""

    @property
    def name(self) -> str:
        """By which it is known again."""
        return f"{self.kind}:{self.what}"


def open_items(study: Study, facts: Facts, status: Status) -> list[Item]:
    """Every item of every site of the roster, visit by visit; photos by :func:`of_photos`."""
    known = {site.number for site in study.sites}
    found: list[Item] = []
    waits = unplaced(study, facts)
    for visit in facts.visits:
        if visit.site in known and visit.visit_date:
            found += _of_visit(study, visit, facts.pages_of, waits.pages(visit.site))
    expected = ((site.site, e) for site in status.sites for e in site.expected)
    missed = ((site, e.day.isoformat()) for site, e in expected if e.state == "missed")
    return found + [Item("missed", *each) for each in missed]


def _of_visit(
    study: Study, visit: VisitFact, pages_of: int, unplaced_pages: Collection[int]
) -> Iterator[Item]:
    """``unplaced_pages`` may be of this visit, so that they are not asked for."""
    site, day = visit.site, visit.visit_date
    yield Item("thanks", site, day)
    fields = visit.current
    for page in range(1, pages_of + 1):
        if page not in visit.pages and page not in unplaced_pages:
            yield Item("page", site, day, str(page), (("page", str(page)),))
    for page in visit.pages_asked:
        told = (("page", str(page)),)
        yield Item("page", site, day, f"cut off {page}", told, words="page_cut_off")
    silent = _silent_plots(study, fields)
    for plot in study.plots:
        if plot.name in silent:
            shown = fields[f"{plot.name}.{study.counts[0].name}"]
            what = (shown.on_sheet or shown.field).partition(".")[0]
            told = (("plot", plot.label),)
            yield Item("plot_empty", site, day, what, told, shown.reading_id)
    for spec in study.fields:
        fact = fields.get(spec.name)
        if fact is None or spec.kind.is_key or spec.plot in silent:
            continue
        if fact.status != "empty" or not spec.kind.may_be_empty:
            yield from _of_field(spec, fact, site, day)
    yield from _sums(study, fields, site, day)
    yield from _unequal(study, fields, silent, site, day)
    for advice in visit.advice:
        yield Item("advice", site, day, advice, (("advice", advice),))


def _silent_plots(study: Study, fields: dict[str, FieldFact]) -> set[str]:
    """The plots on the pages that came in of which every count is empty."""
    return {
        plot.name
        for plot in study.plots
        if all(
            (fact := fields.get(f"{plot.name}.{count.name}")) is not None and fact.status == "empty"
            for count in study.counts
        )
    }


def _of_field(spec: FieldSpec, fact: FieldFact, site: str, day: str) -> Iterator[Item]:
    if fact.status in ("empty", "unreadable") and not (fact.needs_review or fact.photo_asked):
        kind: Kind = "empty" if fact.status == "empty" else "unreadable"
        never_0 = kind == "empty" and (not spec.plot or (spec.lowest or 0) > 0)
        told, words = (("field", spec.label),), "empty_but_never_0" if never_0 else ""
        yield Item(kind, site, day, fact.on_sheet or spec.name, told, fact.reading_id, words=words)


def _sums(study: Study, fields: dict[str, FieldFact], site: str, day: str) -> Iterator[Item]:
    """The totals that do not fit. What waits for another reason is for her, not the volunteer."""
    labels = {spec.name: spec.label for spec in study.fields}
    for rule in study.sums:
        names = rule.fields
        facts = [fields.get(name) for name in names]
        off = sum_off(names, [_settled(fact) for fact in facts])
        if off is None or off.code is not Code.SUM_OFF:  # of missing parts another item tells
            continue
        numbers = ((name, str(off[name])) for name in ("total", "parts"))
        told = (("field", labels[rule.total]), *numbers)
        total = facts[0]
        reading, what = (None, "") if total is None else (total.reading_id, total.on_sheet)
        yield Item("sum", site, day, what or rule.total, told, reading)


def _settled(fact: FieldFact | None) -> str | None:
    """What a field says, if it counts or is asked about only since the sum does not fit."""
    if fact is None or fact.status not in ("flagged", "doubted"):
        return counted(fact)
    asked = {reason.code for reason in fact.reasons}
    return fact.value if asked and asked <= ONLY_SUM_OFF else None


def _unequal(
    study: Study, fields: dict[str, FieldFact], silent: set[str], site: str, day: str
) -> Iterator[Item]:
    effort = study.effort
    if effort is None or not effort.equal:
        return
    spent = {plot: value for plot, value in efforts(study, fields).items() if plot not in silent}
    facts = [fields.get(f"{plot}.{effort.field}") for plot in spent]
    waits = any(fact is not None and fact.status in ("flagged", "doubted") for fact in facts)
    if waits or len({value for value in spent.values() if value is not None}) < 2:
        return
    labels = {plot.name: plot.label for plot in study.plots}
    told = ", ".join(f"{labels[p]} {v} {effort.unit}" for p, v in spent.items() if v is not None)
    yield Item("effort", site, day, "", (("told", told),))


def of_photos(facts: Facts, site_of: dict[str, str]) -> Iterable[Item]:
    """The photos that could not be read, each for the site whose contact sent it.

    ``site_of`` gives a site for each address, in lower case.
    """
    for photo in facts.photos:
        sites = [site_of[who] for who in map(bare, photo.senders) if who in site_of]
        if photo.status in ("no sheet", "failed") and photo.reasons and sites:
            told = (("reason", OF_PHOTOS.get(photo.reasons[0].code, "photo_other")),)
            yield Item("photo", sites[0], "", photo.photo, told, photo_id=photo.photo_id)
