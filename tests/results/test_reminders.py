"""Which sites owe a sheet."""

from datetime import date
from pathlib import Path

import pytest
from made_facts import fact
from made_facts import visit as made

from sheet_reader.results.from_record import VisitFact
from sheet_reader.results.reminders import SiteStanding, missing_pages, standings
from sheet_reader.study.reader import read_study

STUDY = read_study(Path(__file__).parents[2] / "samples" / "bean_tips")
SITE = STUDY.roster[0].number


def visit(site: str, day: str, waiting: int = 0) -> VisitFact:
    fields = [fact(spec.name, status="flagged") for spec in STUDY.fields[:waiting]]
    return made(site, day, fields=tuple(fields))


def standing(visits: list[VisitFact], today: date, site: str = SITE) -> SiteStanding:
    return next(s for s in standings(STUDY, visits, today) if s.site == site)


# The bean study: a visit every 7 days, 2 days of tolerance, from 2026-04-20 to 2026-08-30.
@pytest.mark.parametrize(("day", "overdue"), [(29, False), (30, True)])
def test_a_site_is_overdue_after_interval_and_tolerance(day: int, overdue: bool) -> None:
    found = standing([visit(SITE, "2026-05-20"), visit(SITE, "2026-05-13")], date(2026, 5, day))
    assert found.last_visit == date(2026, 5, 20)
    assert found.overdue is overdue


def test_a_site_that_never_sent_counts_from_the_first_day() -> None:
    found = standing([], date(2026, 5, 1))
    assert found.last_visit is None
    assert found.days_since == 11
    assert found.overdue


def test_nothing_is_due_before_the_season_and_nothing_new_after_it() -> None:
    assert not standing([], date(2026, 3, 1)).overdue
    assert standing([visit(SITE, "2026-08-28")], date(2026, 12, 1)).days_since == 2


def test_waiting_fields_are_counted_for_each_site() -> None:
    visits = [visit(SITE, "2026-05-20", 2), visit(SITE, "", 3), visit("", "2026-05-20", 4)]
    assert standing(visits, date(2026, 5, 21)).waiting == 5
    assert standing(visits, date(2026, 5, 21), STUDY.roster[1].number).waiting == 0


def test_every_site_of_the_roster_stands_in_its_order() -> None:
    found = standings(STUDY, [], date(2026, 5, 1))
    assert [s.site for s in found] == [s.number for s in STUDY.roster]
    assert "@" not in str(found)


def test_a_visit_that_lacks_a_page_is_named() -> None:
    visits = [
        made(SITE, "2026-05-20", pages=(1, 2)),
        made(SITE, "2026-05-27", pages=(2,)),
        made(SITE, "2026-06-03", pages=()),
        made("", "2026-05-27", pages=(1,)),
    ]
    assert [str(missing) for missing in missing_pages(visits, 2)] == [
        f"site {SITE} on 2026-05-27 lacks page 1",
        f"site {SITE} on 2026-06-03 lacks pages 1 and 2",
    ]
    assert missing_pages(visits[:2], 1)[0].pages == (1,)
