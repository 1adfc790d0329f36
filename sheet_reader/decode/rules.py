"""Which pieces of knowledge the decoder may use; the benchmark switches them on one by one."""

from __future__ import annotations

from enum import Flag


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


STEPS: tuple[tuple[str, Rules], ...] = (
    ("boxes alone", Rules.BOXES),
    ("+ plausible ranges", Rules.RANGES),
    ("+ site list and check digit", Rules.RANGES | Rules.SITES),
    ("+ calendar and season", Rules.RANGES | Rules.SITES | Rules.CALENDAR),
    ("+ sums", Rules.ALL & ~Rules.HISTORY & ~Rules.WRITER),
    ("+ the writer's own hand", Rules.ALL & ~Rules.HISTORY),
    ("+ the site's own history", Rules.ALL),
)
"""Each piece of knowledge added in turn, for a table of what each one buys."""
