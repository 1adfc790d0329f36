"""What volunteers find week after week: a site keeps its character, counts rise and fall."""

from __future__ import annotations

from datetime import date

import numpy as np

from sheet_reader.simulate.values import Visit, add_up
from sheet_reader.study.study import FieldSpec, Study

_MIDDLE, _WIDTH = 0.45, 0.25
"""When in the season most is found, and for how long (shares of the season)."""
_USUAL = 0.06
"""Mean count at the height of the season, as a share of the highest value."""


def likely_visit(study: Study, site: str, day: date, seed: int) -> Visit:
    """A visit to ``site`` on ``day``; the same arguments give the same values.

    A field that can't be 0 tells of the place (its plants, the time spent) and is the same on every
    visit; all others vary around a mean of the site that follows the season. Sums hold, but for as
    many as :func:`sheet_reader.simulate.values.random_visit` gets wrong.
    """
    place = np.random.default_rng([seed, int(site)])
    visit = np.random.default_rng([seed, int(site), day.toordinal()])
    season = study.season
    past = (day - season.first).days / max((season.last - season.first).days, 1)
    height = float(np.exp(-(((past - _MIDDLE) / _WIDTH) ** 2) / 2))
    placed = study.placed(site, day.isoformat())
    values = {
        spec.name: placed.get(spec.name) or str(_count(spec, height, place, visit))
        for spec in study.fields
    }
    wrong = add_up(study, values, visit)
    return Visit(values, wrong, site, day.isoformat())


def _count(
    spec: FieldSpec, height: float, place: np.random.Generator, visit: np.random.Generator
) -> int:
    lowest = spec.lowest or 0
    highest = min(spec.highest if spec.highest is not None else 10**9, 10**spec.boxes - 1)
    own = place.uniform(0.15, 0.6), place.gamma(3.0, 1 / 3)
    if lowest > 0:
        return int(lowest + own[0] * (highest - lowest))
    return int(min(highest, visit.poisson(own[1] * height * _USUAL * highest)))
