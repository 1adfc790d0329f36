"""Pictures from files: sniffed by content, bounded before decoding, upright and grey; and those
that the program itself has drawn, marked when written and known when they come back.
"""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Callable, Iterator
from itertools import count, islice

import cv2
import numpy as np
from PIL import Image, ImageFile, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from sheet_reader.intake.decoding import (
    GREY_JPEG,
    Gray,
    decoding_bytes,
    looks_like_pdf,
    pdf_pages,
    to_gray,
)
from sheet_reader.intake.files import (
    DEFAULT,
    Bounds,
    NoPicture,
    OpenedPicture,
    SizedFile,
    cannot_be_read,
    file_name,
    too_many_bytes,
)
from sheet_reader.numbers import INTAKE

_PLUGINS = (
    JpegImagePlugin.JpegImageFile,
    PngImagePlugin.PngImageFile,
    TiffImagePlugin.TiffImageFile,
    WebPImagePlugin.WebPImageFile,
)
FORMATS = tuple(plugin.format for plugin in _PLUGINS)  # Pillow's other decoders stay unused
ORIENTATION_TAG = 0x0112
_TURNS: dict[int, Callable[[Gray], cv2.typing.MatLike]] = {
    2: lambda stored: cv2.flip(stored, 1),
    3: lambda stored: cv2.rotate(stored, cv2.ROTATE_180),
    4: lambda stored: cv2.flip(stored, 0),
    5: cv2.transpose,
    6: lambda stored: cv2.rotate(stored, cv2.ROTATE_90_CLOCKWISE),
    7: lambda stored: cv2.flip(cv2.transpose(stored), -1),
    8: lambda stored: cv2.rotate(stored, cv2.ROTATE_90_COUNTERCLOCKWISE),
}
"""What brings a picture upright, by EXIF orientation; several times as fast as numpy's views."""
NOT_A_PICTURE = "this is not a picture that can be read (JPEG, PNG, TIFF, WebP, HEIC or PDF)"
TRUNCATED = "the picture is cut off or damaged: please send it again"
EMPTY = "the file is empty (0 bytes)"
_SUFFIXES = {b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp", b"II": ".tif",
             b"MM": ".tif"}  # fmt: skip
_HEIF = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif"}
_OVERLAY = b"sheet_reader overlay"
_JPEG, _COMMENT = b"\xff\xd8", b"\xff\xfe"


def open_pictures(path: SizedFile, bounds: Bounds = DEFAULT) -> list[OpenedPicture | NoPicture]:
    """Every picture in the file at ``path`` (several for a TIFF or PDF), upright and grey.

    A file that gives no picture gives one :class:`NoPicture` with the reason; nothing is raised
    for bad content, however hostile.
    """
    return list(_pictures_at(path, bounds))


def open_picture(path: SizedFile, number: int) -> OpenedPicture | None:
    """The picture with this number (from 0) in the file at ``path``, or None where there is none or
    it can't be read; see :func:`open_pictures`. No other page of a PDF is drawn for it.
    """
    found = next(_pictures_at(path, DEFAULT, number), None)
    return found if isinstance(found, OpenedPicture) else None


def _pictures_at(
    path: SizedFile, bounds: Bounds, first: int = 0
) -> Iterator[OpenedPicture | NoPicture]:
    name = file_name(path.name)
    try:
        size = path.stat().st_size
        if size > bounds.file_bytes:
            yield NoPicture(name, too_many_bytes(size, bounds.file_bytes))
            return
        data = path.read_bytes()
    except OSError as error:
        yield NoPicture(name, cannot_be_read(error))
        return
    yield from pictures_in(data, name, bounds, first=first)


def pictures_in(
    data: bytes, name: str, bounds: Bounds = DEFAULT, *, first: int = 0
) -> Iterator[OpenedPicture | NoPicture]:
    """Every picture in the bytes of one file from the ``first`` on, one at a time; see
    :func:`open_pictures`.
    """
    digest = hashlib.sha256(data).hexdigest()
    if not data:
        frames: Iterator[Gray | str] = iter([EMPTY])
    elif looks_like_pdf(data):
        frames = pdf_pages(data, bounds, first=first)
    else:
        frames = islice(_frames(data, bounds), first, None)
    for number, frame in enumerate(frames, first):
        if isinstance(frame, str):
            yield NoPicture(name, frame, digest)
        else:
            yield OpenedPicture(frame, digest, name, number)


def is_picture(head: bytes) -> bool:
    """Whether a file starting with these bytes (64 are enough) looks like a picture or PDF."""
    return (
        head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0"))
        or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
        or is_heif(head)
        or looks_like_pdf(head)
    )


def is_heif(head: bytes) -> bool:
    """Whether these bytes start an ISO base media file with a HEIF brand."""
    return head[4:8] == b"ftyp" and head[8:12] in _HEIF


