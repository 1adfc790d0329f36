"""Makes training batches: crops as the reader sees them, of every class, from all sources."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from sheet_reader.digits.training import frames, photo
from sheet_reader.digits.training.dice import Dice
from sheet_reader.digits.training.frames import Boxes
from sheet_reader.digits.training.ink import Painter, bitmaps, pixel_grid
from sheet_reader.digits.training.sources import Sources
from sheet_reader.digits.types import CLASSES, EMPTY, OTHER, SEVERAL, STRUCK

_EMPTY, _STRUCK, _SEVERAL, _OTHER = (CLASSES.index(c) for c in (EMPTY, STRUCK, SEVERAL, OTHER))
SIDE = 3
"""At most this many digits stand side by side in one box."""


@dataclass(frozen=True, slots=True)
class Mix:
    """How many of each kind a batch holds."""

    written: int = 1152
    bitmaps: int = 352
    empty: int = 136
    struck: int = 120
    several: int = 144
    other: int = 144

    @property
    def total(self) -> int:
        """The batch's size."""
        return self.written + self.bitmaps + self.empty + self.struck + self.several + self.other

    def scaled(self, share: float) -> Mix:
        """The same mix for a batch of another size."""
        counts = (self.written, self.bitmaps, self.empty, self.struck, self.several, self.other)
        return Mix(*(max(1, round(n * share)) if n else 0 for n in counts))


@dataclass(frozen=True, slots=True)
class Jot:
    """Strokes placed on crops, as ``Painter.strokes`` takes them, with their labels."""

    points: Tensor
    down: Tensor
    radius: Tensor
    level: Tensor
    stretch: Tensor
    labels: Tensor


