"""Pictures from files: sniffed by content, bounded before decoding, upright and grey."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Callable, Iterator
from itertools import islice

import cv2
import numpy as np
from PIL import (
    Image,
    ImageFile,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from sheet_reader.intake.bounds import DEFAULT, Bounds
from sheet_reader.intake.cost import GREY_JPEG, decoding_bytes
from sheet_reader.intake.gray import Gray, to_gray
from sheet_reader.intake.names import file_name
from sheet_reader.intake.pdf import PdfPage, looks_like_pdf, pdf_pages
from sheet_reader.intake.types import Picture, SizedFile, Unreadable

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


def open_pictures(path: SizedFile, bounds: Bounds = DEFAULT) -> list[Picture | Unreadable]:
    """Every picture in the file at ``path`` (several for a TIFF or PDF), upright and grey.

    A file that gives no picture gives one :class:`Unreadable` with the reason; nothing is raised
    for bad content, however hostile.
    """
    return list(_pictures_at(path, bounds))


def open_picture(path: SizedFile, number: int, bounds: Bounds = DEFAULT) -> Picture | None:
    """The picture with this number (from 0) in the file at ``path``, or None where there is none or
    it can't be read; see :func:`open_pictures`. No other page of a PDF is drawn for it.
    """
    found = next(_pictures_at(path, bounds, number), None)
    return found if isinstance(found, Picture) else None


def _pictures_at(
    path: SizedFile, bounds: Bounds, first: int = 0
) -> Iterator[Picture | Unreadable]:
    name = file_name(path.name)
    try:
        size = path.stat().st_size
        if size > bounds.file_bytes:
            yield Unreadable(name, too_many_bytes(size, bounds.file_bytes))
            return
        data = path.read_bytes()
    except OSError as error:
        yield Unreadable(name, f"the file cannot be read: {error.strerror or error}")
        return
    yield from pictures_in(data, name, bounds, first=first)


def too_many_bytes(size: int, limit: int) -> str:
    """The reason that refuses a file of ``size`` bytes where ``limit`` are allowed."""
    return f"the file has {size / 1e6:,.0f} MB, more than the {limit / 1e6:,.0f} MB allowed"


def pictures_in(
    data: bytes, name: str, bounds: Bounds = DEFAULT, *, first: int = 0
) -> Iterator[Picture | Unreadable]:
    """Every picture in the bytes of one file from the ``first`` on, one at a time; see
    :func:`open_pictures`.
    """
    digest = hashlib.sha256(data).hexdigest()
    if not data:
        yield Unreadable(name, "the file is empty (0 bytes)", digest)
        return
    if looks_like_pdf(data):
        frames = _pdf_frames(data, bounds, first)
    else:
        frames = islice(_frames(data, bounds), first, None)
    for number, frame in enumerate(frames, first):
        if isinstance(frame, str):
            yield Unreadable(name, frame, digest)
        else:
            yield Picture(frame, digest, name, number)


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
    return head[4:8] == b"ftyp" and head[8:12] in {
        b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif",
    }  # fmt: skip


def _pdf_frames(data: bytes, bounds: Bounds, first: int) -> Iterator[Gray | str]:
    for page in pdf_pages(data, bounds, first=first):
        yield page.gray if isinstance(page, PdfPage) else page


def _frames(data: bytes, bounds: Bounds) -> Iterator[Gray | str]:
    """The frames of a picture file; a reason (text) instead of a frame that cannot be had.

    Decoders fail on hostile bytes in ways they do not document, so that whatever they raise means
    the same here: a damaged picture.
    """
    if is_heif(data) and not _heif_ready():
        yield "HEIC pictures need the package pillow-heif, which is not installed"
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            image = Image.open(io.BytesIO(data), formats=[*FORMATS, *heif_formats(data)])
        except Image.DecompressionBombError as bomb:
            yield _too_large(_pixels_said(bomb), bounds)
            return
        except Exception:
            yield TRUNCATED if is_picture(data) else NOT_A_PICTURE
            return
    with image:
        yield from _frames_of(image, bounds)


def _frames_of(image: ImageFile.ImageFile, bounds: Bounds) -> Iterator[Gray | str]:
    number = 0
    while True:
        if number >= bounds.pages:
            yield f"only the first {bounds.pages} pages were read: please send the rest separately"
            return
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                frame = _decode(image, bounds)
            except Exception:
                frame = TRUNCATED
        yield frame
        if image.format != "TIFF":  # an MPO's further frames repeat its first, only smaller
            return
        number += 1
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                image.seek(number)
        except Exception:
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
    kept = _halved(gray.shape[1], gray.shape[0], bounds.keep_pixels)
    if kept != (gray.shape[1], gray.shape[0]):
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


def _pixels_said(bomb: Image.DecompressionBombError) -> int:
    """Pillow refuses the largest pictures itself and tells their size only in words."""
    found = re.search(r"\d+", str(bomb))
    return int(found.group()) if found else 0


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


def heif_formats(data: bytes) -> tuple[str, ...]:
    """The further format of a HEIC file, where its package is there."""
    return ("HEIF",) if is_heif(data) and _heif_ready() else ()


def suffix_of(data: bytes) -> str:
    """The usual ending for a file's kind, by its content."""
    if data.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if data.startswith(b"\x89PNG"):
        return ".png"
    if data[:4] == b"RIFF":
        return ".webp"
    if data[:2] in (b"II", b"MM"):
        return ".tif"
    return ".heic" if is_heif(data) else ".pdf"
