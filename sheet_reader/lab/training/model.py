"""The network: small, and thrifty at full resolution; and a large one that teaches it."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor, nn

from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.normalise import PLANES


@dataclass(frozen=True, slots=True)
class Widths:
    """Channels after the stem (32 × 32), at 16 × 16, 8 × 8 and 4 × 4, and blocks at each."""

    stem: int = 24
    coarse: int = 64
    middle: int = 112
    fine: int = 192
    blocks: tuple[int, int, int] = (2, 4, 2)


class ResidualBlock(nn.Module):
    """A depthwise and a pointwise convolution; adds its input where the shape stays."""

    def __init__(self, inside: int, outside: int, stride: int = 1) -> None:
        super().__init__()
        self.same = inside == outside and stride == 1
        self.layers = nn.Sequential(
            nn.Conv2d(inside, inside, 3, stride, 1, groups=inside, bias=False),
            nn.BatchNorm2d(inside),
            nn.Conv2d(inside, outside, 1, bias=False),
            nn.BatchNorm2d(outside),
        )

    def forward(self, x: Tensor) -> Tensor:
        """(N, inside, H, W) to (N, outside, H / stride, W / stride)."""
        y: Tensor = self.layers(x)
        return torch.relu(x + y) if self.same else torch.relu(y)


class Scorer(nn.Module):
    """(N, 8, 32, 32) as ``normalise`` gives it, to scores (N, 14), by features (N, C, 4, 4)."""

    def __init__(self, layers: list[nn.Module], channels: int, dropped: float) -> None:
        super().__init__()
        self.features = nn.Sequential(*layers)
        self.drop = nn.Dropout(dropped)
        self.answer = nn.Linear(channels * 16, len(CLASSES))

    def forward(self, x: Tensor) -> Tensor:
        """Scores before the softmax."""
        scores: Tensor = self.answer(self.drop(torch.flatten(self.features(x), 1)))
        return scores


class Network(Scorer):
    """The reader itself."""

    def __init__(self, widths: Widths | None = None) -> None:
        w = widths or Widths()
        layers: list[nn.Module] = [
            nn.Conv2d(PLANES, w.stem, 3, 1, 1, bias=False),
            nn.BatchNorm2d(w.stem),
            nn.ReLU(),
        ]
        inside = w.stem
        for outside, blocks in zip((w.coarse, w.middle, w.fine), w.blocks, strict=True):
            layers.append(ResidualBlock(inside, outside, 2))
            layers += [ResidualBlock(outside, outside) for _ in range(blocks)]
            inside = outside
        super().__init__(layers, inside, 0.1)


class Residual(nn.Module):
    """Two full 3 × 3 convolutions about a shortcut (He et al. 2016, arXiv 1603.05027)."""

    def __init__(self, inside: int, outside: int, stride: int = 1) -> None:
        super().__init__()
        self.layers = nn.Sequential(
            nn.BatchNorm2d(inside),
            nn.ReLU(),
            nn.Conv2d(inside, outside, 3, stride, 1, bias=False),
            nn.BatchNorm2d(outside),
            nn.ReLU(),
            nn.Conv2d(outside, outside, 3, 1, 1, bias=False),
        )
        self.shortcut: nn.Module = nn.Identity()
        if inside != outside or stride > 1:
            self.shortcut = nn.Conv2d(inside, outside, 1, stride, bias=False)

    def forward(self, x: Tensor) -> Tensor:
        """(N, inside, H, W) to (N, outside, H / stride, W / stride)."""
        y: Tensor = self.layers(x)
        return y + torch.as_tensor(self.shortcut(x))


class Teacher(Scorer):
    """The same task without thrift, 4.4 million weights: used in training alone."""

    def __init__(self, widths: tuple[int, int, int] = (96, 192, 288), blocks: int = 2) -> None:
        layers: list[nn.Module] = [nn.Conv2d(PLANES, 64, 3, 1, 1, bias=False)]
        inside = 64
        for outside in widths:
            layers.append(Residual(inside, outside, 2))
            layers += [Residual(outside, outside) for _ in range(blocks - 1)]
            inside = outside
        super().__init__([*layers, nn.BatchNorm2d(inside), nn.ReLU()], inside, 0.2)
