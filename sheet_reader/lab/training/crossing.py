"""Crosses over digits: a wrong digit crossed out from corner to corner, still legible."""

from __future__ import annotations

import torch
from torch import Tensor

from sheet_reader.lab.training.frames import Boxes
from sheet_reader.lab.training.placing import Jot, Placer
from sheet_reader.numbers import LAB

SINGLE = LAB.single_cross
JOINED = LAB.joined_cross
_OVER_BOX = LAB.cross_over_box
_SAME_PEN = LAB.cross_same_pen
_CORNERS = (((-1.0, -1.0), (1.0, 1.0)), ((1.0, -1.0), (-1.0, 1.0)))


def cross_out(boxes: Boxes, digit: Jot, placer: Placer) -> Jot:
    """A cross over each ``digit``, from corner to corner of the box or of the digit, as a hand does
    it: now short of the corners, now beyond the frame, mostly with the digit's pen.

    One stroke through a 0 always goes from corner to corner of the box: a shorter one may be the
    slash of a slashed 0.
    """
    rng, count = placer.rng, len(digit.labels)
    single = rng.chance(SINGLE, count) > 0
    slash = single & (digit.labels == 0)
    over_box = (rng.chance(_OVER_BOX, count) > 0) | slash
    reach = rng.uniform(0.68, 1.15, count, 1) * rng.spread(1.0, 0.06, 0.85, 1.15, count, 2)
    reach = torch.where(slash[:, None], rng.uniform(0.95, 1.15, count, 1).expand(-1, 2), reach)
    low, high = digit.points.amin(dim=1), digit.points.amax(dim=1)
    about = 0.5 * (high - low) * rng.uniform(1.0, 1.4, count, 1) + 2.0
    about = torch.maximum(about, 0.3 * boxes.size)
    half = torch.where(over_box[:, None], 0.5 * boxes.size * reach, about)
    middle = torch.where(over_box[:, None], boxes.middle, 0.5 * (low + high))
    middle = middle + rng.normal(1.2, count, 2)
    lines = _lines(single, digit.points.shape[1], placer)
    points = middle[:, None, :] + lines * half[:, None, :]
    down = torch.ones_like(digit.down)
    lift = down.shape[1] // 2
    down[:, lift] = single | (rng.chance(JOINED, count) > 0)
    jot = placer.pen(points, down, digit.labels, digit.stretch)
    same = rng.chance(_SAME_PEN, count, 1) > 0
    own = jot.radius.mean(dim=1, keepdim=True)
    alike = digit.radius.mean(dim=1, keepdim=True) * rng.uniform(0.85, 1.2, count, 1)
    radius = jot.radius * torch.where(same, alike / own, torch.ones_like(own))
    return Jot(points, down, radius.clamp_min(0.4), jot.level, jot.stretch, jot.labels)


def _lines(single: Tensor, length: int, placer: Placer) -> Tensor:
    """Two lines, or one where ``single`` (B,), about the origin with their ends near ±1:
    (B, ``length``, 2).
    """
    rng, count = placer.rng, len(single)
    corners = torch.tensor(_CORNERS, device=rng.device).expand(count, 2, 2, 2)
    ends = corners + rng.normal(0.09, count, 2, 2, 2)
    bend = rng.normal(0.07, count, 2, 1, 2)
    swapped = rng.chance(0.5, count, 1, 1, 1) > 0
    ends = torch.where(swapped, ends.flip(1), ends)
    first = torch.linspace(0.0, 1.0, length // 2, device=rng.device)
    two = _drawn(ends, bend, first).flatten(1, 2)
    one = _drawn(ends, bend, torch.linspace(0.0, 1.0, length, device=rng.device))[:, 0]
    return torch.where(single[:, None, None], one, two)


def _drawn(ends: Tensor, bend: Tensor, t: Tensor) -> Tensor:
    """Lines (B, 2, T, 2) between ``ends`` (B, 2, 2, 2), bent by ``bend`` (B, 2, 1, 2) midway."""
    share = t[None, None, :, None]
    straight = ends[:, :, :1] * (1.0 - share) + ends[:, :, 1:] * share
    return straight + 4.0 * share * (1.0 - share) * bend
