"""When an answer is typed blind, and how boxes are shown, with unit and origin."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_HOUSE = "choice: a choice of this house, no source"
_ROOM = "choice: a question and its picture fit 80 columns by 24 lines"
_LOOKS = "choice: looks well"


@dataclass(frozen=True, slots=True)
class ReviewParameters:
    """All of the room, in the order of its modules."""

    coin_flip: float = parameter(
        0.6, "probability", _HOUSE, "below which the reader's guess helps nobody"
    )
    likely_right: float = parameter(
        0.8, "probability", _HOUSE, "from which several counts of a sheet are looked at together"
    )
    most_alike: int = parameter(4, "fields", _ROOM, "looked at together")
    few_differ: int = parameter(
        1,
        "fields",
        _HOUSE,
        "in which two photos of one sheet may differ by misread digits; more may be another sheet",
    )
    enough_agree: int = parameter(
        2,
        "fields",
        _HOUSE,
        "surely read alike in two photos, from which on they show one sheet unless they differ",
    )
    most_misread: int = parameter(
        3, "fields", _HOUSE, "that two photos of one sheet surely say otherwise by misread digits"
    )
    most_misread_share: float = parameter(
        0.25, "share", _HOUSE, "of the fields sure in both photos, as most_misread"
    )
    overlay_px: int = parameter(
        2400, "px", "choice: fills a large screen", "longer side of a photo with its boxes drawn"
    )
    overlay_quality: int = parameter(85, "JPEG quality", _LOOKS, "of a photo with its boxes drawn")
    plate: tuple[int, int, int] = parameter(
        (255, 255, 255), "blue, green, red", _LOOKS, "behind a value that is drawn"
    )
    crop_aspect: float = parameter(
        9 / 11,
        "ratio",
        "standard: a box of 8 by 9.5 mm with its margin",
        "width by height on paper; crops are stretched to squares",
    )
    tallest_rows: int = parameter(
        12,
        "terminal rows",
        "choice: more would push the question off a small screen",
        "of a picture",
    )
    gap_px: int = parameter(3, "px", _LOOKS, "between crops")
    few_boxes: int = parameter(
        3, "boxes", _LOOKS, "in a row of more, crops lose their margins, for larger digits"
    )
    trim_px: int = parameter(4, "px", _LOOKS, "of margin that they lose")
    ink_level: int = parameter(
        150, "grey value", _LOOKS, "below which a pixel is drawn as ink where there are no colours"
    )
    field_lines: int = parameter(12, "lines", _ROOM, "of a question about a field, no picture")
    sum_lines: int = parameter(11, "lines", _ROOM, "of one about a sum or photos, fields apart")
    alike_lines: int = parameter(9, "lines", _ROOM, "of one about several counts, fields apart")
    cell_lines: int = parameter(3, "lines", _ROOM, "of text above the picture of each")
    legible_rows: int = parameter(
        8, "terminal rows", _LOOKS, "of two pixels each, from which the digits of a field show"
    )
    prompt_lines: int = parameter(4, "lines", _ROOM, "of keys and prompt")
    least_rows: int = parameter(3, "terminal rows", _LOOKS, "of a picture, however little room")
    sheet_rows: int = parameter(
        20, "terminal rows", _LOOKS, "in fewer, a whole sheet in blocks tells nothing"
    )
    narrow: int = parameter(80, "columns", _ROOM, "in fewer, lines of a question wrap")
    narrow_lines: int = parameter(3, "lines", _ROOM, "more for a question that wraps")
    most_fields: int = parameter(
        4, "fields", _ROOM, "listed in which photos differ; the rest are counted"
    )
    least_chance: float = parameter(
        0.005, "probability", _HOUSE, "below which another value is not worth a word"
    )
    grid_right: float = parameter(
        0.9, "probability", _HOUSE, "from which a field may stand in a grid of many"
    )
    least_tiles: int = parameter(4, "fields", _HOUSE, "read as one number that are worth a grid")
    most_tiles: int = parameter(24, "fields", _LOOKS, "in a grid, planted ones apart")
    planted_share: float = parameter(
        0.1,
        "ratio",
        "choice: rare odd ones are missed (PMC4224304), so planted ones are not rare",
        "of planted fields for each that waits in a grid; one at least",
    )
    surely_known: float = parameter(
        0.9995, "probability", _HOUSE, "of an accepted field that may be planted as known"
    )
    leases_at_once: int = parameter(
        6, "questions", _HOUSE, "held for one person at a time, so that not each needs a write"
    )
    patience_s: tuple[float, ...] = parameter(
        (1.0, 2.0, 5.0, 10.0), "s", _HOUSE, "between tries of a record out of reach, the last on"
    )
    page_body_bytes: int = parameter(
        65_536, "bytes", "choice: some ten times the longest remark", "of a request to the page"
    )
    page_cookies: int = parameter(
        8, "cookies", _HOUSE, "that open the page at a time: one for each opening of the file"
    )
    page_reason_signs: int = parameter(300, "signs", _LOOKS, "of why a field is asked")
    page_pictures_kept: int = parameter(
        400, "pictures", "choice: some 30 MB", "kept in memory by the page"
    )
    page_cards_ahead: int = parameter(
        3, "cards", _HOUSE, "whose pictures are loaded before they are asked for"
    )
    page_answers_remembered: int = parameter(
        200, "answers", _HOUSE, "known by their sender's number, so that none is kept twice"
    )
    page_pace_answers: int = parameter(
        30, "answers", _HOUSE, "the last ones, from which the time left is told"
    )
    page_pause_s: float = parameter(
        90.0, "s", _HOUSE, "longer between two answers is a pause and no pace"
    )
    page_idle_s: float = parameter(
        3600.0, "s", _HOUSE, "without any request, after which the page's server ends"
    )
    page_idle_look_s: float = parameter(0.2, "s", _HOUSE, "between two looks at whether to end")
    page_grace_s: float = parameter(2.0, "s", _HOUSE, "for what is under way when it ends")
    page_backlog: int = parameter(
        512, "connections", _HOUSE, "that may wait to be taken by the page's server"
    )


REVIEW = ReviewParameters()
"""In force."""
