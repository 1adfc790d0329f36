"""The command reference of README.md, made from the commands themselves.

``python -m sheet_reader.lab.command_reference README.md`` brings the section between the markers up
to date; a test fails while it is stale.
"""

from __future__ import annotations

import inspect
import sys
import textwrap
from pathlib import Path

import click

from sheet_reader.cli.main import cli

START, END = "<!-- commands:start -->", "<!-- commands:end -->"


def reference() -> str:
    """Markdown: the group's text, then each command with its usage, text and options."""
    context = click.Context(cli, info_name="sheet-reader")
    parts = [_prose(cli)]
    for name in cli.list_commands(context):
        command = cli.get_command(context, name)
        assert command is not None
        parts.append(_command(command, click.Context(command, info_name=name, parent=context)))
    return "\n\n".join(parts)


def _command(command: click.Command, context: click.Context) -> str:
    usage = " ".join([context.command_path, *command.collect_usage_pieces(context)])
    options = [
        record
        for parameter in command.get_params(context)
        if isinstance(parameter, click.Option)
        and (record := parameter.get_help_record(context))
        and "--help" not in record[0]
    ]
    lines = [f"### {context.info_name}", f"```text\n{usage}\n```", _prose(command)]
    if options:
        lines.append("\n".join(_wrapped(f"- `{names}`: {text}", "  ") for names, text in options))
    return "\n\n".join(lines)


def _prose(command: click.Command) -> str:
    """The help text, one paragraph a line, the example as code."""
    text = inspect.cleandoc(command.help or "")
    paragraphs = [" ".join(paragraph.split()) for paragraph in text.split("\n\n")]
    return "\n\n".join(
        f"```sh\n{paragraph.removeprefix('Example:').strip()}\n```"
        if paragraph.startswith("Example:")
        else _wrapped(paragraph)
        for paragraph in paragraphs
    )


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(
        " ".join(text.split()),
        98,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def updated(readme: str) -> str:
    """``readme`` with the section between the markers replaced; raises ValueError without them."""
    before, start, rest = readme.partition(START)
    _, end, after = rest.partition(END)
    if not (start and end):
        raise ValueError(f"there is no {START} … {END} in the text")
    return f"{before}{START}\n{reference()}\n{END}{after}"


def main() -> None:
    """Update the file named on the command line."""
    path = Path(sys.argv[1])
    path.write_text(updated(path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
