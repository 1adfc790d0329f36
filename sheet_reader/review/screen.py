"""What the person sees: a question with its picture, and the line of keys."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from sheet_reader.intake.names import one_line
from sheet_reader.review.blind import without_values
from sheet_reader.review.model import Question, Shown
from sheet_reader.review.pictures import PictureMode, drawing, picture_of, strip

NOTHING = "n"
UNREADABLE = "x"
BACK = "b"
WHOLE_PHOTO = "w"
STOP = "s"
HELP = "?"

MORE_HELP = """\
  Enter   take the value offered in the line of keys
  digits  what the sheet says, e.g. 14; a date as 20 05 26 or 2026-05-20
  n       nothing is written there: "not recorded", which is not the same as 0
  x       something is written, but nobody can read it
  b       back to the question before, to answer it again
  w       show the whole photo, with the boxes drawn, in your picture viewer
  s       stop; every answer so far is saved, the rest waits"""


def head(
    question: Question, position: int, total: int, site: str, visit_date: str
) -> RenderableType:
    """Position, field and place, in three lines; ``site`` and ``visit_date`` as known by now."""
    reading = question.reading
    place = [
        f"site {site or 'not settled'}",
        f"visit {visit_date or 'not settled'}",
        f"sheet {reading.sheet}, page {reading.page}",
        f"photo {one_line(reading.photo, 50)}"
        + (f", page {reading.frame + 1}" * (reading.frame > 0)),
    ]
    return Group(
        Rule(f"{position} of {total}", align="left", style="cyan"),
        Text.assemble((question.spec.label, "bold"), f"   {question.spec.name}"),
        Text(" · ".join(place), style="dim"),
    )


def boxes(shown: Shown, console: Console, mode: PictureMode) -> RenderableType:
    """The field's boxes, or a line that says there is no picture."""
    around = picture_of(shown.context_png) if mode == "graphics" else None
    gray = strip(shown.boxes) if around is None else around
    picture = drawing(gray, mode, console.width - 2)
    if picture is None:
        return Text("(no picture)" if len(shown.boxes) == 0 else "(pictures are off)", style="dim")
    return picture


def sum_panel(
    fields: Sequence[Shown], asked: str, console: Console, mode: PictureMode
) -> RenderableType:
    """All fields of a sum, the total first: label, present value, boxes; two columns.

    An arrow marks the field that is ``asked``.
    """
    half = console.width // 2 - 2
    columns = console.width - 2 if mode == "graphics" else half
    cells = [_sum_cell(shown, asked, mode, columns, first=shown is fields[0]) for shown in fields]
    if mode == "graphics":
        return Group(*cells)
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=half)
    grid.add_column(width=half)
    for start in range(0, len(cells), 2):
        grid.add_row(*cells[start : start + 2])
    return grid


def _sum_cell(
    shown: Shown, asked: str, mode: PictureMode, columns: int, *, first: bool
) -> RenderableType:
    this = shown.spec.name == asked
    label = Text(style="cyan" if this else "")
    label.append("→ " if this else "  ")
    label.append("total: " if first else "part: ")
    label.append(shown.spec.label.split(": ", 1)[-1])
    value = shown.value if shown.value is not None else shown.status
    lines = Group(label, Text(f"  = {value}", style="bold"))
    picture = drawing(strip(shown.boxes), mode, columns, rows=8)
    return Group(lines, picture) if picture is not None else lines


def what_was_read(question: Question, *, blind: bool) -> RenderableType:
    """What the reader made of it and why it asks; without any value where keyed blind."""
    reading = question.reading
    why = one_line(reading.reason, 200)
    if blind:
        lines = [Text("Type what you see; what the reader made of it comes after.")]
        return Group(*lines, *([Text(f"Why:  {without_values(why)}")] if why else []))
    read = "nothing" if reading.value is None else reading.value
    line = Text.assemble("Read: ", (read, "bold"), f" ({percent(reading.confidence)})")
    if reading.runner_up is not None:
        chance = percent(reading.runner_up_confidence)
        line.append(f", or else {reading.runner_up} ({chance})")
    return Group(line, Text(f"Why:  {why or 'not sure enough'}"))


def percent(probability: float) -> str:
    """A probability as a person says it; never a 100 % that is not certain."""
    shown = f"{100 * probability:.0f}"
    if shown == "100" and probability < 1:
        return "over 99 %"
    if shown == "0" and probability > 0:
        return "under 1 %"
    return f"{shown} %"


def keys(offered: str | None) -> Group:
    """The two lines of keys; ``offered`` is what Enter takes, None where it takes nothing."""
    answers = [("Enter", offered)] if offered is not None else []
    answers += [
        ("digits", "what it says"),
        (NOTHING, "nothing written"),
        (UNREADABLE, "can't be read"),
    ]
    moves = [(BACK, "back"), (WHOLE_PHOTO, "whole photo"), (STOP, "stop"), (HELP, "help")]
    return Group(_key_line(answers), _key_line(moves))


def _key_line(pairs: Sequence[tuple[str, str]]) -> Text:
    line = Text()
    for place, (key, meaning) in enumerate(pairs):
        line.append(" · " if place else "", style="dim")
        line.append(key, style="bold cyan")
        line.append(f" {meaning}")
    return line
