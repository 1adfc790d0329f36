"""From light to a file: defocus, shake, noise, sharpening, JPEG and its orientation tag."""

from __future__ import annotations

import struct

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.simulate.levels import Level
from sheet_reader.simulate.printer import Bytes, noise_tile, tiled

Floats32 = NDArray[np.float32]


def blurred(scene: Bytes, level: Level, px_per_mm: float, rng: np.random.Generator) -> Bytes:
    """Defocus and camera shake of the level, whose lengths are mm on the paper."""
    sigma = max(0.45, rng.uniform(*level.blur_mm) * px_per_mm)
    soft = cv2.GaussianBlur(scene, (0, 0), sigma)
    if rng.random() < level.uneven_focus:
        soft = _softer_on_one_side(np.asarray(soft, np.uint8), sigma * rng.uniform(1, 2), rng)
    length = rng.uniform(*level.motion_mm) * px_per_mm
    if length < 1.5:
        return np.asarray(soft, np.uint8)
    return np.asarray(cv2.filter2D(soft, -1, _line_kernel(length, rng.uniform(0, np.pi))), np.uint8)


def _softer_on_one_side(scene: Bytes, sigma: float, rng: np.random.Generator) -> Bytes:
    """A tilted sheet leaves the depth of field on one side: blur by ``sigma`` more there."""
    height, width = scene.shape[:2]
    angle = rng.uniform(0, 2 * np.pi)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :] * c
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * s
    share = np.rint(np.clip(x + y, 0, 1) * 255).astype(np.uint8)
    soft = cv2.GaussianBlur(scene, (0, 0), sigma)
    out = np.empty_like(scene)
    for channel in range(3):
        near = cv2.multiply(scene[..., channel], 255 - share, scale=1 / 255)
        far = cv2.multiply(soft[..., channel], share, scale=1 / 255)
        out[..., channel] = cv2.add(near, far)
    return out


def _line_kernel(length: float, angle: float) -> Floats32:
    side = int(np.ceil(length)) | 1
    kernel = np.zeros((side, side), np.float32)
    middle = side // 2
    reach = np.array([np.cos(angle), np.sin(angle)]) * (length - 1) / 2
    ends = [np.rint((np.array([middle, middle]) + d) * 16).astype(int) for d in (-reach, reach)]
    start, end = (tuple(int(v) for v in p) for p in ends)
    cv2.line(kernel, start, end, 1.0, 1, cv2.LINE_AA, 4)
    return np.asarray(kernel / kernel.sum(), np.float32)


def exposed(
    scene: Bytes, gain: Floats32, glare: Floats32 | None, white: float,
    cast: tuple[float, float, float], level: Level, rng: np.random.Generator,
) -> Bytes:  # fmt: skip
    """``scene`` (H, W, 3) under ``gain`` and ``glare`` (H, W), paper brought to about ``white``,
    with the colour ``cast`` (factors of B, G, R), lifted blacks, noise and sharpening.
    """
    black = rng.uniform(0, 22)
    strength = rng.uniform(*level.noise)
    tile = noise_tile(rng)
    tile = 0.6 * tile + 1.6 * cv2.GaussianBlur(tile, (0, 0), 0.8)
    shape = (scene.shape[0], scene.shape[1])
    base = tiled(tile * np.float32(strength), shape) + np.float32(black)
    if glare is not None:
        base += glare * np.float32(255)
    out = np.empty_like(scene)
    for channel in range(3):
        factor = np.float32((white - black) / 250 * cast[channel])
        seen = scene[..., channel] * (gain * factor)
        seen += base
        np.clip(seen, 0, 255, out=seen)
        out[..., channel] = seen
    amount = rng.uniform(*level.sharpen)
    if amount < 0.1:
        return out
    soft = cv2.GaussianBlur(out, (0, 0), 1.3)
    return np.asarray(cv2.addWeighted(out, 1 + amount, soft, -amount, 0), np.uint8)


def oriented(upright: Bytes, orientation: int) -> Bytes:
    """The pixels to store so that a reader that applies EXIF ``orientation`` (1..8) sees
    ``upright`` (EXIF 2.32, tag 0x0112: where row 0 and column 0 of the stored picture lie).
    """
    turned = {
        1: lambda p: p,
        2: lambda p: p[:, ::-1],
        3: lambda p: p[::-1, ::-1],
        4: lambda p: p[::-1],
        5: lambda p: p.swapaxes(0, 1),
        6: lambda p: p.swapaxes(0, 1)[::-1],
        7: lambda p: p[::-1, ::-1].swapaxes(0, 1),
        8: lambda p: p.swapaxes(0, 1)[:, ::-1],
    }[orientation](upright)
    return np.ascontiguousarray(turned)


def repacked(picture: Bytes, quality: int) -> Bytes:
    """The picture after one more trip through JPEG."""
    data = np.frombuffer(jpeg(picture, quality), np.uint8)
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)


def random_orientation(rng: np.random.Generator) -> int:
    """An EXIF orientation as phones write it; the mirrored four are rare."""
    if rng.random() < 0.02:
        return int(rng.choice([2, 4, 5, 7]))
    return int(rng.choice([1, 3, 6, 8], p=[0.6, 0.08, 0.26, 0.06]))


def jpeg(picture: Bytes, quality: int, orientation: int = 1) -> bytes:
    """A JPEG file of BGR ``picture``, with an EXIF segment unless ``orientation`` is 1."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("the picture can't be written as JPEG")
    raw = data.tobytes()
    if orientation == 1:
        return raw
    tiff = b"II*\0" + struct.pack("<IHHHIHHI", 8, 1, 0x0112, 3, 1, orientation, 0, 0)
    segment = b"Exif\0\0" + tiff
    return raw[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + raw[2:]
