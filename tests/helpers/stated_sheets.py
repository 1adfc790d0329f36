"""Synthetic sheets: what is written, and box probabilities of a known, calibrated reader.

The reader model: a box in state c shows a feature vector x ~ Normal(m_c, noise² I) and the
network returns Bayes' posterior under equal priors, softmax(-|x - m_k|² / (2 noise²)). So its
probabilities are calibrated by construction, whatever the noise. Means of look-alikes (1 and 7,
4 and 9, 3 and 8, 5 and 6, 0 and 6; empty and 1) share half of their direction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sheet_reader.digits.classes import CLASSES, BoxReadings
from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.page import BLANK, Cell, Page, SheetCode
from sheet_reader.study.kinds import DATE, NUMBER, SITE
from sheet_reader.study.site_numbers import damm
from sheet_reader.study.study import (
    CountField,
    FieldSpec,
    Plot,
    Season,
    Site,
    Study,
    SumRule,
    Visits,
)
from sheet_reader.vision.findings import BoxView, PhotoQuality, SheetView

ALIKE = (("1", "7"), ("4", "9"), ("3", "8"), ("5", "6"), ("0", "6"), ("empty", "1"))
MARKS = {"_": "empty", "#": "struck", "&": "several", "-": "other"}


def class_means() -> np.ndarray:
    means = np.eye(len(CLASSES))
    for one, other in ALIKE:
        i, j = CLASSES.index(one), CLASSES.index(other)
        means[i, j] = means[j, i] = 0.5
    return means


class Reader:
    """The calibrated reader of the module's docstring; ``sharpen`` > 1 makes it too sure."""

    def __init__(self, seed: int = 0, noise: float = 0.12, sharpen: float = 1.0) -> None:
        self.rng = np.random.default_rng(seed)
        self.noise, self.sharpen, self.means = noise, sharpen, class_means()

    def __call__(self, states: Sequence[str]) -> BoxReadings:
        at = [CLASSES.index(MARKS.get(s, s)) for s in states]
        noise = self.rng.normal(0.0, self.noise, (len(at), len(CLASSES)))
        x = self.means[at] + noise
        far = ((x[:, None] - self.means[None]) ** 2).sum(axis=2)
        log_p = -far / (2.0 * self.noise**2) * self.sharpen
        p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
        return BoxReadings(p / p.sum(axis=1, keepdims=True), CLASSES)


def certain(states: Sequence[str | Mapping[str, float]], sure: float = 0.9999) -> BoxReadings:
    """Readings stated box by box: a state, or a mapping of states to probabilities."""
    p = np.full((len(states), len(CLASSES)), (1.0 - sure) / (len(CLASSES) - 1))
    for row, state in zip(p, states, strict=True):
        if isinstance(state, str):
            row[CLASSES.index(MARKS.get(state, state))] = sure
        else:
            left = 1.0 - sum(state.values())
            row[:] = left / (len(CLASSES) - len(state))
            for name, share in state.items():
                row[CLASSES.index(MARKS.get(name, name))] = share
    return BoxReadings(p, CLASSES)


@dataclass
class Written:
    """A page filled in: field (or field and part) → one state per box."""

    study: Study
    states: dict[str, Sequence[str | Mapping[str, float]]]
    sheet: str = BLANK
    hidden: dict[tuple[str, int], str] = field(default_factory=dict)
    error_mm: float = 0.1

    def flat(self) -> list[str | Mapping[str, float]]:
        return [s for states in self.states.values() for s in states]

    def view(self) -> SheetView:
        boxes = []
        for name, states in self.states.items():
            for i in range(len(states)):
                part = ("day", "month", "year")[i // 2] if name == "visit_date" else ""
                cell = Cell(name, i, (0.0, 0.0, 7.0, 9.0), part)
                boxes.append(
                    BoxView(
                        cell,
                        self.error_mm,
                        self.hidden.get((name, i), Occlusion.NONE),
                        crop=np.full((64, 64), 255, np.uint8),
                        corners_px=np.zeros((4, 2)),
                    )
                )
        page = Page(
            SheetCode(self.study.key, "v1", self.sheet, 1),
            1, 210.0, 297.0, (), tuple(b.cell for b in boxes), (0.0,) * 4, (0.0,) * 4,
        )  # fmt: skip
        quality = PhotoQuality(8.0, 0.1, 0.9, 0, 0.0)
        return SheetView(page, tuple(boxes), quality, "machine code", np.zeros((4, 2)))


SITE_LIST = tuple(stem + damm(stem) for stem in ("204", "205", "118", "231", "017", "630", "774"))


@pytest.fixture(scope="session")
def reader():
    return Reader


@pytest.fixture(scope="session")
def stated():
    return certain


@pytest.fixture(scope="session")
def written():
    return Written


@pytest.fixture(scope="session")
def beans() -> Study:
    """A study like the bean one: a site, a date, a number, counts and a sum in two plots."""
    counts = (
        CountField("plants", "Plants", 2, 1, 60),
        CountField("blackfly", "Colonies", 3, 0, 400),
        CountField("eggs", "Egg clusters", 2, 0, 60),
        CountField("small", "Small larvae", 2, 0, 90),
        CountField("large", "Large larvae", 2, 0, 90),
        CountField("total", "Total", 3, 0, 240),
    )
    plots = (Plot("a", "First half"), Plot("b", "Other half"))
    sums = tuple(SumRule(f"{p}.total", (f"{p}.eggs", f"{p}.small", f"{p}.large")) for p in "ab")
    return Study(
        key="beans",
        title="Beans",
        paper="A4",
        season=Season(date(2026, 4, 20), date(2026, 8, 30)),
        visits=Visits(),
        header=(
            FieldSpec("site", "Site number", SITE, 4),
            FieldSpec("visit_date", "Visit date", DATE, 6),
            FieldSpec("helpers", "Helpers", NUMBER, 2, 1, 30),
        ),
        plots=plots,
        counts=counts,
        sums=sums,
        comments=None,
        instructions=(),
        sites=tuple(Site(n, f"Place {n}", "someone@example.org") for n in SITE_LIST),
        folder=Path(),
    )


@pytest.fixture(scope="session")
def today() -> date:
    return date(2026, 7, 1)
