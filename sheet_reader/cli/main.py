"""The command ``sheet-reader``: a thin layer; each command calls the rooms and prints. Here alone
exceptions become lines on stderr and exit codes.

Imports of the rooms stand inside the commands, so that ``--help`` stays quick.
"""

from __future__ import annotations

import gc
import importlib
import traceback
from typing import Any

import click

from sheet_reader import __version__
from sheet_reader.cli.terminal import make_streams_safe
from sheet_reader.errors import SheetReaderError, StudyError
from sheet_reader.threads import one_thread_from_the_start

COMMANDS = {
    "new": "sheet_reader.cli.new:new",
    "sites": "sheet_reader.cli.sites:sites",
    "print": "sheet_reader.cli.print_sheets:print_sheets",
    "read": "sheet_reader.cli.read:read",
    "review": "sheet_reader.cli.review:review",
    "photos": "sheet_reader.cli.photos:photos",
    "correct": "sheet_reader.cli.correct:correct",
    "enter": "sheet_reader.cli.enter:enter",
    "aside": "sheet_reader.cli.photos:aside",
    "back": "sheet_reader.cli.photos:back",
    "export": "sheet_reader.cli.export:export",
    "names": "sheet_reader.cli.names:names",
    "status": "sheet_reader.cli.status:status",
    "letters": "sheet_reader.cli.letters:letters",
    "update": "sheet_reader.cli.update:update",
    "demo": "sheet_reader.cli.demo:demo",
    "audit": "sheet_reader.cli.review:audit",
    "history": "sheet_reader.cli.history:history",
    "join": "sheet_reader.cli.keeping:join",
    "backup": "sheet_reader.cli.keeping:backup",
    "restore": "sheet_reader.cli.keeping:restore",
    "verify": "sheet_reader.cli.keeping:verify",
    "erase": "sheet_reader.cli.keeping:erase",
}
"""Command names in the order of the work, each with its module and attribute."""
EXIT_UNEXPECTED = 70
"""EX_SOFTWARE of BSD sysexits.h."""
EXIT_STORAGE = 3
EXIT_INTERRUPTED = 130
"""128 + SIGINT, as shells report it."""
OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""A season is a million small objects in no circle; looking for circles every 700 of them, Python's
usual number, takes a quarter of the time of a command."""


class BoundaryGroup(click.Group):
    """A command group under which every failure ends in one clear line and an exit code: the one
    place where exceptions become either.
    """

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


def explain_os_error(error: OSError) -> str:
    """One line for a file or folder that the system refuses."""
    what = error.strerror or str(error) or type(error).__name__
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{what.lower()} (check the path, the permissions and the free space)"


def _say(lines: list[str], *, debug: bool) -> None:
    if debug:
        click.echo(traceback.format_exc(), err=True, nl=False)
    for number, line in enumerate(lines):
        click.echo(f"sheet-reader: {line}" if number == 0 else line, err=True)


class LazyGroup(BoundaryGroup):
    """Loads a command's module when it is asked for, and lists them in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All command names."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command with this name, or None."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module, attribute = COMMANDS[cmd_name].split(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is called; fails where an option for one value stands there twice."""
        name, command, rest = super().resolve_command(ctx, args)
        if command is not None:
            within = click.Context(command, info_name=name, parent=ctx)
            given = command.make_parser(within).parse_args(list(rest))[2]
            for option in given:
                single = isinstance(option, click.Option) and not option.is_flag
                if single and not option.multiple and given.count(option) > 1:
                    raise click.UsageError(f"{option.opts[0]} was given more than once", within)
        return name, command, rest


@click.group(
    cls=LazyGroup, name="sheet-reader", epilog="Start with:  sheet-reader demo",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
)  # fmt: skip
@click.option("--debug", is_flag=True, help="Show the full traceback of an error.")
@click.version_option(__version__, prog_name="sheet-reader", message="%(prog)s %(version)s")
def cli(debug: bool) -> None:
    """Print count sheets, read the photographs volunteers send back, ask about doubtful fields.

    STUDY is always the folder that holds a study.toml. Exit codes: 0 done, 1 failed, 2 a mistake
    in the call or the study, 3 a file or folder cannot be used, 4 the record is damaged,
    70 unexpected, 75 a server is out of reach or the record busy, so try again later, 130 stopped
    by Ctrl-C.
    """
    del debug


def main() -> None:
    """Entry point of the installed command."""
    one_thread_from_the_start()
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    make_streams_safe()
    cli(prog_name="sheet-reader")


if __name__ == "__main__":
    main()
