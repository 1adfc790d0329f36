"""Waiting for a record that is out of reach for a while, as the page of the review does."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, TypeVar, cast

from rich.console import Console

from sheet_reader.errors import UnavailableError
from sheet_reader.numbers import REVIEW

There = TypeVar("There")


def patient(there: There, console: Console, wait: Callable[[float], object]) -> There:
    """``there``, of which a call that finds the record out of reach waits and is made again.

    The person is told once, with the reason, and when it goes on. Ctrl-C ends the waiting.
    """
    return cast(There, _Patient(there, console, wait))


class _Patient:
    def __init__(self, there: object, console: Console, wait: Callable[[float], object]) -> None:
        self._there, self._console, self._wait = there, console, wait

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._there, name)
        return functools.partial(self._call, found) if callable(found) else found

    def _call(self, do: Callable[..., Any], *args: Any, **options: Any) -> Any:
        turn = 0
        while True:
            try:
                done = do(*args, **options)
            except UnavailableError as error:
                if not turn:
                    self._console.print(f"{error.where}: {error.what}.", highlight=False)
                    self._console.print(
                        "Waiting until it is there again; every answer kept so far is safe, and "
                        "one just given is kept then. Ctrl-C ends the review without it."
                    )
                self._wait(REVIEW.patience_s[min(turn, len(REVIEW.patience_s) - 1)])
                turn += 1
            else:
                if turn:
                    self._console.print("It is there again.")
                return done
