"""Everything a batch is made of, as tensors on the training device."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.digits.normalise import CROP_PX
from sheet_reader.lab import splits
from sheet_reader.lab.hands import sound
from sheet_reader.lab.sets import ink_box, load
from sheet_reader.lab.training import strokes
from sheet_reader.lab.training.strokes import StrokePool
from sheet_reader.lab.writers import DEV, TEST, TRAIN, Role

BITMAP_PX = 32


@dataclass(frozen=True, slots=True)
class Bitmaps:
    """``images`` (N, 32, 32) 0..1, each cut to its ink and stretched; ``aspect`` (N,) is the
    ink's width over its height; ``labels`` (N,).
    """

    images: Tensor
    aspect: Tensor
    labels: Tensor


@dataclass(frozen=True, slots=True)
class Strokes:
    """A ``StrokePool`` as tensors."""

    points: Tensor
    down: Tensor
    labels: Tensor

    def __len__(self) -> int:
        return len(self.labels)


@dataclass(frozen=True, slots=True)
class Sources:
    """``digits`` are stroke pools with their share of the stroke digits; ``blanks`` and
    ``candidates`` are photographed boxes (N, 64, 64), 0..1; ``seen`` uint8 are crops of simulated
    photographs with their labels.
    """

    digits: tuple[tuple[Strokes, float], ...]
    signs: Strokes
    scribbles: Strokes
    bitmaps: Bitmaps
    blanks: Tensor
    candidates: Tensor
    seen: Tensor
    seen_labels: Tensor


def cut_to_ink(images: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Each image (N, H, W), ink bright, cut to its ink and stretched to 32 × 32 with a margin of
    one cell; and the ink's width over its height.
    """
    out = np.zeros((len(images), BITMAP_PX, BITMAP_PX), np.uint8)
    aspect = np.ones(len(images), np.float32)
    for k, image in enumerate(images):
        box = ink_box(image)
        if box is None:
            continue
        ink = np.ascontiguousarray(image[box])
        aspect[k] = ink.shape[1] / ink.shape[0]
        inner = cv2.resize(ink, (BITMAP_PX - 2, BITMAP_PX - 2), interpolation=cv2.INTER_CUBIC)
        out[k, 1:-1, 1:-1] = inner
    return out, aspect


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to gather: whole sets to leave out ("unipen", "pendigits", "mnist"), the writers' role,
    how many digits the procedural hand writes and its seed, whether Semeion joins in, and a file
    with crops of simulated photographs.
    """

    without: tuple[str, ...] = ()
    role: Role = TRAIN
    hand: int = 300_000
    seed: int = 1
    semeion: bool = False
    folder: Path | None = None
    photos: Path | None = None


def gather(device: torch.device, wanted: Wanted) -> Sources:
    """All sources as tensors on ``device``."""
    folder, hand, seed = wanted.folder, wanted.hand, wanted.seed
    pools: list[tuple[StrokePool, float]] = []
    if "unipen" not in wanted.without:
        data = load("unipen_1a", folder)
        which = sound("unipen_1a", wanted.role, folder)
        pools.append((strokes.pool_of_set(data, which), 0.30))
    if "pendigits" not in wanted.without:
        data = load("pendigits_orig", folder)
        which = sound("pendigits_orig", wanted.role, folder)
        pools.append((strokes.pool_of_set(data, which), 0.25))
    pools.append((strokes.many(strokes.hand_digits, hand, seed), 0.45))
    puzzles = splits.boxed_puzzles(load("boxed_uk_hand", folder))
    boxes = load("boxed_uk_empty", folder)
    # The set has training, choice and benchmark puzzles only: other roles take those of choice.
    own = wanted.role if wanted.role in (TRAIN, TEST) else DEV
    chosen = splits.boxed_roles(boxes, puzzles) == own
    grey = torch.from_numpy(boxes["gray"]).to(device).float() / 255.0
    kind = boxes["kind"].astype(str)
    seen, seen_labels = _photographed(wanted.photos, device)
    bare = seen[seen_labels == CLASSES.index(EMPTY)].float() / 255.0
    return Sources(
        digits=tuple((pool_tensors(pool, device), share) for pool, share in pools),
        signs=pool_tensors(strokes.many(strokes.hand_signs, hand // 6, seed + 1), device),
        scribbles=pool_tensors(strokes.many(strokes.scribbles, hand // 10, seed + 2), device),
        bitmaps=_bitmaps(device, wanted),
        blanks=torch.cat([grey[torch.from_numpy(chosen & (kind == "blank")).to(device)], bare]),
        candidates=grey[torch.from_numpy(chosen & (kind == "candidates")).to(device)],
        seen=seen,
        seen_labels=seen_labels,
    )


def pool_tensors(pool: StrokePool, device: torch.device) -> Strokes:
    """The pool on ``device``."""
    return Strokes(
        torch.from_numpy(pool.points).to(device),
        torch.from_numpy(pool.down).to(device),
        torch.from_numpy(pool.labels).to(device),
    )


def _photographed(path: Path | None, device: torch.device) -> tuple[Tensor, Tensor]:
    if path is None:
        none = torch.zeros(0, device=device)
        return none.reshape(0, CROP_PX, CROP_PX).byte(), none.long()
    with np.load(path) as data:
        grey, labels = torch.from_numpy(data["gray"]), torch.from_numpy(data["labels"])
    return grey.to(device), labels.to(device).long()


def _bitmaps(device: torch.device, wanted: Wanted) -> Bitmaps:
    parts: list[tuple[NDArray[np.uint8], NDArray[Any]]] = []
    if "mnist" not in wanted.without:
        data = load("mnist", wanted.folder)
        which = sound("mnist", wanted.role, wanted.folder)
        parts.append((data["images"][which], data["labels"][which]))
    if wanted.semeion:
        data = load("semeion", wanted.folder)
        parts.append((np.repeat(data["images"], 4, axis=0), np.repeat(data["labels"], 4)))
    cut = [cut_to_ink(images) for images, _ in parts]
    images = np.concatenate([c[0] for c in cut] or [np.zeros((0, BITMAP_PX, BITMAP_PX), np.uint8)])
    aspect = np.concatenate([c[1] for c in cut] or [np.zeros(0, np.float32)])
    labels = np.concatenate([p[1] for p in parts] or [np.zeros(0)]).astype(np.int64)
    return Bitmaps(
        torch.from_numpy(images).to(device).float() / 255.0,
        torch.from_numpy(aspect).to(device),
        torch.from_numpy(labels).to(device),
    )
