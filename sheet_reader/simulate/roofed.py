"""People who write their 1 with a long roof, as is taught in much of Europe: a 7 to other eyes.

The 1 is drawn here, all other digits are the person's own, but the 7: who roofs the 1 mostly
crosses the 7.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sheet_reader.simulate.ink import Ink, InkPen, Stroke
from sheet_reader.simulate.sources import DigitSource, fit_strokes

_CROSSED = 0.8
"""Share of these people who cross their 7 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RoofedOnes:
    """``source`` with its 1 (and, where ``crossed``, its 7) replaced. On a stem of height 1 the
    roof reaches ``reach`` to the left and ends ``drop`` lower; ``lean`` is the stem's dx/dy.
    """

    source: DigitSource
    pen: InkPen
    reach: float
    drop: float
    lean: float
    crossed: bool

    @property
    def person(self) -> str:
        """Who writes."""
        return self.source.person

    def draw(self, digit: int, height_px: int, width_px: int, rng: np.random.Generator) -> Ink:
        """Ink 0..1, float32 (height_px, width_px)."""
        if digit == 1:
            strokes = [self._one(rng)]
        elif digit == 7 and self.crossed:
            strokes = self._seven(rng)
        else:
            return self.source.draw(digit, height_px, width_px, rng)
        fitted = fit_strokes(strokes, height_px, width_px, self.pen.width_px)
        return self.pen.draw(fitted, (height_px, width_px), rng)

    def _one(self, rng: np.random.Generator) -> Stroke:
        reach, drop, lean = (
            value * np.exp(rng.normal(0, 0.12)) for value in (self.reach, self.drop, self.lean)
        )
        t = np.linspace(0, 1, 8)[:, None]
        tip, start = np.array([lean, 0.0]), np.array([lean - reach, drop])
        bend = np.array([-0.15 * drop, -0.5 * drop]) * rng.uniform(0, 1)
        roof_line = start + (tip - start) * t + 4 * t * (1 - t) * bend * 0.4
        stem = tip + (np.array([0.0, 1.0]) - tip) * t
        return np.vstack([roof_line, stem])

    def _seven(self, rng: np.random.Generator) -> list[Stroke]:
        wide, lean = rng.uniform(0.42, 0.55), self.lean * np.exp(rng.normal(0, 0.1))
        foot = wide * rng.uniform(0.3, 0.5)
        top = np.array([[0.0, rng.normal(0.02, 0.02)], [wide, 0.0], [foot - lean * 0.2, 1.0]])
        at = rng.uniform(0.45, 0.55)
        middle = wide + (foot - wide) * at
        bar = np.array([[middle - 0.18, at + 0.02], [middle + 0.18, at - 0.02]])
        return [top, bar]


def roof(rng: np.random.Generator) -> tuple[float, float, float, bool]:
    """A person's roof as :class:`RoofedOnes` takes it (ranges: common practice, no source)."""
    return (
        float(rng.uniform(0.18, 0.42)),
        float(rng.uniform(0.12, 0.40)),
        float(rng.uniform(0.02, 0.25)),
        bool(rng.random() < _CROSSED),
    )
