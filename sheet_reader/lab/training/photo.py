"""Ink on paper, photographed: light, paper, print and pen, then blur, JPEG, noise."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

from sheet_reader.digits.normalise import CROP_PX
from sheet_reader.lab.training.ink import pixel_grid
from sheet_reader.lab.training.random_source import RandomSource

_LUMINANCE = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)
"""Quantisation table for luminance, ITU-T T.81 (JPEG), table K.1."""


def paper(count: int, rng: RandomSource) -> Tensor:
    """Bare paper as the camera sees it, (B, 64, 64), 0..1: level, gradient, unevenness, shadow."""
    level = torch.where(rng.chance(0.6, count) > 0, rng.uniform(0.78, 1.0, count),
                        rng.uniform(0.28, 0.95, count))  # fmt: skip
    place = pixel_grid(rng.device) / CROP_PX - 0.5
    slope = rng.normal(0.10, count, 1, 1, 2) * rng.chance(0.6, count, 1, 1, 1)
    light = 1.0 + (place[None] * slope).sum(-1)
    coarse = rng.normal(0.02, count, 1, 5, 5)
    uneven = functional.interpolate(coarse, CROP_PX, mode="bicubic", align_corners=False)[:, 0]
    shade = _shadow(count, place, rng)
    return level[:, None, None] * light * (1.0 + uneven) * shade


def _shadow(count: int, place: Tensor, rng: RandomSource) -> Tensor:
    """A shadow's edge across some of the crops; factors 0.4..1."""
    angle = rng.uniform(0.0, 2 * math.pi, count, 1, 1)
    across = place[None, ..., 0] * angle.cos() + place[None, ..., 1] * angle.sin()
    soft = rng.spread(0.06, 0.9, 0.012, 0.6, count, 1, 1)
    edge = torch.sigmoid((across - rng.uniform(-0.45, 0.45, count, 1, 1)) / soft)
    depth = rng.uniform(0.1, 0.6, count, 1, 1) * rng.chance(0.14, count, 1, 1)
    return 1.0 - depth * edge


def specks(count: int, rng: RandomSource, number: int = 2) -> Tensor:
    """Dust, dots of toner and pale smudges, ink (B, 64, 64)."""
    pixels = pixel_grid(rng.device)
    out = torch.zeros(count, CROP_PX, CROP_PX, device=rng.device)
    for _ in range(number):
        place = rng.uniform(0.0, CROP_PX, count, 1, 1, 2)
        distance = (pixels[None] - place).square().sum(-1).sqrt()
        radius = rng.uniform(0.3, 1.3, count, 1, 1)
        dark = rng.uniform(0.1, 0.9, count, 1, 1) * rng.chance(0.2, count, 1, 1)
        out = torch.maximum(out, dark * (radius - distance + 0.5).clamp(0.0, 1.0))
    place = rng.uniform(0.0, CROP_PX, count, 1, 1, 2)
    distance = ((pixels[None] - place) * rng.uniform(0.5, 1.5, count, 1, 1, 2)).square().sum(-1)
    size = rng.uniform(3.0, 14.0, count, 1, 1)
    smudge = rng.uniform(0.02, 0.14, count, 1, 1) * rng.chance(0.08, count, 1, 1)
    return torch.maximum(out, smudge * torch.exp(-0.5 * distance / size.square()))


def grain(ink: Tensor, amount: Tensor, rng: RandomSource) -> Tensor:
    """Ink (B, 64, 64) with paper showing through by ``amount`` (B,) 0..1, as under a pencil."""
    noise = rng.normal(1.0, *ink.shape)
    rough = functional.avg_pool2d(noise[:, None], 2, 1, 0)
    rough = functional.pad(rough, (0, 1, 0, 1), mode="replicate")[:, 0]
    return ink * (1.0 - amount[:, None, None] * (0.5 + rough).clamp(0.0, 1.0))


