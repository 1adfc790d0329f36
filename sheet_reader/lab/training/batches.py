"""Makes training batches: crops as the reader sees them, of every class, from all sources."""

from __future__ import annotations

from dataclasses import dataclass, fields

import torch
from torch import Tensor
from torch.nn import functional

from sheet_reader.digits.classes import CLASSES, EMPTY, OTHER, SEVERAL, STRUCK
from sheet_reader.lab.training import frames, photo
from sheet_reader.lab.training.bitmap_ink import bitmap_digits, coarsened
from sheet_reader.lab.training.crossing import cross_out
from sheet_reader.lab.training.frames import Boxes
from sheet_reader.lab.training.ink import Painter
from sheet_reader.lab.training.placing import Jot, Placer, choose
from sheet_reader.lab.training.random_source import RandomSource
from sheet_reader.lab.training.sources import Sources
from sheet_reader.numbers import LAB

_EMPTY, _STRUCK, _SEVERAL, _OTHER = (CLASSES.index(c) for c in (EMPTY, STRUCK, SEVERAL, OTHER))
_CROSSED = LAB.crossed_share
_CANDIDATES = LAB.candidates_share
TAKES = LAB.takes
_MILD = LAB.mild_share


@dataclass(frozen=True, slots=True)
class Mix:
    """How many of each kind a batch holds: digits by strokes and by bitmaps, boxes that are empty,
    struck, with several digits or something else, and crops of simulated photographs.
    """

    written: int = 888
    bitmaps: int = 400
    empty: int = 120
    struck: int = 240
    several: int = 136
    other: int = 144
    seen: int = 120

    @property
    def made(self) -> int:
        """How many are drawn here, all but ``seen``."""
        return self.total - self.seen

    @property
    def total(self) -> int:
        """The batch's size."""
        return sum(getattr(self, f.name) for f in fields(self))

    def scaled(self, total: int) -> Mix:
        """About the same mix for batches of ``total``."""
        share = total / self.total
        counts = [round(getattr(self, f.name) * share) for f in fields(self)]
        counts[0] += total - sum(counts)
        return Mix(*counts)

    def fitting(self, sources: Sources) -> Mix:
        """The mix without what the sources lack; more strokes in its place."""
        bits = self.bitmaps if len(sources.bitmaps.labels) else 0
        seen = self.seen if len(sources.seen_labels) else 0
        written = self.written + self.bitmaps - bits + self.seen - seen
        return Mix(written, bits, self.empty, self.struck, self.several, self.other, seen)


