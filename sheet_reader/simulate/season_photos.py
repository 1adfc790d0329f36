"""Photographs of a season's first visits to some sites of a study, one by one.

A module of its own with few imports: each process that makes the pictures starts with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from typing import NamedTuple

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.levels import LevelName
from sheet_reader.simulate.likely import likely_visit
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.truth import PhotoTruth
from sheet_reader.study.model import Study

_ON_BLANK = 5
"""One in as many sheets has no printed site number."""


@dataclass(frozen=True, slots=True)
class SeasonPhotos:
    """``weeks`` visits to each of the study's first ``sites``, written by invented hands and
    photographed at ``level``, the pictures ``long_side`` px long.
    """

    study: Study
    sites: int
    weeks: int
    seed: int
    level: LevelName
    long_side: int

    def __len__(self) -> int:
        return self.sites * self.weeks


class MadePhoto(NamedTuple):
    """A JPEG file and what it shows."""

    data: bytes
    truth: PhotoTruth


_book = lru_cache(maxsize=1)(LayoutBook)


def season_photo(plan: SeasonPhotos, number: int) -> MadePhoto:
    """Photograph ``number`` (from 0): all sites of one week, then those of the next. The same
    arguments give the same file.
    """
    study = plan.study
    site, week = number % plan.sites, number // plan.sites
    days = week * study.visits.interval_days + number * 5 % 2
    day = study.season.first + timedelta(days=days)
    visit = likely_visit(study, study.sites[site].number, day, plan.seed)
    request = Request(visit, 1, on_blank=number % _ON_BLANK == _ON_BLANK - 1)
    photo = photo_of(
        _book(study), ProceduralHands(), plan.level, 1000 * plan.seed + number, request,
        plan.long_side,
    )  # fmt: skip
    return MadePhoto(photo.data, photo.truth)
