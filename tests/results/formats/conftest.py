"""A small study that names taxa, effort and places, and a few visits with every kind of field."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from made_facts import fact, facts, visit

from sheet_reader.results.facts import Facts
from sheet_reader.results.frames import Tables, tables_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import CountField, Effort, Publication, Study

ROOT = Path(__file__).parents[3]
STANDARDS = ROOT.parent / "shared" / "standards"
TAXA = {
    "blackfly": ("Aphis fabae", "", "colonies"),
    "egg_clusters": ("Coccinellidae", "egg", ""),
    "small_larvae": ("Coccinellidae", "larva", "individuals"),
    "large_larvae": ("Coccinellidae", "larva", "individuals"),
    "ladybirds": ("Coccinellidae", "", ""),
}


@pytest.fixture
def standards() -> Path:
    if not STANDARDS.is_dir():
        pytest.skip("the standards' own files are not here (../shared/standards)")
    return STANDARDS


def _named(count: CountField) -> CountField:
    taxon, life_stage, unit = TAXA.get(count.name, ("", "", count.unit))
    return replace(count, taxon=taxon, life_stage=life_stage, unit=unit)


@pytest.fixture
def study() -> Study:
    beans = read_study(ROOT / "samples" / "bean_tips")
    first = replace(beans.sites[0], latitude=51.47786, longitude=-0.00147)
    return replace(
        beans,
        counts=tuple(map(_named, beans.counts)),
        sites=(first, *beans.sites[1:]),
        effort=Effort("minutes", "minutes", "both halves for the same time"),
        publication=Publication(
            licence="CC-BY-4.0", citation="Bean tips (2026)", publisher="Bean tips study"
        ),
    )


@pytest.fixture
def found(study: Study) -> Facts:
    """One full visit with zeros, one with all that can be missing, one whose date waits."""
    site, other = study.sites[0].number, study.sites[1].number
    full = {
        f"{plot}.{name}": value
        for plot in ("pinched", "unpinched")
        for name, value in {
            "minutes": 10, "plants": 14, "blackfly": 0, "egg_clusters": 3, "small_larvae": 0,
            "large_larvae": 5, "ladybirds": 8,
        }.items()
    }  # fmt: skip
    holes = full | {
        "pinched.blackfly": "flagged", "pinched.egg_clusters": "empty",
        "pinched.ladybirds": "unreadable", "unpinched.minutes": "empty",
        "unpinched.plants": fact("unpinched.plants", "60", "corrected", read_as="50"),
    }  # fmt: skip
    del holes["unpinched.large_larvae"]
    return facts(
        visit(site, "2026-05-20", {"helpers": 2, **full}, remarks=("=1+1", "see you")),
        visit(other, "2026-05-21", {"helpers": "empty", **holes}),
        visit(other, "", {"pinched.plants": 9}),
    )


@pytest.fixture
def tables(study: Study, found: Facts) -> Tables:
    return tables_of(study, found)