def blur(image: Tensor, sigma: Tensor) -> Tensor:
    """Gaussian blur of (B, 64, 64) by ``sigma`` (B, 2) px in x and y, edges renormalised."""
    axis = torch.arange(CROP_PX, device=image.device, dtype=torch.float32)
    square = (axis[:, None] - axis[None, :]).square()[None]
    kernels = []
    for k in (0, 1):
        kernel = torch.exp(-0.5 * square / sigma[:, k, None, None].square().clamp_min(1e-3))
        kernels.append(kernel / kernel.sum(-1, keepdim=True))
    return kernels[1] @ image @ kernels[0].transpose(1, 2)


def jpeg(image: Tensor, strength: Tensor, shift: tuple[int, int]) -> Tensor:
    """What JPEG leaves of (B, 64, 64), 0..1; ``strength`` (B,) scales table K.1 (1 is quality 50),
    0 leaves the image as it is; ``shift`` is where the 8 × 8 blocks begin.
    """
    axis = torch.arange(8, device=image.device, dtype=torch.float32)
    basis = torch.cos(math.pi * (2 * axis[None, :] + 1) * axis[:, None] / 16) * 0.5
    basis[0] = math.sqrt(1 / 8)
    table = torch.tensor(_LUMINANCE, device=image.device, dtype=torch.float32) / 255.0
    moved = image.roll(shift, dims=(1, 2))
    blocks = moved.reshape(-1, 8, 8, 8, 8).permute(0, 1, 3, 2, 4)
    waves = basis @ blocks @ basis.T
    step = table * strength.clamp_min(1e-3)[:, None, None, None, None]
    kept = basis.T @ (torch.round(waves / step) * step) @ basis
    back = kept.permute(0, 1, 3, 2, 4).reshape(image.shape).roll((-shift[0], -shift[1]), (1, 2))
    return torch.where(strength[:, None, None] > 0, back, image)


def photograph(scene: Tensor, mild: Tensor, rng: RandomSource) -> Tensor:
    """A scene (B, 64, 64), 0..1, as the camera hands it over: whole grey values 0..255, float.
    Where ``mild`` (B,) is 1 the camera did well.
    """
    count = len(scene)
    harsh = 1.0 - mild
    sigma = rng.spread(0.75, 0.45, 0.25, 2.3, count, 1) * rng.spread(1.0, 0.2, 0.5, 2.0, count, 2)
    sigma = torch.where(mild[:, None] > 0, sigma.clamp(max=0.9), sigma)
    seen = blur(scene, sigma)
    strength = rng.spread(0.4, 0.8, 0.05, 2.5, count) * rng.chance(0.4, count)
    strength = strength * (0.3 + 0.7 * harsh)
    seen = jpeg(seen, strength, (int(rng.index(8, 1)), int(rng.index(8, 1))))
    noise = rng.spread(0.008, 0.8, 0.0, 0.05, count, 1, 1) * (0.4 + 0.6 * harsh)[:, None, None]
    fine, coarse = rng.normal(1.0, *seen.shape), rng.normal(1.0, *seen.shape)
    coarse = 2.0 * functional.avg_pool2d(coarse[:, None], 3, 1, 1)[:, 0]
    seen = seen + noise * torch.where(rng.chance(0.5, count, 1, 1) > 0, fine, coarse)
    return torch.round(seen.clamp(0.0, 1.0) * 255.0)


def rescan(ink: Tensor, cells: int, threshold: Tensor, hard: Tensor) -> Tensor:
    """Ink (B, 64, 64) as a coarse scanner keeps it: ``cells`` samples across, made black and white
    at ``threshold`` (B,) where ``hard`` (B,) is 1.
    """
    small = functional.interpolate(ink[:, None], cells, mode="area")
    sharp = ((small - threshold[:, None, None, None]) * 8.0 + 0.5).clamp(0.0, 1.0)
    small = torch.where(hard[:, None, None, None] > 0, sharp, small)
    return functional.interpolate(small, CROP_PX, mode="bilinear", align_corners=False)[:, 0]
