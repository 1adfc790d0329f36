"""What the person sees in a terminal: heads, pictures, and the lines of keys."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from sheet_reader.intake.files import one_line
from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, Reasons, has
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.cards import Stated
from sheet_reader.review.model import Pictures
from sheet_reader.review.pictures import PictureMode, drawing, strip
from sheet_reader.review.weighing import likely_why, percent
from sheet_reader.wording import words

NOTHING = "n"
UNREADABLE = "x"
BACK = "b"
WHOLE_PHOTO = "w"
ROW = "r"
STOP = "s"
HELP = "?"
NOT_LISTED = "l"

MORE_HELP = """\
  Enter   take the value offered in the line of keys
  digits  what the sheet says, e.g. 14; a date as {date}, also without the year
  n       nothing is written there: "not recorded", which is not the same as 0
  x       something is written, but nobody can read it
  r       the whole row with label and tally, and the whole sheet laid straight
  w       the whole photo, with the boxes drawn, in your picture viewer
  b       back to the question before, to answer it again
  s       stop; every answer so far is saved, the rest waits"""
LEAST_ROWS = REVIEW.least_rows
NARROW, NARROW_LINES = REVIEW.narrow, REVIEW.narrow_lines
"""In a terminal of fewer columns so many lines more are needed."""


def head(title: Text, place: FieldState, position: int, total: int) -> RenderableType:
    """Position, title and place, in three lines or, in a narrow terminal, a few more."""
    parts = [
        f"site {place.site or 'not settled'}",
        f"visit {place.visit_date or 'not settled'}",
        f"sheet {place.sheet}, page {place.page}",
        photo_name(place),
    ]
    return Group(
        Rule(f"{position} of {total}", align="left", style="cyan"),
        title,
        Text(" · ".join(parts), style="dim"),
    )


def photo_name(place: FieldState) -> str:
    """The photo, and of a PDF its page, on one line."""
    page = f", page {place.frame + 1}" if place.frame else ""
    return f"photo {one_line(place.photo, 50)}{page}"


def rows_left(console: Console, lines: int) -> int:
    """Terminal rows for a picture beside so many ``lines`` of text, all in sight at once; in a
    narrow terminal some lines wrap.
    """
    wrapped = NARROW_LINES if console.width < NARROW else 0
    return int(max(LEAST_ROWS, console.height - lines - wrapped))


def picture(
    pictures: Pictures, console: Console, mode: PictureMode, rows: int, columns: int | None = None
) -> RenderableType | None:
    """The field's boxes with what lies around them; None where nothing can be drawn."""
    gray = pictures.close if pictures.close is not None else strip(pictures.boxes)
    return drawing(gray, mode, columns or console.width - 2, rows)


def no_picture(mode: PictureMode) -> Text:
    """Said where no picture is drawn."""
    why = "pictures are off" if mode == "off" else "no picture"
    return Text(f"({why}: {WHOLE_PHOTO} shows the whole photo)", style="dim")


def numbered(number: int, stated: Stated, what: str, picture: RenderableType | None) -> Group:
    """One field among several: its number, label and value, and its boxes below."""
    value = stated.value if stated.value is not None else _nothing(stated)
    label = stated.spec.label.split(": ", 1)[-1]
    line = Text.assemble((f"{number} ", "bold cyan"), f"{what}{label} ", (f"= {value}", "bold"))
    return Group(line) if picture is None else Group(line, picture)


def likely(number: int, stated: Stated, picture: RenderableType | None) -> Group:
    """One count among several that are likely read right, and what else it may be."""
    reading = stated.reading
    shown = (f"{number} ", "bold cyan"), f"{stated.spec.label} ", (f"= {stated.value}", "bold")
    lines: list[RenderableType] = [Text.assemble(*shown)]
    lines.append(Text(one_line(f"  {likely_why(reading)}", 80), style="dim"))
    return Group(*lines, *([] if picture is None else [picture]))


def _nothing(stated: Stated) -> str:
    return "nothing written" if stated.status == "empty" else "can't be read"


def in_columns(cells: Sequence[RenderableType], console: Console) -> RenderableType:
    """Cells two by two, filled row by row."""
    grid = Table.grid(padding=(0, 1))
    for _ in range(2):
        grid.add_column(width=console.width // 2 - 1)
    for start in range(0, len(cells), 2):
        grid.add_row(*cells[start : start + 2])
    return grid


def what_was_read(reading: FieldState, *, blind: bool) -> RenderableType:
    """What the reader made of it and why it asks; without any value where keyed blind."""
    why = one_line(words(reading.reasons, blind=blind), 300)
    lines: list[Text] = []
    if blind:
        lines.append(Text("Type what you see; what the reader made of it comes after."))
    elif reading.read_value is not None:
        chance = percent(reading.confidence)
        line = Text.assemble("Read: ", (reading.read_value, "bold"), f" ({chance})")
        if reading.runner_up is not None and reading.runner_up_confidence >= LEAST_CHANCE:
            line.append(f", or else {reading.runner_up} ({percent(reading.runner_up_confidence)})")
        lines.append(line)
    else:
        lines.append(Text("Read: no value."))
    if why or not blind:
        lines.append(Text(f"Why:  {why or 'not sure enough'}"))
    if has(reading.reasons, Code.STRUCK_OUT):
        lines.append(Text(STRUCK_HELP))
    return Group(*lines)


LEAST_CHANCE = REVIEW.least_chance
"""A runner-up less probable than this is not worth a word."""
STRUCK_HELP = (
    f"All of it struck out: {NOTHING} if no other number stands there (then it is not recorded), "
    f"{UNREADABLE} if one does that nobody can read."
)


MOVES = ((BACK, "back"), (ROW, "row and sheet"), (WHOLE_PHOTO, "whole photo"), (STOP, "stop"),
         (HELP, "help"))  # fmt: skip


def keys(answers: Sequence[tuple[str, str]]) -> Group:
    """The two lines of keys: what answers, and what moves."""
    return Group(_key_line(answers), _key_line(MOVES))


def _key_line(pairs: Sequence[tuple[str, str]]) -> Text:
    line = Text()
    for place, (key, meaning) in enumerate(pairs):
        line.append(" · " if place else "", style="dim")
        line.append(key, style="bold cyan")
        line.append(f" {meaning}")
    return line


def reasons_line(reasons: Reasons) -> str:
    """Reasons in words, on one line."""
    return one_line(words(reasons), 300)
