"""How fast a person answers: keys for each answer, and the time that the rest will take."""

from __future__ import annotations

import statistics
from collections import deque
from dataclasses import dataclass, field

from sheet_reader.numbers import REVIEW

LAST = REVIEW.page_pace_answers
PAUSE = REVIEW.page_pause_s


@dataclass
class Pace:
    """The keys and times of the answers of a sitting; times in s on a clock that never goes back.
    """

    answers: int = 0
    keys: int = 0
    _last: float | None = None
    _gaps: deque[float] = field(default_factory=lambda: deque(maxlen=LAST))

    def answered(self, now: float, keys: int) -> None:
        """An answer was kept; a long pause before it does not count as her pace."""
        self.answers += 1
        self.keys += keys
        if self._last is not None and now - self._last < PAUSE:
            self._gaps.append(now - self._last)
        self._last = now

    def keys_each(self) -> float | None:
        """Keys for each answer so far."""
        return self.keys / self.answers if self.answers else None

    def seconds_left(self, waiting: int) -> float | None:
        """How long ``waiting`` questions will take at her pace; None before it is known."""
        return statistics.median(self._gaps) * waiting if self._gaps else None
