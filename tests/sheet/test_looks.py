"""What people see: sizes of print, space to tally and remark, pages well used, any language."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sheet_reader.errors import StudyError
from sheet_reader.sheet.fonts import HINT, INSTRUCTION, LABEL, POINT
from sheet_reader.sheet.head import BOTTOM
from sheet_reader.sheet.layout import draw_sheet, lay_out, layout_version
from sheet_reader.sheet.page import BLANK, Area, DrawnPage, Page, Text
from sheet_reader.sheet.pdf import rasterise, render_pdf
from sheet_reader.sheet.proof import draw_proof
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Paper, Study
from sheet_reader.study.words import ENGLISH, languages, shipped_words

Faults = Callable[[DrawnPage], list[str]]
Make = Callable[..., Study]


INVENTED = sorted((Path(__file__).parent / "invented").glob("*.toml"))
PAPERS: tuple[Paper, ...] = ("A4", "Letter")


@pytest.fixture(params=INVENTED, ids=lambda path: str(path.stem))
def invented(request: pytest.FixtureRequest) -> Study:
    return read_study(request.param)


def texts(drawn: DrawnPage) -> Iterator[Text]:
    return (mark for mark in drawn.marks if isinstance(mark, Text))


def areas(page: Page, kind: str) -> list[Area]:
    return [area for area in page.areas if area.kind == kind]


@pytest.mark.parametrize("paper", PAPERS)
def test_invented_studies_keep_the_rules_of_the_page(
    invented: Study, paper: Paper, faults: Faults
) -> None:
    study = replace(invented, paper=paper)
    for sheet in (BLANK, study.sites[0].number):
        for drawn in draw_sheet(study, sheet):
            assert faults(drawn) == []


@pytest.mark.parametrize("paper", PAPERS)
def test_no_page_is_nearly_empty(invented: Study, paper: Paper) -> None:
    study = replace(invented, paper=paper)
    pages = lay_out(study).pages
    fields = [len({c.field for c in page.cells if "." in c.field}) for page in pages]
    assert min(fields) * 2 > max(fields)
    assert sum(fields) == len(study.plots) * len(study.counts)


def test_one_page_is_used_from_top_to_foot(invented: Study) -> None:
    pages = lay_out(invented).pages
    if len(pages) == 1:
        lowest = max(y + h for _, y, _, h in (area.box_mm for area in pages[0].areas))
        assert lowest > pages[0].height_mm - 25


def test_labels_instructions_and_hints_have_their_least_sizes(sample: Study) -> None:
    assert pytest.approx((10 * POINT, 9 * POINT, 8 * POINT)) == (LABEL, INSTRUCTION, HINT)
    labels = {h.label for h in sample.header} | {p.label for p in sample.plots}
    labels |= {c.label for c in sample.counts} | {sample.title, sample.words.counted_by}
    instructions = (*sample.instructions, ENGLISH.write_zero, ENGLISH.wrong_digit)
    for drawn in draw_sheet(sample):
        sizes = {text.text: text.size_mm for text in texts(drawn)}
        assert all(size >= LABEL - 1e-9 for text, size in sizes.items() if text in labels)
        found = [s for text, s in sizes.items() if any(i.startswith(text) for i in instructions)]
        assert len(found) >= 2
        assert min(found) >= INSTRUCTION - 1e-9


def test_contrast_is_black_on_white(sample: Study) -> None:
    # WCAG 2.2, 1.4.3: contrast of text 4.5:1; relative luminance of black 0 and white 1 gives 21:1
    page = rasterise(render_pdf(lay_out(sample), sample), 1, 24.0)
    assert page.min() == 0
    assert np.bincount(page.ravel()).argmax() == 255


def test_every_tallied_count_has_its_space_left_of_its_boxes(sample: Study) -> None:
    totals = {rule.total for rule in sample.sums}
    plain = {c.name for c in sample.counts if c.tally is not False}
    for page in lay_out(sample).pages:
        fields = {c.field for c in page.cells if "." in c.field}
        expected = {f for f in fields if f.partition(".")[2] in plain and f not in totals}
        spaces = {area.field: area.box_mm for area in areas(page, "tally")}
        assert set(spaces) == expected
        for field, (x, y, width, height) in spaces.items():
            cells = [c.box_mm for c in page.cells if c.field == field]
            assert x + width <= min(cell[0] for cell in cells) - 2
            assert y < cells[0][1] + cells[0][3]
            assert cells[0][1] < y + height


def test_tally_false_and_totals(make_study: Make) -> None:
    study = make_study()
    off = replace(study, counts=(replace(study.counts[0], tally=False), study.counts[1]))
    fields = {area.field for area in lay_out(off).pages[0].areas if area.kind == "tally"}
    assert fields == {"north.slugs", "south.slugs"}


def test_tally_space_suits_the_range(make_study: Make) -> None:
    """Where the page has room, five strokes and a gap have a square centimetre or so each."""
    study = make_study(plots=make_study().plots[:1])
    page = lay_out(study).pages[0]
    for area in areas(page, "tally"):
        count = next(c for c in study.counts if area.field.endswith(c.name))
        lines = area.box_mm[3] / 7.5
        assert int(lines) * area.box_mm[2] / 10 >= min(count.highest / 5, 20)


def test_the_tally_space_is_labelled_once_in_each_plot(beans: Study) -> None:
    words = [text.text for text in texts(draw_sheet(beans)[0])]
    assert words.count("tally here") == len(beans.plots)


def test_who_counted_and_where_to_send_the_photo(beans: Study) -> None:
    drawn = draw_sheet(beans)[0]
    words = [text.text for text in texts(drawn)]
    assert "Counted by" in words
    assert "Send the photo to beans@example.org" in words
    assert len(areas(drawn.page, "counted_by")) == 1
    assert not any("Send" in text.text for text in texts(draw_sheet(replace(beans, send_to=""))[0]))


def test_the_example_shows_a_cross_and_no_filled_box(beans: Study) -> None:
    words = " ".join(text.text for text in texts(draw_sheet(beans)[0]))
    assert "Cross it out from corner to corner" in words
    assert "is read as 12" in words
    assert "ill its box" not in words


def test_own_digits_are_ten_boxes_under_the_model_digits(beans: Study, faults: Faults) -> None:
    study = replace(beans, own_digits=True)
    drawn = draw_sheet(study)[0]
    assert faults(drawn) == []
    boxes = [cell for cell in drawn.page.cells if cell.field == OWN_DIGITS]
    assert [cell.index for cell in boxes] == list(range(10))
    assert OWN_DIGITS not in {field.name for field in study.fields}
    assert "Write 0 to 9 once, the way you write them" in [text.text for text in texts(drawn)]
    assert layout_version(study) != layout_version(beans)


@pytest.mark.parametrize("language", languages())
def test_every_shipped_language_fits_the_samples(
    sample: Study, language: str, faults: Faults
) -> None:
    study = replace(sample, words=shipped_words(language))
    for drawn in draw_sheet(study):
        assert faults(drawn) == []
    if language != "en":
        words = " ".join(text.text for text in texts(draw_sheet(study)[0]))
        assert not any(word in words for word in ("Write", "photo ", "day", "Counted", "Page"))


def test_letters_that_the_typeface_lacks_in_a_word_are_named(beans: Study) -> None:
    study = replace(beans, words=replace(ENGLISH, day="日"))
    with pytest.raises(StudyError) as caught:
        lay_out(study)
    assert [str(m) for m in caught.value.mistakes] == [
        "words.day: the sheet's typeface has no “日” (U+65E5)"
    ]


@pytest.mark.parametrize("text", ["מספר", "تاريخ"])
def test_scripts_from_right_to_left_are_refused(beans: Study, text: str) -> None:
    study = replace(beans, words=replace(ENGLISH, counted_by=text))
    with pytest.raises(StudyError) as caught:
        lay_out(study)
    assert [str(m) for m in caught.value.mistakes] == [
        "words.counted_by: is in a script written from right to left, which the sheet can't set"
    ]


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"send_to": "w" * 80}, "send_to"),
        ({"words": replace(ENGLISH, photograph="very long " * 32)}, "words.photograph"),
        ({"words": replace(ENGLISH, counted_by="w" * 40)}, "words.counted_by"),
        ({"words": replace(ENGLISH, tally="make your tally strokes here")}, "words.tally"),
    ],
)
def test_words_that_do_not_fit_are_told(
    beans: Study, change: dict[str, object], place: str
) -> None:
    with pytest.raises(StudyError) as caught:
        lay_out(replace(beans, **change))  # type: ignore[arg-type]
    assert [m.path for m in caught.value.mistakes] == [place]


@pytest.mark.parametrize(
    "title",
    [
        "Snails and slugs of gardens, hedges and old walls, by night",
        "MOTHS, WASPS AND WORMS OF MEADOW, HEDGE AND ORCHARD GROUND",
    ],
)
def test_a_long_title_takes_two_lines_on_one_page_and_on_several(
    beans: Study, pools: Study, title: str, faults: Faults
) -> None:
    for study in (beans, pools):
        for drawn in draw_sheet(replace(study, title=title)):
            assert faults(drawn) == []
            words = [text.text for text in texts(drawn)]
            assert title not in words
            assert " ".join(words).count(title) == 1
            page = f"Page {drawn.page.number} of {drawn.page.of}"
            assert (page in words) == (drawn.page.of > 1)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    "address",
    ["a" * 31, "pond-dipping-photos-2026@example.org",
     "photos.of.the.long.named.pond.study@observatory.example.org"],
)  # fmt: skip
def test_a_long_address_fits_the_foot(
    beans: Study, paper: Paper, language: str, address: str, faults: Faults
) -> None:
    study = replace(beans, paper=paper, words=shipped_words(language), send_to=address)
    (drawn,) = draw_sheet(study)
    assert faults(drawn) == []
    foot = [text for text in texts(drawn) if text.y > drawn.page.height_mm - BOTTOM]
    assert address in "".join(text.text for text in foot)
    assert min(text.size_mm for text in foot) >= HINT - 1e-6
    assert layout_version(study) == layout_version(replace(study, send_to=""))


@pytest.mark.parametrize("language", languages())
def test_the_sheet_says_where_digits_may_stand(beans: Study, language: str) -> None:
    words = shipped_words(language)
    printed = " ".join(text.text for text in texts(draw_sheet(replace(beans, words=words))[0]))
    assert words.one_each in printed
    assert words.write_zero in printed
    assert "box empty" not in printed, "a 5 in three boxes leaves two of them empty"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("language", languages())
def test_the_proof_page_speaks_the_sheets_language(
    beans: Study, paper: Paper, language: str, faults: Faults
) -> None:
    drawn = draw_proof(replace(beans, paper=paper, words=shipped_words(language)))
    assert [fault for fault in faults(drawn) if "runs" in fault or "least" in fault] == []
    printed = " ".join(text.text for text in texts(drawn))
    assert shipped_words(language).check_seen in printed
    if language != "en":
        english = ("Print check", "ruler", "points", "boxes", "hairline", "tally", "labels")
        assert not any(word in printed for word in english)


def test_the_proof_page_is_drawn_though_a_word_is_wider_than_the_paper(beans: Study) -> None:
    wide = "W" * 150
    words = replace(beans.words, check_print=wide, label_print=wide)
    assert [text.text for text in texts(draw_proof(replace(beans, words=words)))].count(wide) == 2
