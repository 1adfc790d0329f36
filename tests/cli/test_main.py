"""Every failure ends in one clear line and an exit code."""

import click
import pytest
from click.testing import CliRunner

from sheet_reader.cli.main import BoundaryGroup, explain_os_error
from sheet_reader.errors import (
    Mistake,
    RecordError,
    SheetReaderError,
    StorageError,
    StudyError,
    UnavailableError,
    UsageError,
)


def outcome(error: BaseException, *args: str) -> tuple[int, str]:
    @click.group(cls=BoundaryGroup)
    @click.option("--debug", is_flag=True)
    def group(debug: bool) -> None:
        del debug

    @group.command()
    def fail() -> None:
        raise error

    result = CliRunner().invoke(group, [*args, "fail"])
    assert result.stdout == ""
    return result.exit_code, result.stderr


def all_errors(base: type[SheetReaderError]) -> set[type[SheetReaderError]]:
    found = {base}
    for kind in base.__subclasses__():
        found |= all_errors(kind)
    return found


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        (SheetReaderError, 1), (UsageError, 2), (StorageError, 3), (RecordError, 4),
        (UnavailableError, 75),  # EX_TEMPFAIL, sysexits.h
    ],
)
def test_own_errors_say_where_what_and_what_to_do(kind: type[SheetReaderError], code: int) -> None:
    error = kind("the site list is missing", where="beans/sites.csv", remedy="put it there")
    assert outcome(error) == (
        code,
        "sheet-reader: beans/sites.csv: the site list is missing (put it there)\n",
    )


def test_every_own_error_has_an_exit_code_of_its_own_kind() -> None:
    codes = {kind.exit_code for kind in all_errors(SheetReaderError)}
    assert codes <= {1, 2, 3, 4, 75}


def test_a_study_with_mistakes_lists_each_with_its_place() -> None:
    mistakes = tuple(Mistake(f"counts[{n}].boxes", "must be 1 to 6") for n in range(3))
    code, text = outcome(StudyError("study.toml", mistakes))
    assert code == 2
    assert text.splitlines() == [
        "sheet-reader: study.toml: 3 mistakes:",
        "  counts[0].boxes: must be 1 to 6",
        "  counts[1].boxes: must be 1 to 6",
        "  counts[2].boxes: must be 1 to 6",
    ]


def test_what_the_system_refuses_names_the_file() -> None:
    code, text = outcome(PermissionError(13, "Permission denied", "inbox/a.jpg"))
    assert code == 3
    assert text.startswith("sheet-reader: inbox/a.jpg: permission denied (")
    assert text.count("\n") == 1
    assert explain_os_error(OSError("odd")).startswith("odd")


def test_the_unexpected_asks_for_a_report_on_one_line() -> None:
    code, text = outcome(ZeroDivisionError("division\nby zero"))
    assert code == 70  # EX_SOFTWARE, sysexits.h
    assert text.count("\n") == 1
    assert "ZeroDivisionError: division" in text
    assert "report" in text


def test_debug_shows_the_traceback() -> None:
    code, text = outcome(ZeroDivisionError("x"), "--debug")
    assert code == 70
    assert "Traceback (most recent call last)" in text


def test_ctrl_c_is_a_clean_stop() -> None:
    code, text = outcome(KeyboardInterrupt())
    assert code == 130
    assert text.startswith("sheet-reader: Stopped.")


def test_a_closed_pipe_is_quiet() -> None:
    code, text = outcome(BrokenPipeError(32, "Broken pipe"))
    assert code == 1
    assert text == ""


def test_mistakes_in_the_call_stay_clicks() -> None:
    code, text = outcome(click.UsageError("no such option"))
    assert code == 2
    assert "no such option" in text
