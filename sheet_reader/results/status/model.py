"""How a study stands, as plain data without addresses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

State = Literal["in", "waits", "incomplete", "unclear", "missed", "not due"]
STATES: Mapping[State, str] = {
    "in": "came in, whole and settled",
    "waits": "came in; fields of it wait for your review",
    "incomplete": "came in, but a page, plot or effort is missing, or the effort is unequal",
    "unclear": "none is known, but a sheet or photo that may be of it waits for its place",
    "missed": "none came in, and the expected day and the days of tolerance are over",
    "not due": "none came in yet, and none is late",
}
"""What each state of an expected visit means."""


@dataclass(frozen=True, slots=True)
class Expected:
    """An expected visit of a site. ``visits`` are the days of those that came in for it, ``off``
    how many days the nearest lies after (before: negative) the expected day, None where none came.
    ``why`` says in words what is incomplete.
    """

    day: date
    state: State
    visits: tuple[date, ...] = ()
    off: int | None = None
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteStatus:
    """A site of the list. ``days_since`` counts from its last visit, or from the season's first
    day where none has come, up to today or the season's end. ``too_few``: even with all that is
    not due yet it can't have the least number of visits any more. ``waiting`` are its fields that
    wait; ``unsettled`` its sheets whose date waits.
    """

    site: str
    label: str
    expected: tuple[Expected, ...]
    last_visit: date | None
    days_since: int
    too_few: bool
    waiting: int
    unsettled: int

    @property
    def came(self) -> int:
        """For how many expected visits something came in."""
        return sum(bool(e.visits) for e in self.expected)


@dataclass(frozen=True, slots=True)
class Status:
    """A whole study on the day ``today``. ``waiting`` counts the fields that wait by the code
    of the reason, ``fruitless`` names by reason the photos that gave nothing, ``unread`` counts
    photos not read yet. ``unsettled`` are sheets whose site waits, ``outside`` visits that lie
    outside the season or of sites that are not on the site list.
    """

    title: str
    today: date
    days: tuple[date, ...]
    sites: tuple[SiteStatus, ...]
    waiting: Mapping[str, int]
    fruitless: Mapping[str, tuple[str, ...]]
    unread: int
    unsettled: int
    outside: tuple[tuple[str, str], ...]
    least: int
    promise: str = ""

    def count(self, state: State) -> int:
        """How many expected visits have this state."""
        return sum(e.state == state for site in self.sites for e in site.expected)
