"""Which model read something."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from sheet_reader import __version__
from sheet_reader.digits.read import AGAIN
from sheet_reader.numbers import DECODE

DATA = (
    ("sheet_reader.digits", "", (".onnx", ".json")),
    ("sheet_reader.decode", "data", (".json", ".csv")),
)
"""Package, folder in it and endings of what decides a value: the network, its calibration, the
writer model, the shipped checked fields."""


@cache
def decoder_version() -> str:
    """A name for all that decodes box probabilities: the program, its thresholds, its data."""
    digest = hashlib.sha256(f"{__version__} {DECODE}".encode())
    place = files("sheet_reader.decode").joinpath("data")
    for file in sorted(place.iterdir(), key=lambda f: f.name):
        digest.update(file.read_bytes())
    return f"decoder-{digest.hexdigest()[:8]}"


@cache
def model_version() -> str:
    """A name for all data that decide a value, and for which boxes are read again: changes whenever
    a byte of them does.
    """
    digest = hashlib.sha256(f"{AGAIN}".encode())
    for package, folder, endings in DATA:
        place = files(package).joinpath(folder) if folder else files(package)
        for file in sorted(place.iterdir(), key=lambda f: f.name):
            if file.name.endswith(endings):
                data = file.read_bytes()
                digest.update(f"{package}/{file.name}:{len(data)}:".encode() + data)
    return f"reader-{digest.hexdigest()[:12]}"
