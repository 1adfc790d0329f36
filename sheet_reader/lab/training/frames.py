"""Printed boxes: where the box stands in the crop and what its frame looks like.

Families: the sheets' own frame (fine dots and thin corner marks), plain boxes, grids of adjoining
boxes with thick and thin lines, partial frames (combs, corner marks, grey dots), and none.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from sheet_reader.digits.normalise import CROP_PX
from sheet_reader.lab.training.random_source import RandomSource
from sheet_reader.numbers import LAB

OWN, PLAIN, GRID, PARTIAL, NONE = range(5)
_SHARES = LAB.frame_shares
OWN_STRETCH = LAB.own_stretch
_OWN_BOX = LAB.crop_frame_px
LINES = 8


@dataclass(frozen=True, slots=True)
class Boxes:
    """``family`` int64 (B,); ``corners`` (B, 4, 2) px clockwise from top left; ``stretch`` (B, 2)
    how the crop stretches what was written.
    """

    family: Tensor
    corners: Tensor
    stretch: Tensor

    @property
    def middle(self) -> Tensor:
        """(B, 2) px."""
        return self.corners.mean(dim=1)

    @property
    def size(self) -> Tensor:
        """(B, 2): width and height, px."""
        return self.corners[:, 2] - self.corners[:, 0]


@dataclass(frozen=True, slots=True)
class Lines:
    """Frame lines as ``Painter.frames`` takes them."""

    start: Tensor
    end: Tensor
    radius: Tensor
    level: Tensor
    dash: Tensor


def random_boxes(count: int, rng: RandomSource) -> Boxes:
    """``count`` boxes of all families."""
    edges = torch.tensor(_SHARES, device=rng.device).cumsum(0)
    family = torch.bucketize(rng.uniform(0.0, 0.9999, count), edges)
    own = (family == OWN)[:, None]
    inset = rng.uniform(2.0, 10.0, count, 1) + rng.uniform(0.0, 4.0, count, 4)
    loose = torch.cat([inset[:, :2], CROP_PX - inset[:, 2:]], dim=1)
    ours = torch.tensor(_OWN_BOX, device=rng.device).expand(count, 4)
    box = torch.where(own, ours + rng.normal(0.5, count, 4), loose)
    shift = rng.normal(1.6, count, 1, 2).clamp(-4.0, 4.0) * own[:, :, None]
    corners = torch.stack([box[:, [0, 1]], box[:, [2, 1]], box[:, [2, 3]], box[:, [0, 3]]], dim=1)
    crooked = (1.0 + 2.5 * rng.chance(0.15, count, 1)) * ~own + 1.0 * own
    turn = rng.normal(0.02, count, 1) * crooked
    offset = corners - CROP_PX / 2
    turned = torch.stack(
        [offset[..., 0] - turn * offset[..., 1], offset[..., 1] + turn * offset[..., 0]], dim=-1
    )
    corners = turned + CROP_PX / 2 + shift + rng.normal(0.5, count, 4, 2)
    wide = torch.where(own[:, 0], OWN_STRETCH * rng.spread(1.0, 0.04, 0.9, 1.1, count),
                       rng.spread(1.03, 0.15, 0.7, 1.45, count))  # fmt: skip
    return Boxes(family, corners, torch.stack([wide, torch.ones_like(wide)], dim=1))


def frame_lines(boxes: Boxes, rng: RandomSource) -> Lines:
    """Eight lines for each box: its four edges and the nearest edge of each neighbour."""
    count = len(boxes.family)
    family = boxes.family[:, None]
    start = boxes.corners
    end = boxes.corners.roll(-1, dims=1)
    outward = torch.tensor([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]], device=rng.device)
    gap = rng.uniform(3.5, 15.0, count, 1, 1)
    start = torch.cat([start, start + gap * outward], dim=1)
    end = torch.cat([end, end + gap * outward], dim=1)
    reach = (family == GRID)[:, :, None] * rng.uniform(2.0, 20.0, count, 1, 1)
    along = torch.nn.functional.normalize(end - start, dim=-1)
    start, end = start - reach * along, end + reach * along
    radius = _radius(family, count, rng)
    dark = rng.uniform(0.15, 1.0, count, 1)
    dark = torch.where(family == OWN, rng.uniform(0.35, 1.0, count, 1), dark)
    level = dark * rng.uniform(0.8, 1.0, count, LINES) * _present(family, count, rng)
    return Lines(start, end, radius, level, _pattern(family, count, rng))


def _radius(family: Tensor, count: int, rng: RandomSource) -> Tensor:
    base = rng.spread(0.65, 0.4, 0.2, 1.8, count, 1)
    thick = rng.chance(0.2, count, LINES) * rng.uniform(0.3, 2.0, count, LINES)
    return base + thick * ((family == GRID) | (family == PLAIN))


def _present(family: Tensor, count: int, rng: RandomSource) -> Tensor:
    """Which of the lines are printed, 1.0 or 0.0."""
    edges = torch.ones(count, 4, device=rng.device)
    partial = rng.chance(0.6, count, 4)
    edges = torch.where(family == PARTIAL, partial, edges)
    near = rng.chance(0.35, count, 1) * rng.chance(0.7, count, 4) * (family != NONE)
    return torch.cat([edges * (family != NONE), near], dim=1)


def _pattern(family: Tensor, count: int, rng: RandomSource) -> Tensor:
    """(B, 8, 4): period, drawn share, phase, solid length at the ends."""
    dotted = (family == OWN) | ((family == PARTIAL) & (rng.chance(0.6, count, 1) > 0))
    period = rng.uniform(1.8, 6.5, count, 1) * dotted
    share = rng.uniform(0.25, 0.65, count, 1)
    ends = rng.uniform(3.0, 13.0, count, 1) * rng.chance(0.8, count, 1)
    only_corners = (family == PARTIAL) & (rng.chance(0.3, count, 1) > 0)
    period = torch.where(only_corners, torch.full_like(period, 500.0), period)
    share = torch.where(only_corners, torch.zeros_like(share), share)
    values = [v.expand(count, LINES) for v in (period, share)]
    phase = rng.uniform(0.0, 1.0, count, LINES)
    return torch.stack([*values, phase, ends.expand(count, LINES)], dim=-1)
