"""CPU time of reading, stage by stage: functions of the rooms are timed where they are called.

A stage is charged for what runs in it and in no stage within it, so that the stages add up to the
whole. Nothing of the rooms knows of this; the names are put back at the end.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any

from sheet_reader.reading import picture
from sheet_reader.vision import find, flat_page, locate, view

REST = "the rest"
"""What runs in no stage."""
DECODING = "decoding the file"
MARKERS = "markers"
SMALLER = "smaller pictures"
CODE = "machine code and print"
SURFACE = "the paper's surface"
FLATTENING = "laying the page flat"
MATCHING = "matching the print"
CROPS = "cutting out boxes"
INK = "ink and view of boxes"
NETWORK = "network"
VALUES = "boxes to values"
STAGES = (DECODING, MARKERS, SMALLER, CODE, SURFACE, FLATTENING, MATCHING, CROPS, INK, NETWORK,
          VALUES, REST)  # fmt: skip

Place = tuple[object, str, str]
"""A module or class, a name in it, and the stage that its calls belong to."""
PLACES: tuple[Place, ...] = (
    (find, "fast_markers", MARKERS),
    (find, "group_markers", MARKERS),
    (find, "seek_missing", MARKERS),
    (find, "refine_corners", MARKERS),
    (find, "exhaustive_markers", MARKERS),
    (flat_page.Pyramid, "level", SMALLER),
    (find, "read_machine_code", CODE),
    (find, "read_modules", CODE),
    (find, "read_printed", CODE),
    (find, "read_anywhere", CODE),
    (find, "other_sheet", CODE),
    (find, "fit_surface", SURFACE),
    (locate, "fit_surface", SURFACE),
    (locate, "flatten", FLATTENING),
    (flat_page.FlatPage, "ink", FLATTENING),
    (locate, "match_tiles", MATCHING),
    (locate, "corner_gains", MATCHING),
    (view, "cut_crops", CROPS),
    (find, "build_view", INK),
    (picture, "read_sheet", NETWORK),
    (picture, "decode_sheet", VALUES),
)


class StageClock:
    """``seconds`` by stage since it was made, by ``clock``: CPU time unless told otherwise."""

    def __init__(self, clock: Callable[[], float] = time.process_time) -> None:
        self.seconds: dict[str, float] = {}
        self._clock, self._now_in, self._since = clock, [REST], clock()

    def _charge(self) -> None:
        now = self._clock()
        stage = self._now_in[-1]
        self.seconds[stage] = self.seconds.get(stage, 0.0) + now - self._since
        self._since = now

    @contextmanager
    def within(self, stage: str) -> Iterator[None]:
        """Charges ``stage`` while this lasts."""
        self._charge()
        self._now_in.append(stage)
        try:
            yield
        finally:
            self._charge()
            self._now_in.pop()

    def stop(self) -> dict[str, float]:
        """Charges what ran up to now; the seconds of every stage that ran."""
        self._charge()
        return dict(self.seconds)


@contextmanager
def replaced(places: tuple[tuple[object, str, Callable[..., Any]], ...]) -> Iterator[None]:
    """The names of ``places`` (module or class, name, what stands for it) while this lasts."""
    before = [(owner, name, getattr(owner, name)) for owner, name, _ in places]
    try:
        for owner, name, other in places:
            setattr(owner, name, other)
        yield
    finally:
        for owner, name, function in before:
            setattr(owner, name, function)


@contextmanager
def timed(clock: StageClock, places: tuple[Place, ...] = PLACES) -> Iterator[None]:
    """Calls of ``places`` are charged to their stages while this lasts."""

    def charging(function: Callable[..., Any], stage: str) -> Callable[..., Any]:
        @wraps(function)
        def call(*args: Any, **options: Any) -> Any:
            with clock.within(stage):
                return function(*args, **options)

        return call

    with replaced(tuple((o, n, charging(getattr(o, n), stage)) for o, n, stage in places)):
        yield
