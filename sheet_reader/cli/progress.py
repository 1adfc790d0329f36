"""A bar that shows how far a long work is, how fast it goes, and how long it will take; a line for
work of which that can't be told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

Step = Callable[[int, int, str], None]
"""Called with how many are done, how many there are, and the name of the one just done."""


_BESIDE = 60
"""Columns that all else takes beside the name."""


@contextmanager
def progress(verb: str, console: Console | None = None) -> Iterator[Step]:
    """A progress bar on stderr (or ``console``); nothing where that is no terminal."""
    from rich import progress as rich

    console = console or _stderr()
    columns = (
        rich.TextColumn("{task.description}", markup=False),
        rich.BarColumn(bar_width=None if console.width > 100 else 12),
        rich.MofNCompleteColumn(),
        rich.TextColumn("{task.fields[rate]}", markup=False),
        rich.TimeRemainingColumn(compact=True),
        rich.TextColumn("{task.fields[name]}", markup=False),
    )
    with rich.Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(verb, total=None, name="", rate="")
        room = max(console.width - _BESIDE, 0)

        def step(done: int, total: int, name: str) -> None:
            bar.update(task, completed=done, total=total, name=name[-room:] if room else "")
            bar.update(task, rate=per_minute(done, bar.tasks[0].elapsed or 0.0))

        yield step


@contextmanager
def working(on: str, console: Console | None = None) -> Iterator[None]:
    """One line on stderr (or ``console``) as long as the work goes on; nothing where that is no
    terminal.
    """
    console = console or _stderr()
    if not console.is_terminal:
        yield
        return
    with console.status(on):
        yield


def _stderr() -> Console:
    from rich.console import Console

    return Console(stderr=True, markup=False, highlight=False, emoji=False)


def per_minute(done: int, elapsed_s: float) -> str:
    """The pace so far, once it can be told.

    >>> per_minute(30, 60.0), per_minute(1, 40.0), per_minute(0, 5.0)
    ('30 a minute', '1.5 a minute', '')
    """
    if not done or elapsed_s <= 0.0:
        return ""
    pace = 60.0 * done / elapsed_s
    return f"{pace:.0f} a minute" if pace >= 10 else f"{pace:.1f} a minute"
