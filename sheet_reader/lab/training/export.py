"""Writes the weights as ONNX and the calibration as JSON."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from torch import nn

from sheet_reader.digits.normalise import PLANE_PX, PLANES
from sheet_reader.digits.read import softmax


def write_onnx(network: nn.Module, path: Path) -> None:
    """The network as ONNX that OpenCV 4.10 and later read, batch size free."""
    network = network.to("cpu", memory_format=torch.contiguous_format).eval()  # type: ignore[call-overload]
    example = torch.zeros(1, PLANES, PLANE_PX, PLANE_PX)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            network,
            (example,),
            str(path),
            input_names=["planes"],
            output_names=["scores"],
            dynamic_axes={"planes": {0: "n"}, "scores": {0: "n"}},
            opset_version=13,
            dynamo=False,
        )


def temperature(scores: NDArray[np.float64], labels: NDArray[np.int64]) -> float:
    """The temperature that makes these labels most likely (Guo et al. 2017)."""
    rows = np.arange(len(labels))

    def cost(log_temperature: float) -> float:
        chances = softmax(scores / np.exp(log_temperature))[rows, labels]
        return float(-np.log(np.maximum(chances, 1e-12)).mean())

    best = minimize_scalar(cost, bounds=(-2.0, 2.0), method="bounded")
    return float(np.exp(best.x))


def write_calibration(path: Path, temperature_value: float, shift: list[float], note: str) -> None:
    """The calibration that ``read`` applies: scores / temperature + shift, then softmax."""
    settings = {"temperature": round(temperature_value, 4), "shift": shift, "note": note}
    path.write_text(json.dumps(settings, indent=2) + "\n", encoding="utf-8")
