"""The one place where exceptions become lines on stderr and exit codes."""

from __future__ import annotations

import traceback
from typing import Any

import click

from sheet_reader.errors import SheetReaderError, StudyError

EXIT_UNEXPECTED = 70
"""EX_SOFTWARE of BSD sysexits.h."""
EXIT_STORAGE = 3
EXIT_INTERRUPTED = 130
"""128 + SIGINT, as shells report it."""


def explain_os_error(error: OSError) -> str:
    """One line for a file or folder that the system refuses."""
    what = error.strerror or str(error) or type(error).__name__
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{what.lower()} (check the path, the permissions and the free space)"


class BoundaryGroup(click.Group):
    """A command group under which every failure ends in one clear line and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command; translate what it raises."""
        debug = bool(ctx.params.get("debug"))
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except KeyboardInterrupt:
            _say(["Stopped. What was read or answered before is saved."], debug=False)
            ctx.exit(EXIT_INTERRUPTED)
        except SheetReaderError as error:
            lines = [str(error)]
            if isinstance(error, StudyError):
                lines = [f"{error}:", *(f"  {mistake}" for mistake in error.mistakes)]
            _say(lines, debug=debug)
            ctx.exit(error.exit_code)
        except OSError as error:
            _say([explain_os_error(error)], debug=debug)
            ctx.exit(EXIT_STORAGE)
        except Exception as error:
            kind = type(error).__name__
            lines = str(error).splitlines()
            detail = f"{kind}: {lines[0]}" if lines else kind
            report = (
                f"Unexpected error ({detail}). Please report it, with the output of the same "
                "command started as `sheet-reader --debug …`."
            )
            _say([report], debug=debug)
            ctx.exit(EXIT_UNEXPECTED)


def _say(lines: list[str], *, debug: bool) -> None:
    if debug:
        click.echo(traceback.format_exc(), err=True, nl=False)
    for number, line in enumerate(lines):
        click.echo(f"sheet-reader: {line}" if number == 0 else line, err=True)
