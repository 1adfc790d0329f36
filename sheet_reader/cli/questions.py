"""Questions of a command that options may answer instead."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import click

from sheet_reader.cli.terminal import typed_line
from sheet_reader.errors import UsageError

T = TypeVar("T")
Parse = Callable[[str], T]
"""Makes a value of what was typed; raises UsageError with what is wrong."""


class Questions:
    """Asks what options left open, each question until it has a sound answer. Where it does not
    ``ask``, what is usual counts as the answer.
    """

    def __init__(self, ask: bool) -> None:
        self.ask = ask

    def one(self, said: str | None, question: str, parse: Parse[T], usual: str = "") -> T:
        """One value: from the option, the answer, or (Enter) the usual one."""
        if said is not None or not self.ask:
            return parse(usual if said is None else said)
        shown = f"{question} [{usual}]: " if usual else f"{question}: "
        while True:
            answer = _typed(shown)
            try:
                return parse(answer or usual)
            except UsageError as error:
                click.echo(f"  {error}")

    def several(
        self, said: Sequence[str], question: str, parse: Parse[T],
        check: Callable[[Sequence[T]], None], told: Callable[[T], str], usual: str = "",
    ) -> tuple[T, ...]:  # fmt: skip
        """Values one a line up to an empty line, each ``told`` as it was understood; the ``usual``
        one alone where there is none, or the question goes on where nothing is usual. ``check``
        refuses what does not go together.
        """
        found = [parse(text) for text in said]
        check(found)
        if self.ask and not found:
            click.echo(question)
            self._more(found, parse, check, told, least=0 if usual else 1)
        return tuple(found) if found else (parse(usual),)

    def _more(
        self, found: list[T], parse: Parse[T], check: Callable[[Sequence[T]], None],
        told: Callable[[T], str], least: int,
    ) -> None:  # fmt: skip
        while (answer := _typed(f"  {len(found) + 1}: ")) or len(found) < least:
            try:
                value = parse(answer)
                check([*found, value])
            except UsageError as error:
                click.echo(f"  {error}")
            else:
                found.append(value)
                click.echo(f"     {told(value)}")


def _typed(question: str) -> str:
    click.echo(question, nl=False)
    try:
        return typed_line().strip()
    except EOFError:
        click.echo()
        raise UsageError(
            "the answers ended before the last question; nothing was written",
            remedy="start again, or give the answers as options: see --help",
        ) from None
