"""Places pen strokes in boxes: digits, signs, scribbles, several digits, the neighbour's digit."""

from __future__ import annotations

from dataclasses import dataclass, fields

import torch
from torch import Tensor

from sheet_reader.lab.training.frames import Boxes
from sheet_reader.lab.training.random_source import RandomSource
from sheet_reader.lab.training.sources import Sources
from sheet_reader.numbers import LAB

SIDE = LAB.digits_a_box
_UNLIFTED = LAB.unlifted_share
_CURLED = LAB.curled_points


@dataclass(frozen=True, slots=True)
class Jot:
    """Strokes placed on crops, as ``Painter.strokes`` takes them, with their labels."""

    points: Tensor
    down: Tensor
    radius: Tensor
    level: Tensor
    stretch: Tensor
    labels: Tensor


def choose(which: Tensor, first: Jot, second: Jot) -> Jot:
    """For each crop the strokes of ``first`` where ``which`` (B,) is True, else of ``second``."""
    parts = []
    for f in fields(Jot):
        mine, other = getattr(first, f.name), getattr(second, f.name)
        parts.append(torch.where(which.reshape(-1, *[1] * (mine.ndim - 1)), mine, other))
    return Jot(*parts)


class Placer:
    """Draws from the sources' strokes by ``rng`` and places them in boxes, with pens."""

    def __init__(self, sources: Sources, rng: RandomSource) -> None:
        self.sources, self.rng, self.device = sources, rng, rng.device

    def _pick(self, count: int) -> tuple[Tensor, Tensor, Tensor]:
        """Points, pen-down and labels of ``count`` digits from all stroke pools."""
        shares = torch.tensor([share for _, share in self.sources.digits], device=self.device)
        bounds = (shares / shares.sum()).cumsum(0)
        source = torch.bucketize(self.rng.uniform(0.0, 0.9999, count), bounds)
        taken = []
        for pool, _ in self.sources.digits:
            which = self.rng.index(len(pool), count)
            taken.append((pool.points[which], pool.down[which], pool.labels[which]))
        rows = torch.arange(count, device=self.device)
        points, down, labels = (torch.stack(t)[source, rows] for t in zip(*taken, strict=True))
        return points, down, labels

    def digit(self, boxes: Boxes) -> Jot:
        """One digit in each box."""
        count, rng = len(boxes.family), self.rng
        points, down, labels = self._pick(count)
        points = self._curl(self._vary(points))
        down = down | (rng.chance(_UNLIFTED, count, 1) > 0)
        height = boxes.size[:, 1] * self.height(count)
        square = rng.chance(0.08, count)
        stretch = self._square(points, boxes.stretch, square)
        placed = self._place(points, boxes, height, stretch)
        return self.pen(placed, down, labels, stretch)

    def height(self, count: int) -> Tensor:
        """A digit's height as a share of the box's."""
        usual = self.rng.normal(0.13, count) + 0.72
        wide = self.rng.uniform(0.40, 1.12, count)
        return torch.where(self.rng.chance(0.4, count) > 0, wide, usual).clamp(0.40, 1.12)

    def _square(self, points: Tensor, stretch: Tensor, square: Tensor) -> Tensor:
        """The crop's stretch; where ``square`` is 1 so that the digit fills a square."""
        extent = points.amax(dim=1) - points.amin(dim=1)
        wanted = (1.0 + 0.07) / (extent[:, 0] + 0.07)
        wanted = wanted.clamp(0.6, 6.0) ** self.rng.uniform(0.7, 1.05, len(points))
        x = torch.where(square > 0, wanted, stretch[:, 0])
        return torch.stack([x, stretch[:, 1]], dim=1)

    def _vary(self, points: Tensor) -> Tensor:
        """Shakes, bends, slants, widens and turns strokes (B, P, 2) about their middle."""
        count, rng = len(points), self.rng
        shake = rng.slow(1.0, 4, count, 2, points.shape[1]).transpose(1, 2)
        points = points + shake * rng.uniform(0.0, 0.022, count, 1, 1)
        across = points.flip(-1)
        for frequency in (3.1, 6.3):
            phase = rng.uniform(0.0, 6.3, count, 1, 2)
            points = points + rng.normal(0.02, count, 1, 2) * (frequency * across + phase).sin()
        slant, turn = rng.normal(0.12, count), rng.normal(0.07, count)
        wide = rng.spread(1.0, 0.15, 0.6, 1.6, count)
        one, cos, sin = torch.ones_like(slant), turn.cos(), turn.sin()
        lean = torch.stack([torch.stack([wide, -slant], -1), torch.stack([0 * one, one], -1)], -2)
        spin = torch.stack([torch.stack([cos, -sin], -1), torch.stack([sin, cos], -1)], -2)
        points = points @ (spin @ lean).transpose(1, 2)
        return points - (points.amax(dim=1, keepdim=True) + points.amin(dim=1, keepdim=True)) / 2

    def _curl(self, points: Tensor) -> Tensor:
        """Bends the first and the last stroke's end of some digits, as a quick pen does."""
        count, rng = len(points), self.rng
        ramp = torch.linspace(1.0, 0.0, _CURLED, device=self.device).square()[None, :, None]
        out = points.clone()
        for at, rise in ((slice(None, _CURLED), ramp), (slice(-_CURLED, None), ramp.flip(1))):
            push = rng.normal(0.06, count, 1, 2) * rng.chance(0.3, count, 1, 1)
            out[:, at] += rise * push
        return out

    def _place(self, points: Tensor, boxes: Boxes, height: Tensor, stretch: Tensor) -> Tensor:
        """Strokes of height 1 to pixels of the crop."""
        count, rng = len(points), self.rng
        scaled = points * height[:, None, None] * stretch[:, None, :]
        extent = scaled.amax(dim=1) - scaled.amin(dim=1)
        fit = (66.0 / extent.amax(dim=1).clamp_min(1.0)).clamp(max=1.0)
        free = (boxes.size - extent * fit[:, None]).clamp_min(0.0) / 2
        loose = torch.where(rng.chance(0.3, count, 1) > 0, rng.uniform(-1.0, 1.0, count, 2),
                            rng.uniform(-0.4, 0.4, count, 2))  # fmt: skip
        centre = boxes.middle + free * loose + rng.normal(1.6, count, 2)
        return scaled * fit[:, None, None] + centre[:, None, :]

    def pen(self, points: Tensor, down: Tensor, labels: Tensor, stretch: Tensor) -> Jot:
        """Gives strokes in pixels a pen: its radius, pressure and skips."""
        count, spans = down.shape
        rng = self.rng
        radius = rng.spread(1.45, 0.36, 0.65, 4.2, count, 1)
        pressure = 1.0 + rng.uniform(0.0, 0.14, count, 1) * rng.slow(1.0, 5, count, spans)
        fading = rng.uniform(0.0, 1.0, count, 1) * rng.chance(0.35, count, 1)
        level = (1.0 - (rng.slow(1.0, 3, count, spans) - 2.2 + 2.2 * fading).clamp_min(0.0)).clamp(
            0.0, 1.0
        )
        return Jot(points, down, (radius * pressure).clamp_min(0.4), level, stretch, labels)

    def scribble(self, boxes: Boxes) -> Jot:
        """What strikes a box out: scribbles and crosses, or the box filled in."""
        count, rng = len(boxes.family), self.rng
        pool = self.sources.scribbles
        which = rng.index(len(pool), count)
        whole = rng.chance(0.4, count, 1, 1)
        share = torch.where(
            whole > 0, rng.uniform(0.92, 1.1, count, 1, 1), rng.uniform(0.6, 1.1, count, 1, 1)
        )
        extent = boxes.size[:, None, :] * share
        shift = rng.normal(2.0, count, 1, 2)
        points = pool.points[which] * extent + boxes.middle[:, None, :] + shift
        across = rng.chance(0.3, count, 1)
        points = torch.where(across[:, :, None] > 0, self._across(boxes, points.shape[1]), points)
        pen_down = pool.down[which] | (across > 0)
        jot = self.pen(points, pen_down, pool.labels[which], boxes.stretch)
        radius = jot.radius * rng.uniform(0.8, 2.0, count, 1)
        filled = rng.chance(0.12, count, 1) * (1 - across)
        line = torch.linspace(-0.3, 0.3, points.shape[1], device=self.device)
        bar = boxes.middle[:, None, :] + torch.stack([0 * line, line], -1) * boxes.size[:, None, :]
        points = torch.where(filled[:, :, None] > 0, bar + shift, points)
        radius = torch.where(filled > 0, rng.uniform(11.0, 26.0, count, 1), radius)
        down = jot.down | (filled > 0)
        level = torch.where(filled > 0, torch.ones_like(jot.level), jot.level)
        # A light hatching leaves the digit beneath in sight: struck out all the same.
        light = rng.uniform(0.35, 0.95, count, 1)
        level = level * torch.where(rng.chance(0.45, count, 1) > 0, light, torch.ones_like(light))
        return Jot(points, down, radius, level, boxes.stretch, jot.labels)

    def _across(self, boxes: Boxes, length: int) -> Tensor:
        """A line through the whole crop, or a wide zigzag, as one strikes out a whole field."""
        count, rng = len(boxes.family), self.rng
        turns = 7
        side = (torch.arange(turns, device=self.device) % 2 * 2 - 1)[None, :]
        x = 32.0 + side * rng.uniform(33.0, 50.0, count, turns)
        start = boxes.middle[:, 1:] + rng.normal(4.5, count, 1)
        step = rng.normal(9.0, count, 1).abs() * torch.arange(turns, device=self.device)
        middle = 0.5 * step[:, -1:] * rng.uniform(0.0, 2.0, count, 1)
        zigzag = start + step - middle + rng.normal(2.0, count, turns)
        level = start + rng.normal(3.0, count, turns)
        single = rng.chance(0.6, count, 1)
        # A single line is the first two corners; the pen rests on the second.
        place = torch.linspace(0.0, turns - 1.001, length, device=self.device).expand(count, -1)
        place = torch.where(single > 0, place / (turns - 1.001), place)
        y = torch.where(single > 0, level, zigzag)
        low = place.floor().long()
        share = place - low
        ends = [torch.gather(v, 1, low) * (1 - share) + torch.gather(v, 1, low + 1) * share
                for v in (x, y)]  # fmt: skip
        return torch.stack(ends, dim=-1)

    def side_by_side(self, boxes: Boxes) -> list[Jot]:
        """Two or three digits in one box; a third is mostly absent."""
        count, rng = len(boxes.family), self.rng
        number = 2.0 + rng.chance(0.3, count)
        total = boxes.size[:, 0] * rng.uniform(0.5, 1.05, count)
        height = boxes.size[:, 1] * rng.uniform(0.3, 0.95, count)
        free = (boxes.size - torch.stack([total, height], -1)).clamp_min(0.0) / 2
        middle = boxes.middle + free * rng.uniform(-1.0, 1.0, count, 2)
        jots = []
        for k in range(SIDE):
            points, down, labels = self._pick(count)
            points = self._vary(points)
            extent = points.amax(dim=1) - points.amin(dim=1)
            room = 0.92 * total / number
            wide = extent[:, 0] * height * boxes.stretch[:, 0]
            squeeze = (room / wide.clamp_min(1.0)).clamp(max=1.0)
            tall = height * squeeze.clamp_min(0.5) ** 0.5 * rng.uniform(0.85, 1.1, count)
            x = boxes.stretch[:, 0] * height * squeeze
            place = middle[:, 0] + ((k + 0.5) / number - 0.5) * total
            centre = torch.stack([place, middle[:, 1] + rng.normal(1.0, count)], -1)
            scaled = points * torch.stack([x, tall], -1)[:, None, :] + centre[:, None, :]
            there = (k < number).float()[:, None]
            jot = self.pen(scaled, down, labels, boxes.stretch)
            thin = jot.radius[:, :1].clamp_max(0.09 * total[:, None]) / jot.radius[:, :1]
            jots.append(Jot(scaled, down, jot.radius * thin, jot.level * there, boxes.stretch,
                            labels))  # fmt: skip
        return jots

    def sign(self, boxes: Boxes) -> Jot:
        """A letter or sign, or a stray line through the crop."""
        count, rng = len(boxes.family), self.rng
        pool = self.sources.signs
        which = rng.index(len(pool), count)
        height = boxes.size[:, 1] * rng.uniform(0.4, 1.1, count)
        shift = rng.uniform(-0.2, 0.2, count, 1, 2) * boxes.size[:, None, :]
        shake = rng.slow(1.0, 4, count, 2, pool.points.shape[1]).transpose(1, 2) * 0.008
        points = (pool.points[which] + shake) * height[:, None, None] * boxes.stretch[:, None, :]
        points = points + boxes.middle[:, None, :] + shift
        stray = rng.chance(0.14, count, 1)
        points = torch.where(stray[:, :, None] > 0, self._stray(count, points.shape[1]), points)
        down = pool.down[which] | (stray > 0)
        return self.pen(points, down, pool.labels[which], boxes.stretch)

    def _stray(self, count: int, length: int) -> Tensor:
        """A flat or slanting line from one side of the crop to the other, a little curved."""
        rng = self.rng
        start = torch.stack([rng.uniform(-6.0, 18.0, count), rng.uniform(4.0, 60.0, count)], -1)
        reach = rng.uniform(28.0, 70.0, count)
        end = start + torch.stack([reach, reach * rng.uniform(-0.9, 0.9, count)], -1)
        t = torch.linspace(0.0, 1.0, length, device=self.device)[None, :, None]
        bend = rng.normal(5.0, count, 1, 2) * (t * (1 - t) * 4)
        return start[:, None] * (1 - t) + end[:, None] * t + bend

    def neighbour(self, boxes: Boxes) -> Jot:
        """A digit in the next box, beside, above or below."""
        count, rng = len(boxes.family), self.rng
        jot = self.digit(boxes)
        sideways = rng.chance(0.65, count)
        sign = 2.0 * rng.chance(0.5, count) - 1.0
        gap = rng.uniform(2.0, 14.0, count)
        step = torch.stack([sideways * sign * (boxes.size[:, 0] + gap),
                            (1 - sideways) * sign * (boxes.size[:, 1] + gap)], -1)  # fmt: skip
        there = rng.chance(0.9, count, 1)
        points = jot.points + step[:, None, :]
        inner = 0.42 * boxes.size
        off = (points - boxes.middle[:, None, :]).abs()
        intrudes = (off < inner[:, None, :]).all(-1).any(-1, keepdim=True).float()
        level = jot.level * there * (1 - intrudes)
        return Jot(points, jot.down, jot.radius, level, jot.stretch, jot.labels)
