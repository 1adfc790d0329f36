"""Photographs of a season's first visits, and how finely their print is rastered."""

from __future__ import annotations

from itertools import pairwise

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.season_photos import SeasonPhotos, season_photo

LONG_SIDE = 1200


def test_the_print_is_finer_than_any_picture_of_it_and_no_finer_than_need_be() -> None:
    """A picture whose longer side is the paper's shows it at long_side / 297 px to the mm."""
    typical = LEVELS["typical"]
    for long_side in (1000, 2048, 2400):
        small = typical.small(long_side)
        finest = long_side / 297.0
        assert small.long_side_px == (long_side,)
        assert 1.2 * finest < small.print_px_per_mm <= SIMULATE.print_px_per_mm
    assert typical.small(6000).print_px_per_mm == typical.print_px_per_mm
    scales = [typical.small(side).print_px_per_mm for side in (1000, 2048, 2400)]
    assert all(a < b for a, b in pairwise(scales))


def test_visits_follow_sites_and_weeks(beans: LayoutBook) -> None:
    plan = SeasonPhotos(beans.study, 2, 2, 1, "easy", LONG_SIDE)
    assert len(plan) == 4
    made = [season_photo(plan, number).truth for number in range(len(plan))]
    sites = [truth.sheets[0].site for truth in made]
    assert sites == [site.number for site in beans.study.sites[:2]] * 2
    days = [truth.sheets[0].visit_date for truth in made]
    assert all(early < late for early, late in zip(days[:2], days[2:], strict=True))
    again = season_photo(plan, 3)
    assert again.truth == made[3]
