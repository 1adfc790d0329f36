"""The made-up season: the planted effect lies in it, and nothing is told that isn't there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from sheet_reader.demo.bean_season import RATIO, MadeSheet, made_sheets
from sheet_reader.results.update.statement import state
from sheet_reader.results.update.typical_site import SiteCounts, site_counts
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Site, Study


def study(sites: int = 30) -> Study:
    beans = read_study(Path(__file__).parents[2] / "samples" / "bean_tips")
    return replace(beans, sites=tuple(Site(f"{n:04}", "", "") for n in range(1000, 1000 + sites)))


def sums_of(sheets: list[MadeSheet]) -> SiteCounts:
    """Per site, straight from the sheets: sums of what both halves have on one day."""
    names = ("pinched.blackfly", "pinched.minutes", "unpinched.blackfly", "unpinched.minutes")
    rows = []
    for sheet in sheets:
        values = [sheet.values[name] for name in names]
        if not sheet.unreadable and None not in values and not sheet.doubtful & {*names}:
            rows.append((int(sheet.site), *values))
    site, a, m, b, n = np.array(rows, dtype=float).T
    return site_counts(np.unique(site, return_inverse=True)[1], a, b, m / n)


def test_the_planted_effect_lies_in_the_intervals_of_many_seasons_not_of_a_chosen_one() -> None:
    """An exact 95 % interval covers in fewer than 34 of 40 seasons once in 300."""
    held = []
    for seed in range(40):
        said = state(sums_of(list(made_sheets(study(), seed))), 5)
        assert said.plain
        assert said.widened
        held.append([i.lower <= RATIO <= i.upper for i in (said.plain, said.widened)])
    plain, widened = np.sum(held, axis=0)
    assert plain >= 34
    assert widened >= 37
    assert widened >= plain


def test_the_seed_rules() -> None:
    assert list(made_sheets(study(), 1)) == list(made_sheets(study(), 1))
    assert list(made_sheets(study(), 1)) != list(made_sheets(study(), 2))


def test_a_season_has_everything_that_happens() -> None:
    sheets = list(made_sheets(study(), 1))
    assert 140 < len(sheets) < 180, "some visits are missed"
    assert any(sheet.unreadable for sheet in sheets)
    assert any(sheet.doubtful for sheet in sheets)
    assert any(sheet.sum_off for sheet in sheets)
    assert any(None in sheet.values.values() for sheet in sheets)
    assert any(s.values["pinched.minutes"] != s.values["unpinched.minutes"] for s in sheets)


def test_values_are_within_the_studys_ranges_and_totals_fit_but_where_told() -> None:
    beans = study(100)
    fields = {spec.name: spec for spec in beans.fields}
    for sheet in made_sheets(beans, 3, weeks=12):
        for name, value in sheet.values.items():
            spec = fields[name]
            assert value is None or (spec.lowest or 0) <= value <= (spec.highest or 0), name
        for rule in beans.sums:
            total, *parts = (sheet.values[name] for name in rule.fields)
            if total is not None and None not in parts:
                off = sheet.sum_off == rule.total.partition(".")[0]
                assert (total != sum(parts)) == off  # type: ignore[arg-type]
