"""How much memory a picture takes while it is decoded, told from its head alone.

A file of a few bytes can claim a picture of any size; formats differ in what they need for it.
"""

from __future__ import annotations

from PIL import ImageFile, JpegImagePlugin, TiffImagePlugin

_STORED = {"1": 1, "L": 1, "P": 1}
"""Bytes for a pixel in Pillow, by mode; see _stored."""
_WHOLE_PICTURE = {"WEBP": 12, "HEIF": 5}
"""Bytes for a pixel that these decoders need beside the picture (measured: WebP 10, HEIF 3)."""
GREY_JPEG = ("RGB", "L")
"""Modes of JPEG pictures that are decoded as grey at once."""
_COEFFICIENT = 2
_UNCOMPRESSED = 1


def decoding_bytes(image: ImageFile.ImageFile) -> int:
    """Bytes needed at most, the decoded picture included, before it is made grey."""
    pixels = image.width * image.height
    if isinstance(image, JpegImagePlugin.JpegImageFile):
        bands = 1 if image.mode in GREY_JPEG else 4
        return pixels * bands + round(pixels * _coefficients(image))
    held = pixels * _stored(image.mode)
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        return held + _largest_piece(image)
    return held + pixels * _WHOLE_PICTURE.get(image.format or "", 0)


def _stored(mode: str) -> int:
    return 2 if mode.startswith("I;16") else _STORED.get(mode, 4)


def _coefficients(image: JpegImagePlugin.JpegImageFile) -> float:
    """Bytes for a pixel of the coefficients that a progressive JPEG keeps to its end."""
    if not image.info.get("progressive"):
        return 0.0
    factors = [(h, v) for _, h, v, _ in image.layer]
    widest = max(h for h, _ in factors) * max(v for _, v in factors)
    return _COEFFICIENT * sum(h * v for h, v in factors) / max(1, widest)


def _largest_piece(image: TiffImagePlugin.TiffImageFile) -> int:
    """Bytes of one strip or tile, which is decoded whole; one may hold the whole picture."""
    tags = image.tag_v2
    if tags.get(TiffImagePlugin.COMPRESSION, _UNCOMPRESSED) == _UNCOMPRESSED:
        return 0
    bits = tags.get(TiffImagePlugin.BITSPERSAMPLE, (1,))
    samples = int(tags.get(TiffImagePlugin.SAMPLESPERPIXEL, 1))
    pixel_bits = max(int(bit) for bit in bits) * samples
    width = int(tags.get(TiffImagePlugin.TILEWIDTH, image.width))
    rows = tags.get(TiffImagePlugin.TILELENGTH) or min(
        image.height, int(tags.get(TiffImagePlugin.ROWSPERSTRIP, image.height))
    )
    return width * int(rows) * pixel_bits // 8