class Batches:
    """An endless stream of batches; the same seed, device and sources give the same stream."""

    def __init__(
        self,
        sources: Sources,
        mix: Mix,
        seed: int,
        device: torch.device,
        compiled: bool = False,
    ) -> None:
        self.sources, self.mix, self.device = sources, mix.fitting(sources), device
        self.rng = RandomSource(seed, device)
        self.placer = Placer(sources, self.rng)
        self.painter = Painter(device, compiled)

    @torch.no_grad()
    def next(self) -> tuple[Tensor, Tensor]:
        """Crops (TAKES · B, 64, 64), grey values 0..255 as float32, and their labels (TAKES · B,),
        places in CLASSES.
        """
        mix, rng = self.mix, self.rng
        boxes = frames.random_boxes(mix.made, rng)
        ink, labels = self._ink(boxes)
        lines = frames.frame_lines(boxes, rng)
        frame = self.painter.frames(lines.start, lines.end, lines.radius, lines.level, lines.dash)
        mild = rng.chance(_MILD, mix.made)
        scene = self._compose(ink, frame, mild)
        share = round(_CANDIDATES * mix.several)
        if share and len(self.sources.candidates):
            start = _cuts(mix)["several"].start
            which = rng.index(len(self.sources.candidates), share)
            scene[start : start + share] = self._moved(self.sources.candidates[which], 1.0)
        crops = torch.cat([photo.photograph(scene, mild, rng) for _ in range(TAKES)])
        labels = labels.repeat(TAKES)
        if mix.seen:
            which = rng.index(len(self.sources.seen_labels), TAKES * mix.seen)
            seen = self._moved(self.sources.seen[which].float() / 255.0, 0.4)
            crops = torch.cat([crops, torch.round(255.0 * seen)])
            labels = torch.cat([labels, self.sources.seen_labels[which]])
        return crops, labels

    def _ink(self, boxes: Boxes) -> tuple[Tensor, Tensor]:
        """All handwriting of the batch, (B, 64, 64), and the labels."""
        mix, rng, placer = self.mix, self.rng, self.placer
        cut = _cuts(mix)
        rows = torch.arange(0, mix.made, 4, device=self.device)
        struck, several = (_part(boxes, cut[name]) for name in ("struck", "several"))
        written = placer.digit(_part(boxes, cut["written"]))
        wrong = placer.digit(struck)
        crossed = rng.chance(_CROSSED, mix.struck) > 0
        over = choose(crossed, cross_out(struck, wrong, placer), placer.scribble(struck))
        jots = [written, wrong, over]
        jots += [*placer.side_by_side(several), placer.sign(_part(boxes, cut["other"]))]
        jots.append(placer.neighbour(_part(boxes, rows)))
        digits, base, strike, *side, other, near = self._draw(jots)
        with_bits = _part(boxes, cut["bitmaps"])
        share = placer.height(len(with_bits.family))
        bits, bit_labels = bitmap_digits(self.sources.bitmaps, with_bits, share, rng)
        bare = torch.zeros(mix.empty, *digits.shape[1:], device=self.device)
        legible = torch.maximum(rng.chance(0.88, mix.struck), crossed.float())
        out = torch.maximum(base * legible[:, None, None], strike)
        all_digits = coarsened(torch.cat([digits, bits]), rng)
        ink = torch.cat([all_digits, bare, out, torch.stack(side).amax(dim=0), other])
        ink[rows] = torch.maximum(ink[rows], near)
        return ink, torch.cat([written.labels, bit_labels, self._fixed_labels()])

    def _fixed_labels(self) -> Tensor:
        mix = self.mix
        counts = ((_EMPTY, mix.empty), (_STRUCK, mix.struck), (_SEVERAL, mix.several),
                  (_OTHER, mix.other))  # fmt: skip
        return torch.cat([torch.full((n,), label, device=self.device) for label, n in counts])

    def _draw(self, jots: list[Jot]) -> list[Tensor]:
        names = ("points", "down", "radius", "level", "stretch")
        joined = [torch.cat([getattr(jot, name) for jot in jots]) for name in names]
        ink = self.painter.strokes(*joined)
        return list(torch.split(ink, [len(jot.labels) for jot in jots]))

    def _compose(self, ink: Tensor, frame: Tensor, mild: Tensor) -> Tensor:
        """Ink and frame on paper, before the camera; some on photographed empty boxes."""
        mix, rng = self.mix, self.rng
        count = mix.made
        bare = ink
        rough = rng.uniform(0.2, 0.8, count) * rng.chance(0.28, count) * (1.0 - mild)
        ink = photo.grain(ink, rough, rng)
        usual, pale = rng.uniform(0.55, 1.0, count), rng.uniform(0.18, 0.8, count)
        dark = torch.where((rng.chance(0.47, count) > 0) | (mild > 0), usual, pale)
        real = rng.chance(0.14, count)
        real[_cuts(mix)["empty"]] = rng.chance(0.5, mix.empty)
        under = photo.paper(count, rng) * (1.0 - frame) * (1.0 - photo.specks(count, rng))
        if len(self.sources.blanks):
            which = rng.index(len(self.sources.blanks), count)
            seen = self._moved(self.sources.blanks[which], 1.0)
            under = torch.where(real[:, None, None] > 0, seen, under)
        through = ink.roll(count // 3 + 7, dims=0).flip(2)
        faint = rng.uniform(0.01, 0.075, count) * rng.chance(0.12, count)
        through = functional.avg_pool2d(through[:, None], 5, 1, 2, count_include_pad=False)[:, 0]
        under = under * (1.0 - faint[:, None, None] * through)
        under = under * (1.0 - dark[:, None, None] * self._rubbed_out(bare))
        return under * (1.0 - dark[:, None, None] * ink)

    def _rubbed_out(self, ink: Tensor) -> Tensor:
        """Small digits that were rubbed out and left a trace, in boxes that hold a digit now:
        ink (B, 64, 64), at most 0.4.
        """
        mix, rng = self.mix, self.rng
        digits = mix.written + mix.bitmaps
        zoom = rng.uniform(1.3, 3.0, digits)
        shift = rng.uniform(-1.0, 1.0, digits, 2) * (zoom - 0.8)[:, None]
        none = torch.zeros_like(zoom)
        first = torch.stack([zoom, none, shift[:, 0]], -1)
        second = torch.stack([none, zoom, shift[:, 1]], -1)
        grid = functional.affine_grid(
            torch.stack([first, second], 1), [digits, 1, *ink.shape[1:]], align_corners=False
        )
        small = functional.grid_sample(
            ink[:digits].roll(digits // 2 + 3, dims=0)[:, None], grid, align_corners=False
        )[:, 0]
        trace = rng.uniform(0.06, 0.4, digits) * rng.chance(0.1, digits)
        out = torch.zeros_like(ink)
        out[:digits] = small * trace[:, None, None]
        return out

    def _moved(self, crops: Tensor, amount: float) -> Tensor:
        """Photographed boxes (B, 64, 64), moved, turned and lit a little differently."""
        rng, count = self.rng, len(crops)
        turn = rng.normal(0.02 * amount, count) * (1.0 + 2.0 * rng.chance(0.15, count))
        zoom = rng.uniform(1.0 - 0.10 * amount, 1.0 + 0.08 * amount, count)
        shift = rng.normal(0.03 * amount, count, 2)
        first = torch.stack([zoom, -turn, shift[:, 0]], -1)
        second = torch.stack([turn, zoom, shift[:, 1]], -1)
        grid = functional.affine_grid(
            torch.stack([first, second], 1), [count, 1, *crops.shape[1:]], align_corners=False
        )
        moved = functional.grid_sample(
            crops[:, None], grid, padding_mode="reflection", align_corners=False
        )[:, 0]
        light = rng.uniform(1.0 - 0.25 * amount, 1.0 + 0.25 * amount, count, 1, 1)
        contrast = rng.uniform(1.0 - 0.2 * amount, 1.0 + 0.2 * amount, count, 1, 1)
        level = moved.amax(dim=(1, 2), keepdim=True)
        return (level - (level - moved) * contrast).mul(light).clamp(0.02, 1.0)


def _cuts(mix: Mix) -> dict[str, slice]:
    """Where each kind stands in a batch."""
    out: dict[str, slice] = {}
    at = 0
    for field in fields(mix):
        n = getattr(mix, field.name)
        out[field.name] = slice(at, at + n)
        at += n
    return out


def _part(boxes: Boxes, rows: slice | Tensor) -> Boxes:
    return Boxes(boxes.family[rows], boxes.corners[rows], boxes.stretch[rows])
