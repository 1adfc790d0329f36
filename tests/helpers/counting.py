"""How much work something is, counted and not timed: Python and C calls."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType


def calls(work: Callable[[], object]) -> int:
    """How many functions are called, those written in C among them."""
    count = 0

    def note(_frame: FrameType, event: str, _arg: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count