class Batches:
    """An endless stream of batches; the same seed, device and sources give the same stream."""

    def __init__(self, sources: Sources, mix: Mix, seed: int, device: torch.device) -> None:
        has_bitmaps = len(sources.bitmaps.labels) > 0
        if not has_bitmaps:
            mix = Mix(mix.written + mix.bitmaps, 0, mix.empty, mix.struck, mix.several, mix.other)
        self.sources, self.mix, self.device = sources, mix, device
        self.dice = Dice(seed, device)
        self.painter = Painter(device)

    @torch.no_grad()
    def next(self) -> tuple[Tensor, Tensor]:
        """Crops (B, 64, 64), grey values 0..255 as float32, and labels (B,), places in CLASSES."""
        mix, dice = self.mix, self.dice
        boxes = frames.random_boxes(mix.total, dice)
        ink, labels = self._ink(boxes)
        frame = self.painter.frames(**_fields(frames.frame_lines(boxes, dice)))
        crops = self._compose(ink, frame)
        several = slice(mix.total - mix.other - mix.several, mix.total - mix.other)
        share = round(0.25 * mix.several)
        if share and len(self.sources.candidates):
            start = several.start
            crops[start : start + share] = self._photographed(self.sources.candidates, share)
        return photo.photograph(crops, dice), labels

    def _ink(self, boxes: Boxes) -> tuple[Tensor, Tensor]:
        """All handwriting of the batch, (B, 64, 64), and the labels."""
        mix, dice = self.mix, self.dice
        cut = _cuts(mix)
        parts = [
            self._digit(_part(boxes, cut["written"])),
            self._digit(_part(boxes, cut["struck"])),
            self._scribble(_part(boxes, cut["struck"])),
            *self._side_by_side(_part(boxes, cut["several"])),
            self._sign(_part(boxes, cut["other"])),
        ]
        rows = torch.arange(0, mix.total, 4, device=self.device)
        neighbours = self._neighbour(_part(boxes, rows))
        drawn = self._draw([*parts, neighbours])
        written, base, scribble, *side, other, near = drawn
        bits, bit_labels = self._bitmaps(_part(boxes, cut["bitmaps"]))
        bare = torch.zeros(mix.empty, *written.shape[1:], device=self.device)
        kept = dice.chance(0.88, mix.struck, 1, 1)
        struck = torch.maximum(base * kept, scribble)
        several = torch.stack(side).amax(dim=0)
        digits = torch.cat([written, bits])
        ink = torch.cat([self._coarse(digits), bare, struck, several, other])
        names = [(_EMPTY, mix.empty), (_STRUCK, mix.struck), (_SEVERAL, mix.several)]
        names.append((_OTHER, mix.other))
        fixed = [torch.full((n,), k, device=self.device) for k, n in names]
        labels = torch.cat([parts[0].labels, bit_labels, *fixed])
        ink[rows] = torch.maximum(ink[rows], near)
        return ink, labels

    def _draw(self, jots: list[Jot]) -> list[Tensor]:
        joined = [torch.cat([getattr(j, f) for j in jots]) for f in Jot.__slots__[:-1]]
        return list(self.painter.strokes(*joined).split([len(j.labels) for j in jots]))

    def _pick(self, count: int) -> tuple[Tensor, Tensor, Tensor]:
        """Points, pen-down and labels of ``count`` digits from all stroke pools."""
        shares = torch.tensor([share for _, share in self.sources.digits], device=self.device)
        bounds = (shares / shares.sum()).cumsum(0)
        source = torch.bucketize(self.dice.uniform(0.0, 0.9999, count), bounds)
        taken = []
        for pool, _ in self.sources.digits:
            which = self.dice.index(len(pool), count)
            taken.append((pool.points[which], pool.down[which], pool.labels[which]))
        rows = torch.arange(count, device=self.device)
        points, down, labels = (torch.stack(t)[source, rows] for t in zip(*taken, strict=True))
        return points, down, labels

    def _digit(self, boxes: Boxes) -> Jot:
        count, dice = len(boxes.family), self.dice
        points, down, labels = self._pick(count)
        points = self._vary(points)
        height = boxes.size[:, 1] * self._height(count)
        square = dice.chance(0.08, count)
        stretch = self._square(points, boxes.stretch, square)
        placed = self._place(points, boxes, height, stretch)
        return self._jot(placed, down, labels, stretch)

    def _height(self, count: int) -> Tensor:
        """A digit's height as a share of the box's."""
        usual = self.dice.normal(0.13, count) + 0.72
        wide = self.dice.uniform(0.40, 1.12, count)
        return torch.where(self.dice.chance(0.4, count) > 0, wide, usual).clamp(0.40, 1.12)

    def _square(self, points: Tensor, stretch: Tensor, square: Tensor) -> Tensor:
        """The crop's stretch; where ``square`` is 1 so that the digit fills a square."""
        extent = points.amax(dim=1) - points.amin(dim=1)
        wanted = (1.0 + 0.07) / (extent[:, 0] + 0.07)
        wanted = wanted.clamp(0.6, 6.0) ** self.dice.uniform(0.7, 1.05, len(points))
        x = torch.where(square > 0, wanted, stretch[:, 0])
        return torch.stack([x, stretch[:, 1]], dim=1)

    def _vary(self, points: Tensor) -> Tensor:
        """Shakes, bends, slants, widens and turns strokes (B, P, 2) about their middle."""
        count, dice = len(points), self.dice
        shake = dice.slow(1.0, 4, count, 2, points.shape[1]).transpose(1, 2)
        points = points + shake * dice.uniform(0.0, 0.022, count, 1, 1)
        across = points.flip(-1)
        for frequency in (3.1, 6.3):
            phase = dice.uniform(0.0, 6.3, count, 1, 2)
            points = points + dice.normal(0.02, count, 1, 2) * (frequency * across + phase).sin()
        slant, turn = dice.normal(0.12, count), dice.normal(0.07, count)
        wide = dice.spread(1.0, 0.15, 0.6, 1.6, count)
        one, cos, sin = torch.ones_like(slant), turn.cos(), turn.sin()
        lean = torch.stack([torch.stack([wide, -slant], -1), torch.stack([0 * one, one], -1)], -2)
        spin = torch.stack([torch.stack([cos, -sin], -1), torch.stack([sin, cos], -1)], -2)
        points = points @ (spin @ lean).transpose(1, 2)
        return points - (points.amax(dim=1, keepdim=True) + points.amin(dim=1, keepdim=True)) / 2

    def _place(self, points: Tensor, boxes: Boxes, height: Tensor, stretch: Tensor) -> Tensor:
        """Strokes of height 1 to pixels of the crop."""
        count, dice = len(points), self.dice
        scaled = points * height[:, None, None] * stretch[:, None, :]
        extent = scaled.amax(dim=1) - scaled.amin(dim=1)
        fit = (66.0 / extent.amax(dim=1).clamp_min(1.0)).clamp(max=1.0)
        free = (boxes.size - extent * fit[:, None]).clamp_min(0.0) / 2
        loose = torch.where(dice.chance(0.3, count, 1) > 0, dice.uniform(-1.0, 1.0, count, 2),
                            dice.uniform(-0.4, 0.4, count, 2))  # fmt: skip
        centre = boxes.middle + free * loose + dice.normal(1.6, count, 2)
        return scaled * fit[:, None, None] + centre[:, None, :]

    def _jot(self, points: Tensor, down: Tensor, labels: Tensor, stretch: Tensor) -> Jot:
        """Gives strokes in pixels a pen: its radius, pressure and skips."""
        count, spans = down.shape
        dice = self.dice
        radius = dice.spread(1.45, 0.36, 0.65, 4.2, count, 1)
        pressure = 1.0 + dice.uniform(0.0, 0.14, count, 1) * dice.slow(1.0, 5, count, spans)
        fading = dice.uniform(0.0, 1.0, count, 1) * dice.chance(0.35, count, 1)
        level = (1.0 - (dice.slow(1.0, 3, count, spans) - 2.2 + 2.2 * fading).clamp_min(0.0)).clamp(
            0.0, 1.0
        )
        return Jot(points, down, (radius * pressure).clamp_min(0.4), level, stretch, labels)

    def _scribble(self, boxes: Boxes) -> Jot:
        count, dice = len(boxes.family), self.dice
        pool = self.sources.scribbles
        which = dice.index(len(pool), count)
        extent = boxes.size[:, None, :] * dice.uniform(0.6, 1.1, count, 1, 1)
        shift = dice.normal(2.0, count, 1, 2)
        points = pool.points[which] * extent + boxes.middle[:, None, :] + shift
        jot = self._jot(points, pool.down[which], pool.labels[which], boxes.stretch)
        radius = jot.radius * dice.uniform(0.8, 2.0, count, 1)
        filled = dice.chance(0.15, count, 1)
        line = torch.linspace(-0.3, 0.3, points.shape[1], device=self.device)
        bar = boxes.middle[:, None, :] + torch.stack([0 * line, line], -1) * boxes.size[:, None, :]
        points = torch.where(filled[:, :, None] > 0, bar + shift, points)
        radius = torch.where(filled > 0, dice.uniform(11.0, 26.0, count, 1), radius)
        down = jot.down | (filled > 0)
        level = torch.where(filled > 0, torch.ones_like(jot.level), jot.level)
        return Jot(points, down, radius, level, boxes.stretch, jot.labels)

    def _side_by_side(self, boxes: Boxes) -> list[Jot]:
        """Two or three digits in one box; a third is mostly absent."""
        count, dice = len(boxes.family), self.dice
        number = 2.0 + dice.chance(0.3, count)
        total = boxes.size[:, 0] * dice.uniform(0.5, 1.05, count)
        height = boxes.size[:, 1] * dice.uniform(0.3, 0.95, count)
        free = (boxes.size - torch.stack([total, height], -1)).clamp_min(0.0) / 2
        middle = boxes.middle + free * dice.uniform(-1.0, 1.0, count, 2)
        jots = []
        for k in range(SIDE):
            points, down, labels = self._pick(count)
            points = self._vary(points)
            extent = points.amax(dim=1) - points.amin(dim=1)
            room = 0.92 * total / number
            wide = extent[:, 0] * height * boxes.stretch[:, 0]
            squeeze = (room / wide.clamp_min(1.0)).clamp(max=1.0)
            tall = height * squeeze.clamp_min(0.5) ** 0.5 * dice.uniform(0.85, 1.1, count)
            x = boxes.stretch[:, 0] * height * squeeze
            place = middle[:, 0] + ((k + 0.5) / number - 0.5) * total
            centre = torch.stack([place, middle[:, 1] + dice.normal(1.0, count)], -1)
            scaled = points * torch.stack([x, tall], -1)[:, None, :] + centre[:, None, :]
            there = (k < number).float()[:, None]
            jot = self._jot(scaled, down, labels, boxes.stretch)
            thin = jot.radius[:, :1].clamp_max(0.09 * total[:, None]) / jot.radius[:, :1]
            jots.append(Jot(scaled, down, jot.radius * thin, jot.level * there, boxes.stretch,
                            labels))  # fmt: skip
        return jots

    def _sign(self, boxes: Boxes) -> Jot:
        """A letter or sign, or a stray line through the crop."""
        count, dice = len(boxes.family), self.dice
        pool = self.sources.signs
        which = dice.index(len(pool), count)
        height = boxes.size[:, 1] * dice.uniform(0.4, 1.1, count)
        shift = dice.uniform(-0.2, 0.2, count, 1, 2) * boxes.size[:, None, :]
        shake = dice.slow(1.0, 4, count, 2, pool.points.shape[1]).transpose(1, 2) * 0.008
        points = (pool.points[which] + shake) * height[:, None, None] * boxes.stretch[:, None, :]
        points = points + boxes.middle[:, None, :] + shift
        stray = dice.chance(0.14, count, 1)
        points = torch.where(stray[:, :, None] > 0, self._stray(count, points.shape[1]), points)
        down = pool.down[which] | (stray > 0)
        return self._jot(points, down, pool.labels[which], boxes.stretch)

    def _stray(self, count: int, length: int) -> Tensor:
        """A flat or slanting line from one side of the crop to the other, a little curved."""
        dice = self.dice
        start = torch.stack([dice.uniform(-6.0, 18.0, count), dice.uniform(4.0, 60.0, count)], -1)
        reach = dice.uniform(28.0, 70.0, count)
        end = start + torch.stack([reach, reach * dice.uniform(-0.9, 0.9, count)], -1)
        t = torch.linspace(0.0, 1.0, length, device=self.device)[None, :, None]
        bend = dice.normal(5.0, count, 1, 2) * (t * (1 - t) * 4)
        return start[:, None] * (1 - t) + end[:, None] * t + bend

    def _neighbour(self, boxes: Boxes) -> Jot:
        """A digit in the next box, beside, above or below."""
        count, dice = len(boxes.family), self.dice
        jot = self._digit(boxes)
        sideways = dice.chance(0.65, count)
        sign = 2.0 * dice.chance(0.5, count) - 1.0
        gap = dice.uniform(2.0, 14.0, count)
        step = torch.stack([sideways * sign * (boxes.size[:, 0] + gap),
                            (1 - sideways) * sign * (boxes.size[:, 1] + gap)], -1)  # fmt: skip
        there = dice.chance(0.9, count, 1)
        points = jot.points + step[:, None, :]
        inner = 0.42 * boxes.size
        off = (points - boxes.middle[:, None, :]).abs()
        intrudes = (off < inner[:, None, :]).all(-1).any(-1, keepdim=True).float()
        level = jot.level * there * (1 - intrudes)
        return Jot(points, jot.down, jot.radius, level, jot.stretch, jot.labels)

    def _bitmaps(self, boxes: Boxes) -> tuple[Tensor, Tensor]:
        count, dice = len(boxes.family), self.dice
        pool = self.sources.bitmaps
        if not count:
            return torch.zeros(0, 64, 64, device=self.device), pool.labels[:0]
        which = dice.index(len(pool.labels), count)
        height = boxes.size[:, 1] * self._height(count)
        square = dice.chance(0.1, count)
        aspect = torch.where(square > 0, dice.uniform(0.7, 1.1, count), pool.aspect[which]
                             * boxes.stretch[:, 0] * dice.spread(1.0, 0.1, 0.7, 1.4, count))  # fmt: skip
        size = torch.stack([height * aspect, height], -1)
        size = size * (66.0 / size.amax(dim=1, keepdim=True)).clamp(max=1.0)
        free = (boxes.size - size).clamp_min(0.0) / 2
        centre = boxes.middle + free * dice.uniform(-0.6, 0.6, count, 2)
        centre = centre + dice.normal(1.6, count, 2)
        edge = torch.stack([dice.uniform(0.25, 0.65, count), dice.uniform(0.35, 1.2, count)], -1)
        placed = torch.cat([centre, size * (32.0 / 30.0)], -1)
        warp = self._warp(centre, height)
        return bitmaps(pool.images[which], placed, warp, edge), pool.labels[which]

    def _warp(self, centre: Tensor, height: Tensor) -> Tensor:
        """Slant, turn and slow bends of bitmaps, (B, 64, 64, 2) px."""
        count, dice = len(centre), self.dice
        off = pixel_grid(self.device)[None] - centre[:, None, None, :]
        slant, turn = dice.normal(0.12, count, 1, 1), dice.normal(0.07, count, 1, 1)
        x = slant * off[..., 1] - turn * off[..., 1]
        y = turn * off[..., 0]
        warp = torch.stack([x, y], -1)
        unit = off.flip(-1) / height[:, None, None, None]
        for frequency in (3.1, 6.3):
            phase = dice.uniform(0.0, 6.3, count, 1, 1, 2)
            size = dice.normal(0.018, count, 1, 1, 2) * height[:, None, None, None]
            warp = warp + size * (frequency * unit + phase).sin()
        return warp

    def _coarse(self, ink: Tensor) -> Tensor:
        """Some digits as a coarse scanner keeps them."""
        share = len(ink) // 16
        if not share:
            return ink
        dice = self.dice
        rows = torch.arange(3 * share, device=self.device) * (len(ink) // (3 * share))
        out = ink.clone()
        for cells, part in zip((22, 28, 36), rows.split(share), strict=False):
            threshold, hard = dice.uniform(0.3, 0.6, len(part)), dice.chance(0.6, len(part))
            out[part] = photo.rescan(ink[part], cells, threshold, hard)
        return out

    def _compose(self, ink: Tensor, frame: Tensor) -> Tensor:
        """Ink and frame on paper, before the camera; some on photographed empty boxes."""
        mix, dice = self.mix, self.dice
        count = mix.total
        amount = dice.uniform(0.2, 0.8, count) * dice.chance(0.28, count)
        ink = photo.grain(ink, amount, dice)
        dark = torch.where(dice.chance(0.7, count) > 0, dice.uniform(0.55, 1.0, count),
                           dice.uniform(0.20, 0.8, count))  # fmt: skip
        real = dice.chance(0.14, count)
        empty = slice(mix.written + mix.bitmaps, mix.written + mix.bitmaps + mix.empty)
        real[empty] = dice.chance(0.5, mix.empty)
        under = photo.paper(count, dice) * (1.0 - frame) * (1.0 - photo.specks(count, dice))
        if len(self.sources.blanks):
            seen = self._photographed(self.sources.blanks, count)
            under = torch.where(real[:, None, None] > 0, seen, under)
        through = ink.roll(count // 3 + 7, dims=0).flip(2)
        faint = dice.uniform(0.01, 0.075, count) * dice.chance(0.12, count)
        through = functional.avg_pool2d(through[:, None], 5, 1, 2, count_include_pad=False)[:, 0]
        under = under * (1.0 - faint[:, None, None] * through)
        return under * (1.0 - dark[:, None, None] * ink)

    def _photographed(self, crops: Tensor, count: int) -> Tensor:
        """Photographed boxes, moved, turned and lit a little differently, (count, 64, 64)."""
        dice = self.dice
        seen = crops[dice.index(len(crops), count)]
        turn, zoom = dice.normal(0.02, count), dice.uniform(0.9, 1.08, count)
        shift = dice.normal(0.03, count, 2)
        rows = [
            torch.stack([zoom, -turn, shift[:, 0]], -1),
            torch.stack([turn, zoom, shift[:, 1]], -1),
        ]
        grid = functional.affine_grid(torch.stack(rows, 1), [count, 1, 64, 64], align_corners=False)
        moved = functional.grid_sample(
            seen[:, None], grid, padding_mode="reflection", align_corners=False
        )[:, 0]
        light = dice.uniform(0.75, 1.25, count, 1, 1)
        contrast = dice.uniform(0.8, 1.2, count, 1, 1)
        level = moved.amax(dim=(1, 2), keepdim=True)
        return (level - (level - moved) * contrast).mul(light).clamp(0.02, 1.0)


def _fields(lines: frames.Lines) -> dict[str, Tensor]:
    return {name: getattr(lines, name) for name in frames.Lines.__slots__}


def _cuts(mix: Mix) -> dict[str, slice]:
    out: dict[str, slice] = {}
    at = 0
    for name in Mix.__slots__:
        n = getattr(mix, name)
        out[name] = slice(at, at + n)
        at += n
    return out


def _part(boxes: Boxes, rows: slice | Tensor) -> Boxes:
    return Boxes(boxes.family[rows], boxes.corners[rows], boxes.stretch[rows])
