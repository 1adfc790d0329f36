"""Every page of every study keeps the rules of the printed page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.errors import StudyError, UsageError
from sheet_reader.sheet.layout import draw_sheet, lay_out, layout_version
from sheet_reader.sheet.page import BLANK, DrawnPage, Text
from sheet_reader.study.kinds import DATE, NUMBER, SITE
from sheet_reader.study.reader import DATE_ORDERS
from sheet_reader.study.study import Comments, CountField, FieldSpec, Plot, Study, SumRule
from sheet_reader.study.words import shipped_words

Faults = Callable[[DrawnPage], list[str]]
Make = Callable[..., Study]


def test_samples_keep_the_rules_of_the_page(sample: Study, faults: Faults) -> None:
    for sheet in (BLANK, sample.sites[0].number):
        for drawn in draw_sheet(sample, sheet):
            assert faults(drawn) == []


def test_every_field_has_all_its_boxes_once(sample: Study) -> None:
    pages = lay_out(sample).pages
    for field in sample.fields:
        pages_with = [
            [c.index for c in page.cells if c.field == field.name]
            for page in pages
            if any(c.field == field.name for c in page.cells)
        ]
        expected = len(pages) if field.kind.name in ("site", "date") else 1
        assert pages_with == [list(range(field.boxes))] * expected, field.name


def test_index_0_is_the_leftmost(sample: Study) -> None:
    for page in lay_out(sample).pages:
        for a in page.cells:
            for b in page.cells:
                if a.field == b.field and a.index < b.index:
                    assert a.box_mm[0] < b.box_mm[0]
                    assert a.box_mm[1] == b.box_mm[1]


@pytest.mark.parametrize("language", ["en", "de", "es"])
@pytest.mark.parametrize("order", DATE_ORDERS)
def test_date_boxes_and_their_labels_stand_in_the_order_of_the_study(
    sample: Study, order: str, language: str
) -> None:
    words = shipped_words(language)
    study = replace(sample, date_order=tuple(order.split()), words=words)
    date = next(f.name for f in study.header if f.kind.name == "date")
    drawn = draw_sheet(study)[0]
    boxes = [c for c in drawn.page.cells if c.field == date]
    assert [c.part for c in boxes] == [part for part in order.split() for _ in range(2)]
    labels = [
        (mark.x, mark.text) for mark in drawn.marks
        if isinstance(mark, Text) and mark.align == "centre"
        and mark.text.split(" (")[0] in (words.day, words.month, words.year)
    ]  # fmt: skip
    told = [text.split(" (")[0] for _, text in sorted(labels)]
    assert told == [getattr(words, part) for part in order.split()]


def test_another_order_of_the_date_is_another_layout(sample: Study) -> None:
    versions = {
        layout_version(replace(sample, date_order=tuple(order.split()))) for order in DATE_ORDERS
    }
    assert len(versions) == len(DATE_ORDERS)


def test_rock_pools_take_two_letter_pages_and_five_pools_each(pools: Study) -> None:
    pages = lay_out(pools).pages
    assert [(p.width_mm, p.height_mm, p.of) for p in pages] == [(215.9, 279.4, 2)] * 2
    for page in pages:
        fields = {c.field for c in page.cells}
        assert len([f for f in fields if "." in f]) == 30
        assert {"site", "visit_date"} <= fields


def test_a_sheet_of_the_list_prints_its_number_instead_of_boxes(beans: Study) -> None:
    drawn = draw_sheet(beans, "2043")[0]
    assert not [c for c in drawn.page.cells if c.field == "site"]
    texts = [getattr(mark, "text", "") for mark in drawn.marks]
    assert "2043" in texts
    assert "Millrace allotments" in texts
    assert not any("millrace@" in text for text in texts)


def test_other_places_are_the_same_on_every_sheet(sample: Study) -> None:
    blank = lay_out(sample)
    for site in sample.sites[:3]:
        sheet = lay_out(sample, site.number)
        assert sheet.version == blank.version
        for page, other in zip(sheet.pages, blank.pages, strict=True):
            assert page.cells == tuple(c for c in other.cells if c.field != "site")
            assert page.markers == other.markers
            assert page.code_box_mm == other.code_box_mm


def test_unknown_site_is_refused(beans: Study) -> None:
    with pytest.raises(UsageError, match="9999 is not on the site list"):
        lay_out(beans, "9999")


def test_version_changes_with_places_and_meanings_only(make_study: Make) -> None:
    study = make_study()
    version = layout_version(study)
    assert len(version) == 4
    same = [replace(study, title="Other"), replace(study, allowed_error=0.01)]
    assert {layout_version(s) for s in same} == {version}
    swapped = tuple(
        replace(c, label=o.label) for c, o in zip(study.counts, reversed(study.counts), strict=True)
    )
    other = [
        replace(study, counts=swapped),
        replace(study, counts=study.counts[::-1]),
        replace(study, paper="Letter"),
        replace(study, plots=study.plots[::-1]),
        replace(study, counts=(replace(study.counts[0], unit="cm"), study.counts[1])),
        replace(study, header=(study.header[0], replace(study.header[1], name="day"))),
    ]
    versions = [layout_version(s) for s in other]
    assert len({version, *versions}) == len(other) + 1


def test_sheet_that_cannot_hold_the_study_is_refused(make_study: Make) -> None:
    plots = tuple(Plot(f"p{i}", f"Plot {i}") for i in range(60))
    counts = tuple(CountField(f"c{i}", f"Kind {i}", 3, 0, 99) for i in range(40))
    with pytest.raises(StudyError) as caught:
        lay_out(make_study(plots=plots, counts=counts))
    assert "can't hold" in caught.value.mistakes[0].message


def test_word_too_wide_for_the_page_is_refused(make_study: Make) -> None:
    counts = (CountField("c", "W" * 60, 3, 0, 99),)
    with pytest.raises(StudyError):
        lay_out(make_study(counts=counts, plots=(Plot("p", "P"),), instructions=("M" * 160,)))


def test_signs_the_typeface_lacks_are_named_with_their_place(make_study: Make) -> None:
    with pytest.raises(StudyError) as caught:
        lay_out(make_study(title="Käfer 甲虫", instructions=("ok", "♀ only")))
    assert [m.path for m in caught.value.mistakes] == ["title", "instructions, entry 2"]
    assert "U+7532" in caught.value.mistakes[0].message


def test_latin_greek_and_cyrillic_print(make_study: Make, faults: Faults) -> None:
    title, line = "Žabí skokani · Σαλιγκάρια", "Жуки под досками: ≥ 5 мм"
    study = make_study(title=title, instructions=(line,))
    for drawn in draw_sheet(study):
        assert faults(drawn) == []


def test_wide_titles_shrink_between_the_markers(make_study: Make, faults: Faults) -> None:
    for drawn in draw_sheet(make_study(title="Snails and slugs of gardens, hedges and walls 2026")):
        assert faults(drawn) == []


WORDS = st.lists(
    st.text("abcdeghijmnopstuvwMWÄß", min_size=1, max_size=12), min_size=1, max_size=6
).map(lambda words: " ".join(words)[:60].strip())


@st.composite
def studies(draw: st.DrawFn) -> dict[str, object]:
    counts = tuple(
        CountField(
            f"c{i}",
            draw(WORDS),
            draw(st.integers(1, 6)),
            0,
            1,
            draw(st.sampled_from(("", "min", "square metres"))),
            draw(st.one_of(st.just(""), WORDS)),
        )
        for i in range(draw(st.integers(1, 14)))
    )
    plots = tuple(
        Plot(f"p{i}", draw(WORDS)[:40].strip(), draw(st.one_of(st.just(""), WORDS)))
        for i in range(draw(st.integers(1, 12)))
    )
    header = [
        FieldSpec("site", draw(WORDS)[:40].strip(), SITE, draw(st.integers(2, 8))),
        FieldSpec("day", draw(WORDS)[:40].strip(), DATE, 6),
    ]
    header += [
        FieldSpec(f"h{i}", draw(WORDS)[:40].strip(), NUMBER, draw(st.integers(1, 6)))
        for i in range(draw(st.integers(0, 5)))
    ]
    comments = draw(st.one_of(st.none(), st.builds(Comments, WORDS, st.floats(8, 120))))
    sums = (SumRule("p0.c0", ("p0.c0",)),) if draw(st.booleans()) else ()
    return {
        "title": draw(WORDS),
        "paper": draw(st.sampled_from(("A4", "Letter"))),
        "header": tuple(header),
        "plots": plots,
        "counts": counts,
        "comments": comments,
        "sums": sums,
        "instructions": tuple(draw(st.lists(WORDS, max_size=8))),
    }


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=studies())
def test_any_study_keeps_the_rules_or_is_refused(
    make_study: Make, faults: Faults, changes: dict[str, object]
) -> None:
    study = make_study(**changes)
    try:
        pages = draw_sheet(study)
    except StudyError:
        return
    for drawn in pages:
        assert faults(drawn) == []
    cells = [c.field for drawn in pages for c in drawn.page.cells if "." in c.field]
    assert len(cells) == len(study.plots) * sum(c.boxes for c in study.counts)
