"""Pictures by their seed, of sheets of either edition."""

from __future__ import annotations

from dataclasses import replace

from sheet_reader.simulate.cases import Desk, make_case
from sheet_reader.simulate.sources import ProceduralHands


def test_the_same_seed_gives_the_same_visit_on_a_sheet_of_either_edition() -> None:
    present = Desk.of_samples(ProceduralHands())
    first = replace(present, edition=1)
    versions = present.books["bean_tips"].versions
    sheets = [
        make_case(desk, "bean_tips", "easy", 3, bare_share=0.0).truth.sheets[0]
        for desk in (present, first)
    ]
    assert [sheet.code.layout for sheet in sheets] == [versions[0], versions[1]]
    one, other = ((sheet.site, sheet.visit_date, sheet.code.sheet) for sheet in sheets)
    assert one == other
