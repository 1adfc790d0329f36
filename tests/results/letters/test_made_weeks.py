"""Made-up seasons whose truth is known: status, letters and tables tell the same, and the truth.

Every sheet that was sent lies in the record somewhere: at its place, days early or late also at the
season's ends; or its date or site waits; or its photo is not read yet, or can't be read at all.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

import made_season
import pytest
from made_facts import fact, visit

from sheet_reader.reasons import Code, because
from sheet_reader.results.facts import Facts, PhotoFact, VisitFact, in_order
from sheet_reader.results.frames import counts_frame
from sheet_reader.results.letters.drafts import to_say
from sheet_reader.results.letters.open_items import Item
from sheet_reader.results.status.standing import Status, status_of
from sheet_reader.study.study import Study

WEEKS = made_season.WEEKS
KINDS = (
    "placed", "placed", "placed", "missed", "missed", "undated", "siteless", "unread", "blurred",
)  # fmt: skip
AFTER = made_season.FIRST + timedelta(days=7 * WEEKS + 3)


@dataclass(frozen=True)
class Week:
    """What a site did in a week: counted on ``day`` and sent its photo on ``sent``, or nothing."""

    site: str
    number: int
    kind: str
    day: date
    sent: date
    by_mail: bool

    @property
    def photo(self) -> str:
        return f"photo-{self.site}{self.number}"


def drawn(study: Study, seed: int) -> list[Week]:
    chance = random.Random(seed)
    rare = chance.random() < 0.5  # or so much waits that nothing can be said of anybody
    found = []
    for site in study.sites:
        for week in range(WEEKS):
            kind = chance.choice(KINDS)
            if rare and kind in ("undated", "siteless", "unread") and chance.random() < 0.9:
                kind = "missed"
            day = made_season.FIRST + timedelta(days=7 * week + chance.randint(-3, 3))
            sent = min(day + timedelta(days=chance.choice([0, 1, 9])), AFTER)
            found.append(Week(site.number, week, kind, day, sent, chance.random() < 0.7))
    return found


def as_facts(study: Study, weeks: list[Week]) -> Facts:
    contact = {site.number: site.contact for site in study.sites}
    visits: list[VisitFact] = []
    photos: list[PhotoFact] = []
    for week in weeks:
        if week.kind == "missed":
            continue
        status = {"unread": "waiting", "blurred": "no sheet"}.get(week.kind, "read")
        why = (because(Code.BLURRED),) if week.kind == "blurred" else ()
        who = (contact[week.site].replace(", ", " <") + ">",)
        received = f"{week.sent}T12:00:00.000+00:00"
        photos.append(PhotoFact(1, week.photo, status, why, who if week.by_mail else (), received))
        if week.kind in ("placed", "undated", "siteless"):
            site = "" if week.kind == "siteless" else week.site
            day = "" if week.kind == "undated" else week.day.isoformat()
            said = {f"{p.name}.{c.name}": fact(f"{p.name}.{c.name}", "3") for p in study.plots
                    for c in study.counts}  # fmt: skip
            visits.append(visit(site, day, said, photos=(week.photo,)))
    return Facts(tuple(visits), tuple(photos), 1)


def told(study: Study, facts: Facts) -> tuple[Status, list[Item]]:
    status = status_of(study, facts, AFTER)
    said = to_say(study, facts, status, set())
    return status, [item for items in said.values() for item in items]


@pytest.fixture(scope="module")
def study() -> Study:
    return made_season.a_study()


@pytest.mark.parametrize("seed", range(40))
def test_no_sentence_is_untrue_and_none_is_missing(study: Study, seed: int) -> None:
    weeks = drawn(study, seed)
    facts = as_facts(study, weeks)
    status, items = told(study, facts)
    at = {(w.site, made_season.FIRST + timedelta(days=7 * w.number)): w for w in weeks}
    missed = {(i.site, date.fromisoformat(i.visit_date)) for i in items if i.kind == "missed"}
    sent = {place for place, w in at.items() if w.kind != "missed"}
    untrue = {at[p] for p in missed & sent}
    untrue -= {w for w in untrue if w.kind == "blurred" and not w.by_mail}  # nobody knows whose
    assert untrue == set(), "“No sheet has come” to who sent one"
    anywhere = [w for w in weeks if w.kind in ("siteless", "unread") and not w.by_mail]
    if not anywhere:
        own = Counter(w.site for w in weeks if w.kind not in ("placed", "missed"))
        silent = {p for p, w in at.items() if w.kind == "missed" and not own[w.site]}
        assert silent <= missed, "what nobody sent is asked for"
    thanked = {(i.site, i.visit_date) for i in items if i.kind == "thanks"}
    placed = {(w.site, w.day.isoformat()) for w in weeks if w.kind == "placed"}
    assert thanked == {place for place in placed if place[0] in {i.site for i in items}}
    states = {(s.site, e.day): e for s in status.sites for e in s.expected}
    assert {p for p, e in states.items() if e.state == "missed"} == missed
    assert {p for p, e in states.items() if e.visits} == {
        p for p, w in at.items() if w.kind == "placed"
    }
    assert status.outside == ()
    frame = counts_frame(study, in_order(facts.visits))
    assert {(r.site, f"{r.visit_date:%Y-%m-%d}") for r in frame.itertuples()} == placed


def test_thanks_and_no_sheet_has_come_are_not_said_of_one_visit(study: Study) -> None:
    site = study.sites[0].number
    for off in (-3, -2, -1):
        day = made_season.FIRST + timedelta(days=off)
        status, items = told(study, Facts((visit(site, day.isoformat(), {"pinched.plants": 3}),)))
        assert status.sites[0].expected[0].visits == (day,)
        assert (site, "2026-04-20") not in {
            (i.site, i.visit_date) for i in items if i.kind == "missed"
        }
    before = made_season.FIRST - timedelta(days=4)
    status, _ = told(study, Facts((visit(site, before.isoformat(), {"pinched.plants": 3}),)))
    assert status.outside == ((site, before.isoformat()),)


def test_two_photos_that_wait_for_their_date_are_no_missed_visits(study: Study) -> None:
    site = study.sites[0].number
    status, items = told(study, Facts(tuple(visit(site, "") for _ in range(2))))
    assert {e.state for e in status.sites[0].expected} == {"unclear"}
    assert site not in {i.site for i in items}
    assert study.sites[1].number in {i.site for i in items}


def test_a_page_that_waits_for_its_date_is_not_asked_for(study: Study) -> None:
    site = study.sites[0].number
    first = visit(site, "2026-04-20", {"pinched.plants": "empty"})
    second = visit(site, "", pages=(2,), photos=("photo-0002",))
    status = status_of(study, Facts((first, second), (), 2), AFTER)
    said = to_say(study, Facts((first, second), (), 2), status, set())
    assert "page" not in {i.kind for items in said.values() for i in items}
