"""When visits are expected."""

from __future__ import annotations

from datetime import date, timedelta

from sheet_reader.study.model import Study


def expected_days(study: Study) -> tuple[date, ...]:
    """The day of every visit of the season, from its first day on in steps of the interval."""
    step, season = study.visits.interval_days, study.season
    visits = (season.last - season.first).days // step + 1
    return tuple(season.first + timedelta(days=number * step) for number in range(visits))
