"""Days as a study writes them: the day of today, the days of its season, and dates that are typed.

The one place that asks the clock for a day, that knows in which order a study writes day, month and
year, and that finds the year which a person left out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from sheet_reader.wording import said

if TYPE_CHECKING:
    from sheet_reader.study.study import Study

CLOCK_TOLERANCE = timedelta(days=1)
"""A visit may be dated so long after today: where it was made it can be tomorrow already."""
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Season:
    """First and last day on which a visit may lie, both included."""

    first: date
    last: date


def today(study: Study | None = None) -> date:
    """The current day in the study's time zone, or the machine's where it names none."""
    zone = study.time_zone if study is not None else ""
    return datetime.now(ZoneInfo(zone) if zone else None).date()


def now() -> str:
    """The time now in UTC, ISO 8601 with milliseconds: a moment of the record."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def of_moment(moment: str, study: Study) -> date:
    """The day of a moment of the record (UTC, ISO 8601) where the study is."""
    zone = ZoneInfo(study.time_zone) if study.time_zone else None
    return datetime.fromisoformat(moment).astimezone(zone).date()


def latest(day: date) -> date:
    """The last day that a visit can have been made on which came in on ``day``."""
    return min(day, date.max - CLOCK_TOLERANCE) + CLOCK_TOLERANCE


def span(study: Study) -> Season:
    """The days on which a visit of the season can lie: a first or last one may be as many days
    early or late as any other.
    """
    tolerance = timedelta(days=study.visits.tolerance_days)
    return Season(study.season.first - tolerance, study.season.last + tolerance)


def expected_days(study: Study) -> tuple[date, ...]:
    """The day of every visit of the season, from its first day on in steps of the interval."""
    step, season = study.visits.interval_days, study.season
    visits = (season.last - season.first).days // step + 1
    return tuple(season.first + timedelta(days=number * step) for number in range(visits))


def mixed_orders(study: Study) -> bool:
    """Whether some of those who count may write day and month the other way round than the sheet
    asks: people who write English are used to both, and so are those whose paper is Letter.
    """
    either = study.words.are_english or study.paper == "Letter"
    return either and study.date_order[0] != "year"


def turned(day: date) -> date | None:
    """The date with day and month the other way round; None where there is none, or it is the same.

    >>> turned(date(2026, 5, 6)), turned(date(2026, 5, 20))
    (datetime.date(2026, 6, 5), None)
    """
    return day.replace(month=day.day, day=day.month) if day.month != day.day <= 12 else None


def parse_date(text: str, study: Study, near: date | None = None) -> date | None:
    """A date typed in the study's order, with or without spaces, dots, slashes, or ISO 8601.

    Two-digit years lie in 2000–2099. Day and month alone get the year in which they lie in the
    season, or nearest to it; with a date ``near`` the year nearest to that, and a day alone its
    month. None where it is no date of the calendar.
    """
    if match := _ISO.fullmatch(text):
        return _date(*map(int, match.groups()))
    if near is not None and re.fullmatch(r"\d{1,2}", text, re.ASCII):
        return _date(near.year, near.month, int(text))
    return _parsed(text, study, study.date_order, near)


def order_meant(text: str, study: Study) -> str:
    """The question that a typed text deserves which is a date of the season with day and month the
    other way round only; "" for any other text.
    """
    other = {"day": "month", "month": "day", "year": "year"}
    order = tuple(other[part] for part in study.date_order)
    day, season = _parsed(text, study, order, None), span(study)
    if day is None or not season.first <= day <= season.last:
        return ""
    first = next(part for part in order if part != "year")
    return f"it looks like {first} first: {said(day)}?"


def example(study: Study) -> str:
    """A day of the season as it is written on the study's sheet, such as "20 05 26"."""
    day = study.season.first + (study.season.last - study.season.first) / 2
    return " ".join(f"{getattr(day, part) % 100:02d}" for part in study.date_order)


def _parsed(
    text: str, study: Study, order: tuple[str, ...], near: date | None
) -> date | None:
    short = tuple(part for part in order if part != "year")
    forms = (_form(parts, sign) for parts in (order, short) for sign in ("[ ./-]+", ""))
    told = next((m.groupdict() for form in forms if (m := form.fullmatch(text))), None)
    if told is None:
        return None
    month, day, year = int(told["month"]), int(told["day"]), told.get("year")
    if year is None:
        return _with_year(month, day, Season(near, near) if near else span(study))
    return _date(int(year) + (2000 if len(year) == 2 else 0), month, day)


@cache
def _form(parts: tuple[str, ...], sign: str) -> re.Pattern[str]:
    """Parts of a date with this sign between them; without one all have their zeros."""
    two = r"\d{1,2}" if sign else r"\d{2}"
    digits = {"day": two, "month": two, "year": r"\d{4}|\d{2}"}
    return re.compile(sign.join(f"(?P<{p}>{digits[p]})" for p in parts) + "[ .]*", re.ASCII)


def _with_year(month: int, day: int, season: Season) -> date | None:
    """The day in the year in which it lies in the season, or nearest to it; None for one that lies
    in a long season more than once.
    """
    years = range(season.first.year - 1, season.last.year + 2)
    found = [d for d in (_date(year, month, day) for year in years) if d is not None]
    away = [max(season.first - d, d - season.last, timedelta()) for d in found]
    nearest = [d for d, days in zip(found, away, strict=True) if days == min(away)]
    return nearest[0] if len(nearest) == 1 else None


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
