"""A season of the bean study with a known effect, sheet by sheet, as values: no photo is made.

Sites differ in how many colonies they have and in what pinching does there; visits differ more
than chance (negative binomial), and sometimes there is nothing. All numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from sheet_reader.study.study import Study

SITES, WEEKS = 30, 6
RATIO = 0.6
"""The planted effect: the geometric mean over sites of blackfly per minute, pinched to other."""
_PER_MINUTE, _SITE_SPREAD, _EFFECT_SPREAD, _DISPERSION, _NOTHING = 0.6, 0.7, 0.25, 0.4, 0.05
"""Median of the other half; standard deviations (natural log) of the sites' levels and effects;
alpha of the negative binomial; the share of half rows without any."""
_MISSED, _HALF, _UNEQUAL, _SUM_OFF, _UNREAD = 0.08, 0.02, 0.04, 0.02, 0.02
"""Shares of visits not made, with one half only, with unequal time, with a wrong total, and with a
photo that nobody can read."""
_DOUBTFUL, _LEFT_EMPTY = 0.012, 0.006
"""Shares of fields that wait for a person, and that were left empty."""
_STAGES = ("egg_clusters", "small_larvae", "large_larvae")


@dataclass(frozen=True, slots=True)
class MadeSheet:
    """A sheet as it was written: ``values`` by full field name (None: left empty), the names of
    the ``doubtful`` fields, the plot whose total is ``sum_off`` or "", whether its photo is
    ``unreadable``.
    """

    site: str
    day: date
    values: dict[str, int | None]
    doubtful: frozenset[str] = field(default_factory=frozenset)
    sum_off: str = ""
    unreadable: bool = False


def made_sheets(study: Study, seed: int, weeks: int = WEEKS) -> Iterator[MadeSheet]:
    """The sheets of ``weeks`` weeks from the season's first day, week after week, site after site
    of the list of ``study`` (the bean study). The same seed gives the same sheets.
    """
    rng = np.random.default_rng([seed, 16])
    count = len(study.sites)
    level = rng.normal(np.log(_PER_MINUTE), _SITE_SPREAD, count)
    effect = rng.normal(np.log(RATIO), _EFFECT_SPREAD, count)
    minutes, plants = rng.integers(8, 16, count), rng.integers(10, 25, count)
    for week in range(weeks):
        for place, site in enumerate(study.sites):
            days = 7 * week + int(rng.integers(0, 3))
            if rng.random() < _MISSED:
                continue
            spent = dict.fromkeys(("pinched", "unpinched"), int(minutes[place]))
            if rng.random() < _UNEQUAL:
                spent["unpinched"] += 5
            values: dict[str, int | None] = {"helpers": int(rng.integers(1, 4))}
            for plot, time in spent.items():
                log_mean = level[place] + (effect[place] if plot == "pinched" else 0.0)
                found = _plot(rng, float(np.exp(log_mean)) * time, week / max(1, weeks - 1), time)
                known = {"minutes": time, "plants": int(plants[place]), **found}
                values |= {f"{plot}.{name}": value for name, value in known.items()}
            day = study.season.first + timedelta(days=days)
            yield _with_troubles(rng, study, MadeSheet(site.number, day, values))


def _plot(rng: np.random.Generator, mean: float, past: float, minutes: int) -> dict[str, int]:
    """The finds of a half row; ``past`` (0..1) of the season is over."""
    wave = 0.3 + float(np.exp(-((past - 0.65) ** 2) / 0.08))
    colonies = rng.poisson(mean * wave * rng.gamma(1 / _DISPERSION, _DISPERSION))
    found = {"blackfly": int(colonies * (rng.random() >= _NOTHING))}
    for stage, name in enumerate(_STAGES):
        share = 0.1 + float(np.exp(-((past - 0.15 - 0.35 * stage) ** 2) / 0.08))
        found[name] = int(rng.poisson(0.25 * share * minutes))
    return {**found, "ladybirds": sum(found[name] for name in _STAGES)}


def _with_troubles(rng: np.random.Generator, study: Study, sheet: MadeSheet) -> MadeSheet:
    """The sheet with what goes wrong on paper and in photos. Effort is written on every sheet."""
    values, chance = dict(sheet.values), rng.random(4)
    names = list(values)
    lots = dict(zip(names, rng.random(len(names)), strict=True))
    sum_off = "pinched" if chance[0] < _SUM_OFF else ""
    total = values.get(f"{sum_off}.ladybirds")
    if total is not None:
        values[f"{sum_off}.ladybirds"] = total + 1
    empty = {n for n in names if n.endswith(".blackfly") and lots[n] < _LEFT_EMPTY * len(names) / 2}
    if chance[1] < _HALF:
        empty |= {name for name in names if name.startswith("unpinched.")}
    values |= dict.fromkeys(empty)
    parts = {name for rule in study.sums for name in rule.fields}
    doubtful = {n for n in names if n not in empty and lots[n] > 1 - _DOUBTFUL}
    if sum_off:
        doubtful |= {name for name in parts if name.startswith(f"{sum_off}.")}
    return MadeSheet(
        sheet.site, sheet.day, values, frozenset(doubtful), sum_off, bool(chance[2] < _UNREAD)
    )
