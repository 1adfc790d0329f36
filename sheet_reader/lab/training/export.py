"""Writes the weights as ONNX."""

from __future__ import annotations

import warnings
from pathlib import Path

import torch
from torch import nn

from sheet_reader.digits.normalise import PLANE_PX, PLANES


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
