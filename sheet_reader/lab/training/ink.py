"""Draws ink on many crops at once: pen strokes by their distance to each pixel, and bitmaps.

All in pixels of the 64 × 64 crop; tensors on any device.
"""

from __future__ import annotations

from collections.abc import Callable

import torch
from torch import Tensor
from torch.nn import functional

from sheet_reader.digits.normalise import CROP_PX
from sheet_reader.numbers import LAB

_CPU_PART = LAB.cpu_part


def pixel_grid(device: torch.device) -> Tensor:
    """(64, 64, 2): x and y of each pixel's middle."""
    axis = torch.arange(CROP_PX, device=device, dtype=torch.float32) + 0.5
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    return torch.stack([x, y], dim=-1)


def _ink(start: Tensor, end: Tensor, radius: Tensor, level: Tensor, stretch: Tensor) -> Tensor:
    """Largest ink over the spans, (B, 64, 64).

    ``start``, ``end`` (B, S, 2) px; ``radius`` and ``level`` (B, S); ``stretch`` (B, 2): the paper
    was stretched by this much after writing, so lines are wider in one direction.
    """
    pixels = pixel_grid(start.device)
    px = pixels[None, None, :, :, 0] / stretch[:, 0, None, None, None]
    py = pixels[None, None, :, :, 1] / stretch[:, 1, None, None, None]
    ax, ay = start[..., 0] / stretch[:, :1], start[..., 1] / stretch[:, 1:]
    bx, by = end[..., 0] / stretch[:, :1], end[..., 1] / stretch[:, 1:]
    dx, dy = bx - ax, by - ay
    length = (dx * dx + dy * dy).clamp_min(1e-6)
    ex, ey = px - ax[:, :, None, None], py - ay[:, :, None, None]
    share = (ex * dx[:, :, None, None] + ey * dy[:, :, None, None]) / length[:, :, None, None]
    share = share.clamp(0.0, 1.0)
    fx, fy = ex - share * dx[:, :, None, None], ey - share * dy[:, :, None, None]
    distance = (fx * fx + fy * fy).sqrt()
    cover = (radius[:, :, None, None] - distance + 0.5).clamp(0.0, 1.0)
    return (cover * level[:, :, None, None]).amax(dim=1)


def _dashes(start: Tensor, end: Tensor, radius: Tensor, level: Tensor, dash: Tensor) -> Tensor:
    """As ``_ink`` for frame lines that may be dotted. ``dash`` (B, S, 4): period px (0: solid),
    share of it that is drawn, phase 0..1, and the length px that is solid at both ends.
    """
    pixels = pixel_grid(start.device)
    direction = end - start
    length = direction.square().sum(-1).clamp_min(1e-6).sqrt()
    ex = pixels[None, None, :, :, 0] - start[:, :, 0, None, None]
    ey = pixels[None, None, :, :, 1] - start[:, :, 1, None, None]
    ux = (direction[..., 0] / length)[:, :, None, None]
    uy = (direction[..., 1] / length)[:, :, None, None]
    along, across = ex * ux + ey * uy, (ex * uy - ey * ux).abs()
    whole = length[:, :, None, None]
    outside = torch.maximum(-along, along - whole).clamp_min(0.0)
    cover = (radius[:, :, None, None] - torch.maximum(across, outside) + 0.5).clamp(0.0, 1.0)
    period = dash[..., 0, None, None].clamp_min(1e-3)
    place = (along / period + dash[..., 2, None, None]) % 1.0
    half = 0.5 * dash[..., 1, None, None]
    dotted = ((half - (place - 0.5).abs()) * period + 0.5).clamp(0.0, 1.0)
    solid_end = torch.minimum(along, whole - along) < dash[..., 3, None, None]
    solid = (dash[..., 0, None, None] <= 0.0) | solid_end
    return (cover * torch.where(solid, torch.ones_like(dotted), dotted)
            * level[:, :, None, None]).amax(dim=1)  # fmt: skip


class Painter:
    """The two drawing functions. ``compiled`` makes them ten times as fast after half a minute (on
    a processor it needs a C++ compiler); otherwise they work in small parts.
    """

    def __init__(self, device: torch.device, compiled: bool = False) -> None:
        self.device, self._compiled = device, compiled
        self._ink: Callable[..., Tensor] = _ink
        self._dashes: Callable[..., Tensor] = _dashes
        if compiled:
            self._ink = torch.compile(_ink, dynamic=False)
            self._dashes = torch.compile(_dashes, dynamic=False)

    def strokes(
        self, points: Tensor, down: Tensor, radius: Tensor, level: Tensor, stretch: Tensor
    ) -> Tensor:
        """Ink (B, 64, 64) of strokes: ``points`` (B, P, 2) px, ``down`` bool (B, P-1), ``radius``
        (B, P-1) px before the stretch (B, 2), ``level`` (B, P-1) 0..1.
        """
        drawn = level * down
        return self._parts(self._ink, points[:, :-1], points[:, 1:], radius, drawn, stretch)

    def frames(
        self, start: Tensor, end: Tensor, radius: Tensor, level: Tensor, dash: Tensor
    ) -> Tensor:
        """Ink (B, 64, 64) of printed lines; see ``_dashes``."""
        return self._parts(self._dashes, start, end, radius, level, dash)

    def _parts(self, draw: Callable[..., Tensor], *arguments: Tensor) -> Tensor:
        if self._compiled:
            return draw(*[a.contiguous() for a in arguments])
        cut = zip(*[torch.split(a, _CPU_PART) for a in arguments], strict=True)
        return torch.cat([draw(*part) for part in cut])


def bitmaps(images: Tensor, boxes: Tensor, warp: Tensor, edge: Tensor) -> Tensor:
    """Ink (B, 64, 64) of digit images (B, H, H), 0..1, ink bright.

    ``boxes`` (B, 4): middle x, y, width and height of where the ink goes, px, the images being cut
    to their ink; ``warp`` (B, 64, 64, 2) px is added to where each pixel looks; ``edge`` (B, 2):
    the grey at which ink begins and the width of its edge.
    """
    pixels = pixel_grid(images.device)[None] + warp
    grid = (pixels - boxes[:, None, None, :2]) / (0.5 * boxes[:, None, None, 2:])
    seen = functional.grid_sample(images[:, None], grid, mode="bicubic", align_corners=False)[:, 0]
    return ((seen - edge[:, :1, None]) / edge[:, 1:, None] + 0.5).clamp(0.0, 1.0)
