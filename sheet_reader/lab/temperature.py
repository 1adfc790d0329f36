"""The one number that calibrates a network, and the file that holds it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import softmax


def temperature(scores: NDArray[np.float64], labels: NDArray[np.int64]) -> float:
    """The temperature that makes these labels most likely (Guo et al. 2017)."""
    rows = np.arange(len(labels))

    def cost(log_temperature: float) -> float:
        chances = softmax(scores / np.exp(log_temperature), axis=1)[rows, labels]
        return float(-np.log(np.maximum(chances, 1e-12)).mean())

    best = minimize_scalar(cost, bounds=(-2.0, 2.0), method="bounded")
    return float(np.exp(best.x))


def write_calibration(path: Path, temperature_value: float, shift: list[float], note: str) -> None:
    """The calibration that ``read`` applies: scores / temperature + shift, then softmax."""
    settings = {"temperature": round(temperature_value, 4), "shift": shift, "note": note}
    path.write_text(json.dumps(settings, indent=2) + "\n", encoding="utf-8")
