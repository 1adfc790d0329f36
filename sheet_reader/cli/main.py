"""The command ``sheet-reader``: a thin layer; each command calls the rooms and prints.

Imports of the rooms stand inside the commands, so that ``--help`` stays quick.
"""

from __future__ import annotations

import gc
import importlib

import click

from sheet_reader import __version__
from sheet_reader.cli.boundary import BoundaryGroup
from sheet_reader.cli.terminal import make_streams_safe
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


OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""A season is a million small objects in no circle; looking for circles every 700 of them, Python's
usual number, takes a quarter of the time of a command."""


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