def opened(data: bytes) -> ImageFile.ImageFile:
    """The picture in ``data`` as Pillow opens it, by its head; raises whatever Pillow does."""
    heif = ("HEIF",) if is_heif(data) and _heif_ready() else ()
    return Image.open(io.BytesIO(data), formats=[*FORMATS, *heif])


def _frames(data: bytes, bounds: Bounds) -> Iterator[Gray | str]:
    """The frames of a picture file; a reason (text) instead of a frame that cannot be had.

    Decoders fail on hostile bytes in ways they do not document, so that whatever they raise means
    the same here: a damaged picture.
    """
    if is_heif(data) and not _heif_ready():
        yield "HEIC pictures need the package pillow-heif, which is not installed"
        return
    with warnings.catch_warnings(action="ignore"):
        try:
            image = opened(data)
        except Image.DecompressionBombError as bomb:  # tells the size in words only
            pixels = re.search(r"\d+", str(bomb))
            yield _too_large(int(pixels.group()) if pixels else 0, bounds)
            return
        except Exception:
            yield TRUNCATED if is_picture(data) else NOT_A_PICTURE
            return
    with image:
        for number in count():
            try:
                if number:
                    with warnings.catch_warnings(action="ignore"):
                        image.seek(number)
            except Exception:
                return
            if number >= bounds.pages:
                yield (
                    f"only the first {bounds.pages} pages were read: please send the rest "
                    "separately"
                )
                return
            with warnings.catch_warnings(action="ignore"):
                try:
                    frame = _decode(image, bounds)
                except Exception:
                    frame = TRUNCATED
            yield frame
            if image.format != "TIFF":  # an MPO's further frames repeat its first, only smaller
                return


def _decode(image: ImageFile.ImageFile, bounds: Bounds) -> Gray | str:
    width, height = image.size
    if width * height > bounds.pixels or max(width, height) > bounds.side:
        return _too_large(width * height, bounds)
    if (needed := decoding_bytes(image)) > bounds.decoding_bytes:
        return (
            f"the picture would take {needed / 1e6:,.0f} MB of memory and is too large (at most "
            f"{bounds.decoding_bytes / 1e6:,.0f} MB): please send it smaller, or as a plain JPEG"
        )
    if image.format in ("JPEG", "MPO") and image.mode in GREY_JPEG:
        image.draft("L", _halved(width, height, bounds.keep_pixels))
    image.load()
    gray = to_gray(image)
    size = gray.shape[1], gray.shape[0]
    if (kept := _halved(*size, bounds.keep_pixels)) != size:
        gray = np.asarray(cv2.resize(gray, kept, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return upright(gray, int(image.getexif().get(ORIENTATION_TAG, 1) or 1))


def _halved(width: int, height: int, keep_pixels: int) -> tuple[int, int]:
    while width * height > keep_pixels:
        width, height = (width + 1) // 2, (height + 1) // 2
    return width, height


def _too_large(pixels: int, bounds: Bounds) -> str:
    return (
        f"the picture has {pixels / 1e6:,.0f} megapixels and is too large (at most "
        f"{bounds.pixels / 1e6:.0f} megapixels, {bounds.side:,} pixels on a side): "
        "please send it smaller"
    )


def upright(stored: Gray, orientation: int) -> Gray:
    """The picture as seen, from the one stored, by the EXIF/TIFF 6.0 orientation 1..8.

    ``stored`` is uint8 (height, width). The value says where the stored row 0 and column 0 lie in
    the picture as seen; unknown values count as 1.
    """
    if orientation not in _TURNS:
        return stored
    return np.asarray(_TURNS[orientation](stored), dtype=np.uint8)


def _heif_ready() -> bool:
    try:
        import pillow_heif
    except ImportError:
        return False
    pillow_heif.register_heif_opener()
    return True


def suffix_of(data: bytes) -> str:
    """The usual ending for a file's kind, by its content."""
    for head, suffix in _SUFFIXES.items():
        if data.startswith(head):
            return suffix
    return ".heic" if is_heif(data) else ".pdf"


def marked_as_overlay(jpeg: bytes) -> bytes:
    """A JPEG file with a comment that says what it is (segment COM, ITU-T T.81, B.2.4.5).

    The comment follows the first segment, which in a JFIF file must stay the first. Raises
    ValueError for what is no JPEG file.
    """
    if not jpeg.startswith(_JPEG) or len(jpeg) < 6:
        raise ValueError("this is no JPEG file")
    after = 4 + int.from_bytes(jpeg[4:6], "big")
    comment = _COMMENT + (2 + len(_OVERLAY)).to_bytes(2, "big") + _OVERLAY
    return jpeg[:after] + comment + jpeg[after:]


def is_overlay(data: bytes) -> bool:
    """Whether these are the bytes of a picture marked by :func:`marked_as_overlay`."""
    return data.startswith(_JPEG) and _OVERLAY in data[: INTAKE.overlay_head]
