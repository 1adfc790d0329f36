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
from sheet_reader.lab.training.batches import Batches
from sheet_reader.lab.training.model import Teacher
from sheet_reader.numbers import LAB

TAUGHT = LAB.taught
SOFTENED = LAB.softened


@dataclass(frozen=True, slots=True)
class Recipe:
    """How long and how fast. ``samples`` crops are seen in all, each once; ``keep`` is how slowly
    the averaged weights follow; ``batch`` how many crops go into one step. Nothing depends on the
    time it takes.
    """

    samples: int = 40_000_000
    rate: float = 4e-3
    decay: float = 0.02
    warm_up: float = 0.03
    keep: float = 0.9995
    batch: int = 2048


class Normaliser:
    """``normalise.normalise`` for tensors on any device."""

    def __init__(self, device: torch.device) -> None:
        self._spread = torch.from_numpy(plain.spread_matrix()).to(device)

    def __call__(self, grey: Tensor) -> Tensor:
        """(B, 64, 64) grey values 0..255 to (B, 8, 32, 32)."""
        count, reach = len(grey), plain.NORMALISE.window_blocks
        blocks = functional.avg_pool2d(grey[:, None], plain.BLOCK)
        ranked = blocks.flatten(1).sort(dim=1).values[:, plain.NORMALISE.paper_rank]
        level = ranked.clamp_min(plain.NORMALISE.paper_floor)[:, None, None]
        against_all = (1.0 - grey / level).clamp(-0.25, 1.0)
        largest = functional.max_pool2d(blocks, 2 * reach + 1, 1, reach)[:, 0]
        local = self._spread @ largest @ self._spread.T
        near = 1.0 - grey / torch.maximum(local, plain.NORMALISE.local_share * level)
        near = functional.pixel_unshuffle(near.clamp(0.0, 1.0)[:, None], 2)
        middle = near.mean(dim=1)[:, plain.MIDDLE, plain.MIDDLE]
        ink = middle.reshape(count, -1).amax(dim=1).clamp_min(plain.NORMALISE.ink_floor)
        near = (near / ink[:, None, None, None]).clamp(max=1.5)
        return torch.cat([functional.pixel_unshuffle(against_all[:, None], 2), near], dim=1)


def rate_at(progress: float, recipe: Recipe) -> float:
    """Learning rate: a short rise, then a cosine down to 0."""
    if progress < recipe.warm_up:
        return recipe.rate * progress / recipe.warm_up
    rest = (progress - recipe.warm_up) / (1.0 - recipe.warm_up)
    return recipe.rate * 0.5 * (1.0 + math.cos(math.pi * min(1.0, rest)))


class Learner:
    """A network in training, with the running average of its weights, which is what counts."""

    def __init__(self, network: nn.Module, recipe: Recipe, device: torch.device) -> None:
        self.network = network.to(device).train()
        on_gpu = device.type == "cuda"
        if on_gpu:
            self.network = self.network.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
        self.average = copy.deepcopy(self.network).eval()
        self._pairs = _paired(self.average, self.network)
        self._optimiser = torch.optim.AdamW(
            _groups(self.network, recipe), lr=recipe.rate, betas=(0.9, 0.99), fused=on_gpu
        )

    def step(self, planes: Tensor, labels: Tensor, wanted: Tensor | None, rate: float) -> Tensor:
        """One step towards the labels (B,), and towards the scores ``wanted`` (B, K) where given;
        the network's own scores (B, K) before it.
        """
        for group in self._optimiser.param_groups:
            group["lr"] = rate
        scores = _scores(self.network, planes)
        loss = functional.cross_entropy(scores, labels)
        if wanted is not None:
            loss = (1.0 - TAUGHT) * loss + TAUGHT * _distance(scores, wanted)
        self._optimiser.zero_grad(set_to_none=True)
        torch.autograd.backward(loss)
        self._optimiser.step()
        return scores.detach()

    @torch.no_grad()
    def follow(self, keep: float) -> None:
        """Moves the average towards the present weights."""
        torch._foreach_lerp_(self._pairs[0], self._pairs[1], 1.0 - keep)


def _scores(network: nn.Module, planes: Tensor) -> Tensor:
    """Scores (B, K); on a GPU the large network works in half precision."""
    large = planes.is_cuda and isinstance(network, Teacher)
    with torch.autocast(planes.device.type, torch.bfloat16, enabled=large):
        return torch.as_tensor(network(planes).float())


def fit(
    network: nn.Module,
    batches: Batches,
    recipe: Recipe,
    tell: Callable[[str], None] = print,
    teacher: nn.Module | None = None,
) -> nn.Module:
    """The averaged network after training. With a trained ``teacher`` it learns from the teacher's
    answers as well as from the labels (Hinton et al. 2015, arXiv 1503.02531).
    """
    device = batches.device
    learner = Learner(network, recipe, device)
    if teacher is not None:
        teacher = teacher.to(device).eval()
    normaliser = Normaliser(device)
    stream = _pieces(batches, recipe.batch)
    steps = max(1, recipe.samples // recipe.batch)
    keep = min(recipe.keep, max(0.9, 1.0 - 10.0 / steps))
    begun = time.monotonic()
    for step in range(steps):
        progress = (step + 1) / steps
        grey, labels = next(stream)
        planes = normaliser(grey)
        if device.type == "cuda":
            planes = planes.contiguous(memory_format=torch.channels_last)
        wanted = None
        if teacher is not None:
            with torch.no_grad():
                wanted = _scores(teacher, planes)
        shown = learner.step(planes, labels, wanted, rate_at(progress, recipe))
        learner.follow(min(keep, (step + 1) / (step + 10)))
        if step % max(1, steps // 25) == 0 or step + 1 == steps:
            right = float((shown.argmax(1) == labels).float().mean())
            tell(f"{step + 1}/{steps} right {right:.4f} {time.monotonic() - begun:.0f} s")
    return learner.average


def _pieces(batches: Batches, size: int) -> Iterator[tuple[Tensor, Tensor]]:
    """Batches of ``size`` from larger ones, shuffled: making many at once is faster."""
    while True:
        grey, labels = batches.next()
        order = batches.rng.order(len(labels))
        for rows in torch.split(order, size):
            if len(rows) == size or len(order) < size:
                yield grey[rows], labels[rows]


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


def _distance(scores: Tensor, wanted: Tensor) -> Tensor:
    """Kullback–Leibler divergence from the teacher's softened answers, on the labels' scale."""
    mine = functional.log_softmax(scores / SOFTENED, dim=1)
    theirs = functional.log_softmax(wanted / SOFTENED, dim=1)
    apart = functional.kl_div(mine, theirs, reduction="batchmean", log_target=True)
    return SOFTENED**2 * apart


@torch.no_grad()
def scores_of(network: nn.Module, grey: Tensor, part: int = 1024) -> NDArray[np.float64]:
    """The network's scores (N, K) for crops (N, 64, 64), grey values 0..255."""
    normaliser = Normaliser(grey.device)
    network.eval()
    out = [network(normaliser(chunk.float())).float().cpu() for chunk in torch.split(grey, part)]
    return np.asarray(torch.cat(out).numpy(), np.float64)
