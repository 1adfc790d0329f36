"""What a training run was made of, so that it can be made again: digests of data and weights."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch import nn

SETS = ("mnist", "mnist_writers", "pendigits_orig", "unipen_1a", "boxed_uk_empty")
"""Files of the data folder that training reads; of boxed_uk_hand it reads the puzzles alone."""


def file_digest(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def weights_digest(network: nn.Module) -> str:
    """SHA-256 over names, shapes and values of all weights and running statistics, as float32: the
    same wherever they lie and however they are saved.
    """
    found = hashlib.sha256()
    for name, value in sorted(network.state_dict().items()):
        kept = value.detach().float().cpu().contiguous()
        found.update(f"{name} {tuple(kept.shape)}\n".encode())
        found.update(kept.numpy().astype("<f4").tobytes())
    return found.hexdigest()


def data_digests(folder: Path, sets: Sequence[str] = SETS) -> dict[str, str]:
    """SHA-256 of each set's file."""
    return {name: file_digest(folder / f"{name}.npz") for name in sets}


def surroundings(device: torch.device) -> dict[str, Any]:
    """Versions and hardware: with others the figures stay, the last digits of the weights don't."""
    on_gpu = device.type == "cuda"
    hardware = torch.cuda.get_device_name(device) if on_gpu else f"cpu, {os.cpu_count()} cores"
    return {
        "device": hardware,
        "torch": str(torch.__version__),
        "numpy": np.__version__,
        "opencv": cv2.__version__,
    }


def repeatable(seed: int) -> None:
    """Start all of PyTorch's random numbers at ``seed`` and choose methods that give the same sums
    each time on the same hardware. To be called before each part of a run.
    """
    os.environ.setdefault("CUBLAS_WORKSPACE_CONFIG", ":4096:8")
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = False
    torch.backends.cudnn.deterministic = True
    torch.use_deterministic_algorithms(True, warn_only=True)
    torch.utils.deterministic.fill_uninitialized_memory = False
