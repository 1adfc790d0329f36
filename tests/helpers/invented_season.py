"""An invented season of bean tips as a frame of counts, with a known effect.

Sites differ in how many colonies they have, in their own effect of pinching and in how often
nobody found any; visits differ more than chance (negative binomial); plots differ in their number
of plants; some visits are missed and some values wait. Every frame is ruled by its seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np
import pandas as pd

from sheet_reader.results.update.frame import COLUMNS
from sheet_reader.results.update.outline import Named, Outline
from sheet_reader.study.site_numbers import damm

_FIRST_WORDS = (
    "Millrace", "Orchard", "Long Meadow", "Tram", "Chapel", "Quarry", "Weir", "Heron", "Kiln",
    "Blackthorn", "Ferry", "Lime", "Sluice", "Juniper", "Brickfield",
)  # fmt: skip
_SECOND_WORDS = ("allotments", "corner", "gardens", "yard", "beds", "lane", "field")
_STAGES = ("egg_clusters", "small_larvae", "large_larvae")

OUTLINE = Outline(
    title="Bean tips",
    first=date(2026, 4, 20),
    last=date(2026, 8, 30),
    plots=(Named("pinched", "Pinched half"), Named("unpinched", "Other half")),
    count=Named("blackfly", "blackfly colonies"),
    treated="pinched",
    control="unpinched",
    effort=Named("plants", "plant"),
    stages=(
        Named("egg_clusters", "egg clusters"),
        Named("small_larvae", "larvae under 5 mm"),
        Named("large_larvae", "larvae, 5 mm or longer"),
    ),
    highest=400,
)
"""Bean tips, as its update sees it."""


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """What rules an invented season.

    ``ratio`` is the geometric mean over sites of treated to control, ``site_spread`` and
    ``effect_spread`` the standard deviations (natural log) of the sites' levels and effects,
    ``per_plant`` the median density of control plots, ``dispersion`` alpha of the negative
    binomial (variance = mean + alpha mean²), ``nothing`` the share of plot visits without any
    animal besides, ``missed`` the share of visits not made, ``waiting``, ``empty`` and
    ``unreadable`` the shares of values with that status. ``visit_days`` lie between visits.
    """

    sites: int = 30
    visits: int = 6
    visit_days: int = 7
    ratio: float = 0.6
    per_plant: float = 1.0
    site_spread: float = 0.7
    effect_spread: float = 0.25
    dispersion: float = 0.4
    nothing: float = 0.05
    missed: float = 0.08
    waiting: float = 0.02
    empty: float = 0.01
    unreadable: float = 0.003


_BEANS = SeasonPlan()


def make_season(seed: int, plan: SeasonPlan = _BEANS, outline: Outline = OUTLINE) -> pd.DataFrame:
    """A season as a frame of counts (see ``frame``), of blackfly and three ladybird stages."""
    rng = np.random.default_rng(seed)
    level = rng.normal(np.log(plan.per_plant), plan.site_spread, plan.sites)
    effect = rng.normal(np.log(plan.ratio), plan.effect_spread, plan.sites)
    wave = _wave(plan.visits)
    lines: list[_Lines] = []
    for visit in range(plan.visits):
        made = np.flatnonzero(rng.random(plan.sites) >= plan.missed)
        day = plan.visit_days * visit + rng.integers(0, 3, plan.sites)[made]
        for plot in (outline.treated, outline.control):
            plants = rng.integers(8, 17, plan.sites)
            log_mean = level + np.log(plants * wave[visit]) + effect * (plot == outline.treated)
            columns = {outline.count.name: _draw(rng, np.exp(log_mean), plan)}
            for stage, name in enumerate(_STAGES):
                share = _stage_share(stage, visit / max(1, plan.visits - 1))
                columns[name] = rng.poisson(0.25 * share * plants * np.exp(0.3 * (level + 0.7)))
            for name, values in columns.items():
                lines.append(_Lines(plot, name, made, day, values[made], plants[made]))
    return _frame(lines, plan, outline, rng)


@dataclass(frozen=True, slots=True)
class _Lines:
    """One count in one plot on one round of visits: places of the sites, days into the season,
    values and plants.
    """

    plot: str
    count: str
    sites: np.ndarray
    day: np.ndarray
    value: np.ndarray
    plants: np.ndarray


def _draw(rng: np.random.Generator, mean: np.ndarray, plan: SeasonPlan) -> np.ndarray:
    """Negative binomial counts with added zeros."""
    if plan.dispersion > 0:
        mean = mean * rng.gamma(1 / plan.dispersion, plan.dispersion, len(mean))
    return rng.poisson(mean) * (rng.random(len(mean)) >= plan.nothing)


def _wave(visits: int) -> np.ndarray:
    """Numbers rise, peak after two thirds of the season and fall."""
    place = np.linspace(0, 1, visits) if visits > 1 else np.array([0.6])
    return 0.3 + np.exp(-((place - 0.65) ** 2) / 0.08)


def _stage_share(stage: int, place: float) -> float:
    """How many of the three stages there are, from eggs early to large larvae late."""
    return float(0.1 + np.exp(-((place - 0.15 - 0.35 * stage) ** 2) / 0.08))


def _frame(
    lines: list[_Lines], plan: SeasonPlan, outline: Outline, rng: np.random.Generator
) -> pd.DataFrame:
    """Give every value a status and set all lines into one frame."""
    sizes = [len(line.sites) for line in lines]
    shares = {
        "flagged": plan.waiting,
        "empty": plan.empty,
        "unreadable": plan.unreadable,
        "confirmed": 0.05,
        "corrected": 0.01,
    }
    shares["accepted"] = 1 - sum(shares.values())
    status = rng.choice(list(shares), size=sum(sizes), p=list(shares.values()))
    value = pd.Series(np.concatenate([line.value for line in lines]), dtype="Int64")
    place = np.concatenate([line.sites for line in lines])
    plot = np.repeat([line.plot for line in lines], sizes)
    days = np.concatenate([line.day for line in lines])
    treatments = {outline.treated: "tips pinched out", outline.control: "tips left alone"}
    frame = pd.DataFrame(
        {
            "site": pd.Series([site_number(int(n)) for n in place], dtype="string"),
            "site_name": pd.Series([site_name(int(n)) for n in place], dtype="string"),
            "visit_date": pd.Timestamp(outline.first) + pd.to_timedelta(days, unit="D"),
            "plot": plot,
            "treatment": [treatments[name] for name in plot],
            "count": np.repeat([line.count for line in lines], sizes),
            "value": value.mask(np.isin(status, ["flagged", "empty", "unreadable"])),
            "unit": "",
            "status": status,
            "effort": pd.Series(np.concatenate([line.plants for line in lines]), dtype="Float64"),
        }
    )
    return frame[list(COLUMNS)].astype({"plot": "string", "treatment": "string", "count": "string"})


@cache
def site_number(place: int) -> str:
    """Number of the invented site at ``place`` (from 0), with its check digit."""
    stem = str(100 + 7 * int(place))
    return stem + damm(stem)


@cache
def site_name(place: int) -> str:
    """An invented place; from the 106th site on with a number behind."""
    first = _FIRST_WORDS[place % len(_FIRST_WORDS)]
    second = _SECOND_WORDS[place % len(_SECOND_WORDS)]
    again = place // (len(_FIRST_WORDS) * len(_SECOND_WORDS))
    return f"{first} {second}" + (f" {again + 1}" if again else "")
