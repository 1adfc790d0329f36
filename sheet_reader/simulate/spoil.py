"""Paper that lets the page behind through, and the shadow along a fold."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.printer import Bytes, Paper
from sheet_reader.simulate.surface import Crease, Surface, fold

_SHIFT_MM = SIMULATE.behind_shift_mm
_RELAX_MM = SIMULATE.crease_relax_mm


@dataclass(frozen=True, slots=True)
class FoldLine:
    """A fold across the whole paper, ``at_mm`` from its left edge (``upright``) or its top, where
    the paper leaves at ``angle_rad`` to both sides.
    """

    at_mm: float
    upright: bool
    angle_rad: float


def let_through(paper: Paper, behind: Bytes, strength: float, rng: np.random.Generator) -> None:
    """Let the page ``behind`` (uint8 (H, W, 3), as seen from its own side) show through ``paper``
    (changed in place): mirrored, blurred by the paper's fibres, ``strength`` 0..1 of its darkness.
    """
    height, width = paper.bgr.shape[:2]
    grey = cv2.cvtColor(behind, cv2.COLOR_BGR2GRAY)
    turned = cv2.resize(np.ascontiguousarray(grey[:, ::-1]), (width, height))
    aside = rng.uniform(-1, 1, 2) * (_SHIFT_MM, _SHIFT_MM / 4) * paper.px_per_mm
    move = np.array([[1, 0, aside[0]], [0, 1, aside[1]]])
    turned = cv2.warpAffine(turned, move, (width, height), borderValue=255)
    soft = cv2.GaussianBlur(turned, (0, 0), rng.uniform(0.12, 0.35) * paper.px_per_mm)
    ink = (255 - soft).astype(np.float32) / 255
    ink = np.maximum(ink - np.float32(np.median(ink)), 0)
    paper.bgr[:] = (paper.bgr * (1 - np.float32(strength) * ink)[..., None]).astype(np.uint8)


def shade_fold(
    paper: Paper, line: FoldLine, depth: float, width_mm: float, rng: np.random.Generator
) -> None:
    """The dark line in the valley of a fold, from edge to edge, in place: it takes ``depth`` (0..1)
    of the light where it is darkest, ``width_mm`` its standard deviation.
    """
    height, width = paper.bgr.shape[:2]
    across, along = (width, height) if line.upright else (height, width)
    lean = rng.normal(0, 0.004)
    middle = line.at_mm * paper.px_per_mm + lean * (np.arange(along) - along / 2)
    wave = np.interp(np.arange(along), np.linspace(0, along, 12), rng.normal(0, 0.12, 12))
    local = np.clip(1 + wave, 0, None)
    reach = int(4 * width_mm * paper.px_per_mm + abs(lean) * along) + 2
    first = max(0, int(middle.mean()) - reach)
    last = min(across, int(middle.mean()) + reach)
    off = (np.arange(first, last)[None, :] - middle[:, None]) / (width_mm * paper.px_per_mm)
    gain = (1 - depth * local[:, None] * np.exp(-(off**2) / 2)).astype(np.float32)[..., None]
    strip = paper.bgr[:, first:last] if line.upright else paper.bgr[first:last]
    strip[:] = (strip * (gain if line.upright else gain.transpose(1, 0, 2))).astype(np.uint8)


def folded(surface: Surface, lines: tuple[FoldLine, ...]) -> Surface:
    """``surface`` folded along ``lines`` as well."""
    bends, creases = list(surface.bends), list(surface.creases)
    for line in lines:
        size = surface.width_mm if line.upright else surface.height_mm
        direction = 0.0 if line.upright else np.pi / 2
        relax = float(np.mean(_RELAX_MM))
        bends.append(fold(line.at_mm - size / 2, line.angle_rad, relax, direction))
        creases.append(
            Crease((line.at_mm, 0.0), (line.at_mm, surface.height_mm))
            if line.upright
            else Crease((0.0, line.at_mm), (surface.width_mm, line.at_mm))
        )
    return replace(surface, bends=tuple(bends), creases=tuple(creases))
