"""Random numbers on any device from one seeded generator."""

from __future__ import annotations

import torch
from torch import Tensor


class RandomSource:
    """Draws float32 tensors; the same seed and device give the same draws."""

    def __init__(self, seed: int, device: torch.device) -> None:
        self.device = device
        self._generator = torch.Generator(device=device)
        self._generator.manual_seed(seed)

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        """Evenly between ``low`` and ``high``."""
        unit = torch.rand(shape, generator=self._generator, device=self.device)
        return low + (high - low) * unit

    def normal(self, sigma: float, *shape: int) -> Tensor:
        """About 0 with this standard deviation."""
        return sigma * torch.randn(shape, generator=self._generator, device=self.device)

    def spread(self, middle: float, sigma: float, low: float, high: float, *shape: int) -> Tensor:
        """Log-normal about ``middle``, cut to ``low``..``high``."""
        return (middle * torch.exp(self.normal(sigma, *shape))).clamp(low, high)

    def chance(self, share: float, *shape: int) -> Tensor:
        """1.0 in ``share`` of the places, else 0.0."""
        return (self.uniform(0.0, 1.0, *shape) < share).float()

    def index(self, below: int, *shape: int) -> Tensor:
        """Whole numbers 0 to ``below`` - 1, int64."""
        return torch.randint(below, shape, generator=self._generator, device=self.device)

    def order(self, count: int) -> Tensor:
        """0 to ``count`` - 1 in any order."""
        return torch.randperm(count, generator=self._generator, device=self.device)

    def slow(self, sigma: float, reach: int, *shape: int) -> Tensor:
        """Noise that changes slowly along the last axis, standard deviation ``sigma``."""
        raw = torch.randn(
            (*shape[:-1], shape[-1] + 2 * reach), generator=self._generator, device=self.device
        )
        flat = raw.reshape(-1, 1, raw.shape[-1])
        kernel = torch.hann_window(2 * reach + 3, periodic=False, device=self.device)[1:-1]
        kernel = kernel / kernel.square().sum().sqrt()
        smooth = torch.nn.functional.conv1d(flat, kernel.view(1, 1, -1))
        return sigma * smooth.reshape(shape)
