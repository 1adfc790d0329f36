"""Ink of bitmap digits, placed, slanted and bent; and strokes as a coarse scanner keeps them."""

from __future__ import annotations

import torch
from torch import Tensor

from sheet_reader.lab.training import photo
from sheet_reader.lab.training.frames import Boxes
from sheet_reader.lab.training.ink import bitmaps, pixel_grid
from sheet_reader.lab.training.random_source import RandomSource
from sheet_reader.lab.training.sources import BITMAP_PX, Bitmaps
from sheet_reader.numbers import LAB

_LARGEST_PX = LAB.largest_bitmap_px


def bitmap_digits(
    pool: Bitmaps, boxes: Boxes, share: Tensor, rng: RandomSource
) -> tuple[Tensor, Tensor]:
    """Ink (B, 64, 64) and labels (B,) of digits drawn from ``pool``; ``share`` (B,) is their
    height as a share of the box's. One in ten is stretched to a square.
    """
    count = len(boxes.family)
    if not count:
        return torch.zeros(0, 64, 64, device=rng.device), pool.labels[:0]
    which = rng.index(len(pool.labels), count)
    height = boxes.size[:, 1] * share
    own = pool.aspect[which] * boxes.stretch[:, 0] * rng.spread(1.0, 0.1, 0.7, 1.4, count)
    square = rng.chance(0.1, count)
    aspect = torch.where(square > 0, rng.uniform(0.7, 1.1, count), own)
    size = torch.stack([height * aspect, height], -1)
    size = size * (_LARGEST_PX / size.amax(dim=1, keepdim=True)).clamp(max=1.0)
    free = (boxes.size - size).clamp_min(0.0) / 2
    centre = boxes.middle + free * rng.uniform(-0.6, 0.6, count, 2) + rng.normal(1.6, count, 2)
    edge = torch.stack([rng.uniform(0.25, 0.65, count), rng.uniform(0.35, 1.2, count)], -1)
    placed = torch.cat([centre, size * (BITMAP_PX / (BITMAP_PX - 2))], -1)
    warp = _warp(centre, height, rng)
    return bitmaps(pool.images[which], placed, warp, edge), pool.labels[which]


def _warp(centre: Tensor, height: Tensor, rng: RandomSource) -> Tensor:
    """Slant, turn and slow bends of bitmaps, (B, 64, 64, 2) px."""
    count = len(centre)
    off = pixel_grid(rng.device)[None] - centre[:, None, None, :]
    slant, turn = rng.normal(0.12, count, 1, 1), rng.normal(0.07, count, 1, 1)
    warp = torch.stack([(slant - turn) * off[..., 1], turn * off[..., 0]], -1)
    unit = off.flip(-1) / height[:, None, None, None]
    for frequency in (3.1, 6.3):
        phase = rng.uniform(0.0, 6.3, count, 1, 1, 2)
        size = rng.normal(0.018, count, 1, 1, 2) * height[:, None, None, None]
        warp = warp + size * (frequency * unit + phase).sin()
    return warp


def coarsened(ink: Tensor, rng: RandomSource) -> Tensor:
    """Three in sixteen digits as a coarse scanner keeps them."""
    share = len(ink) // 16
    if not share:
        return ink
    rows = torch.arange(3 * share, device=rng.device) * (len(ink) // (3 * share))
    out = ink.clone()
    for part, cells in enumerate((22, 28, 36)):
        some = rows[part * share : (part + 1) * share]
        threshold, hard = rng.uniform(0.3, 0.6, share), rng.chance(0.6, share)
        out[some] = photo.rescan(ink[some], cells, threshold, hard)
    return out
