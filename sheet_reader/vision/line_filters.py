"""Line filters: how line-like, and how dark, each place of small pictures is.

Across the line a Gaussian's second derivative, along it a few millimetres, in twelve directions (a
matched filter for a line in white noise; Canny, IEEE Trans. PAMI 8:679, 1986, for the detector of
ridges). All pictures of one size are filtered at once, by their spectra.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Float32, as_float32

Complex64 = NDArray[np.complex64]


@cache
def line_filters() -> Float32:
    """Kernels (directions, side, side) for crops at half their size, for the first direction along
    the rows and then turning; a line as wide as a pen's gives its own darkness.
    """
    own = VISION.box_ink
    reach = own.filter_reach_px
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float)
    kernels = []
    for turn in np.arange(own.directions) * np.pi / own.directions:
        along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        spread = (across / own.line_sd_px) ** 2
        kernel = (1 - spread) * np.exp(-spread / 2) * (np.abs(along) <= own.line_px / 2)
        kernel -= kernel.mean()
        line = np.clip(own.line_sd_px + 0.25 - np.abs(across), 0, 1)
        kernels.append(kernel / (kernel * line).sum())
    return as_float32(np.stack(kernels))


@cache
def standing_filters() -> Float32:
    """Those of :func:`line_filters` for lines that rather stand than lie."""
    kernels = line_filters()
    turns = np.arange(len(kernels))
    return as_float32(kernels[np.abs(2 * turns - len(kernels)) <= len(kernels) / 3])


@cache
def _spectra(standing: bool, rows: int, columns: int) -> Complex64:
    kernels = standing_filters() if standing else line_filters()
    turned = np.ascontiguousarray(kernels[:, ::-1, ::-1])
    return np.asarray(rfft2(turned, (rows, columns)), np.complex64)


def line_answers(pictures: Float32, *, standing: bool = False, mirrored: bool = False) -> Float32:
    """The filters' answers (N, directions, H, W) to ``pictures`` (N, H, W). Beyond their edges
    these go on as they end there, or ``mirrored``; with ``standing`` only filters for lines that
    rather stand than lie.
    """
    _, height, width = pictures.shape
    reach = VISION.box_ink.filter_reach_px
    around = ((0, 0), (reach, reach), (reach, reach))
    wide = np.pad(pictures, around, mode="symmetric" if mirrored else "edge")
    size = next_fast_len(height + 2 * reach, True), next_fast_len(width + 2 * reach, True)
    spectra = rfft2(wide, size)[:, None] * _spectra(standing, *size)
    # of a circular convolution the part that has not come around
    inside = slice(2 * reach, 2 * reach + height), slice(2 * reach, 2 * reach + width)
    return as_float32(irfft2(spectra, size)[:, :, *inside])
