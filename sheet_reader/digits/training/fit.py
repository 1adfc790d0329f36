"""Fits the network to the stream of batches."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from sheet_reader.digits import normalise as plain
from sheet_reader.digits.training.batches import Batches


@dataclass(frozen=True, slots=True)
class Recipe:
    """How long and how fast. ``samples`` crops are seen in all, each once; ``smoothing`` is the
    share of each label spread over the other classes; ``keep`` how slowly the averaged weights
    follow; ``batch`` how many crops go into one step;
    ``limit_s`` above 0 ends the training early, with the rate brought down in time.
    """

    samples: int = 40_000_000
    rate: float = 4e-3
    decay: float = 0.02
    warm_up: float = 0.03
    smoothing: float = 0.02
    keep: float = 0.9995
    batch: int = 2048
    limit_s: float = 0.0
    seed: int = 1


class Normaliser:
    """``normalise.normalise`` for tensors on any device."""

    def __init__(self, device: torch.device) -> None:
        self._spread = torch.from_numpy(plain.spread_matrix()).to(device)

    def __call__(self, grey: Tensor) -> Tensor:
        """(B, 64, 64) grey values 0..255 to (B, 8, 32, 32)."""
        count, reach = len(grey), plain.REACH
        blocks = functional.avg_pool2d(grey[:, None], plain.BLOCK)
        ranked = blocks.flatten(1).sort(dim=1).values[:, plain.PAPER_RANK]
        level = ranked.clamp_min(plain.PAPER_FLOOR)[:, None, None]
        against_all = (1.0 - grey / level).clamp(-0.25, 1.0)
        largest = functional.max_pool2d(blocks, 2 * reach + 1, 1, reach)[:, 0]
        local = self._spread @ largest @ self._spread.T
        near = 1.0 - grey / torch.maximum(local, plain.LOCAL_SHARE * level)
        near = functional.pixel_unshuffle(near.clamp(0.0, 1.0)[:, None], 2)
        middle = near.mean(dim=1)[:, plain.MIDDLE, plain.MIDDLE]
        ink = middle.reshape(count, -1).amax(dim=1).clamp_min(plain.INK_FLOOR)
        near = (near / ink[:, None, None, None]).clamp(max=1.5)
        return torch.cat([functional.pixel_unshuffle(against_all[:, None], 2), near], dim=1)


def rate_at(progress: float, recipe: Recipe) -> float:
    """Learning rate: a short rise, then a cosine down to 0."""
    if progress < recipe.warm_up:
        return recipe.rate * progress / recipe.warm_up
    rest = (progress - recipe.warm_up) / (1.0 - recipe.warm_up)
    return recipe.rate * 0.5 * (1.0 + math.cos(math.pi * min(1.0, rest)))


def fit(
    network: nn.Module,
    batches: Batches,
    recipe: Recipe,
    tell: Callable[[str], None] = print,
    teacher: Callable[[Tensor], Tensor] | None = None,
) -> nn.Module:
    """The averaged network after training. With a ``teacher`` (normalised crops to probabilities)
    half of the loss is the distance from its answers.
    """
    device = batches.device
    network = network.to(device).train()
    if device.type == "cuda":
        network = network.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    average = copy.deepcopy(network).eval()
    optimiser = torch.optim.AdamW(
        _groups(network, recipe), lr=recipe.rate, betas=(0.9, 0.99), fused=device.type == "cuda"
    )
    pairs = _paired(average, network)
    normaliser = Normaliser(device)
    stream = _pieces(batches, recipe.batch)
    steps = max(1, recipe.samples // recipe.batch)
    keep = min(recipe.keep, max(0.9, 1.0 - 10.0 / steps))
    begun = time.monotonic()
    for step in range(steps):
        spent = (time.monotonic() - begun) / recipe.limit_s if recipe.limit_s else 0.0
        progress = max((step + 1) / steps, spent)
        grey, labels = next(stream)
        planes = normaliser(grey)
        if device.type == "cuda":
            planes = planes.contiguous(memory_format=torch.channels_last)
        for group in optimiser.param_groups:
            group["lr"] = rate_at(progress, recipe)
        scores = network(planes)
        loss = _loss(scores, labels, planes, recipe, teacher)
        optimiser.zero_grad(set_to_none=True)
        torch.autograd.backward(loss)
        optimiser.step()
        _follow(pairs, min(keep, (step + 1) / (step + 10)))
        if step % max(1, steps // 25) == 0 or progress >= 1.0:
            right = (scores.argmax(1) == labels).float().mean()
            tell(f"{step + 1}/{steps} loss {float(loss.detach()):.4f} right {float(right):.4f} "
                 f"{time.monotonic() - begun:.0f} s")  # fmt: skip
        if progress >= 1.0:
            break
    return average


def _pieces(batches: Batches, size: int) -> Iterator[tuple[Tensor, Tensor]]:
    """Batches of ``size`` from larger ones, shuffled: making many at once is faster."""
    while True:
        grey, labels = batches.next()
        order = batches.dice.order(len(labels))
        for rows in torch.split(order, size):
            if len(rows) == size or len(order) < size:
                yield grey[rows], labels[rows]


def _loss(
    scores: Tensor,
    labels: Tensor,
    planes: Tensor,
    recipe: Recipe,
    teacher: Callable[[Tensor], Tensor] | None,
) -> Tensor:
    plain_loss = functional.cross_entropy(scores, labels, label_smoothing=recipe.smoothing)
    if teacher is None:
        return plain_loss
    wanted = teacher(planes)
    return 0.3 * plain_loss + 0.7 * functional.cross_entropy(scores, wanted)


def _groups(network: nn.Module, recipe: Recipe) -> list[dict[str, object]]:
    """Weights shrink, biases and normalisations don't."""
    weights = [p for p in network.parameters() if p.ndim > 1]
    others = [p for p in network.parameters() if p.ndim <= 1]
    return [
        {"params": weights, "weight_decay": recipe.decay},
        {"params": others, "weight_decay": 0.0},
    ]


def _paired(average: nn.Module, network: nn.Module) -> tuple[list[Tensor], list[Tensor]]:
    """The floating values of both, weights and running statistics, in the same order."""
    mine, theirs = average.state_dict(), network.state_dict()
    names = [name for name, value in mine.items() if value.dtype.is_floating_point]
    return [mine[name] for name in names], [theirs[name] for name in names]


@torch.no_grad()
def _follow(pairs: tuple[list[Tensor], list[Tensor]], keep: float) -> None:
    torch._foreach_lerp_(pairs[0], pairs[1], 1.0 - keep)


@torch.no_grad()
def scores_of(network: nn.Module, grey: Tensor, part: int = 1024) -> NDArray[np.float64]:
    """The network's scores (N, K) for crops (N, 64, 64), grey values 0..255."""
    normaliser = Normaliser(grey.device)
    network.eval()
    out = [network(normaliser(chunk.float())).float().cpu() for chunk in torch.split(grey, part)]
    return np.asarray(torch.cat(out).numpy(), np.float64)
