from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from sheet_reader.intake import decoding
from sheet_reader.intake.decoding import to_gray
from sheet_reader.intake.files import Bounds, NoPicture, OpenedPicture
from sheet_reader.intake.pictures import (
    is_picture,
    open_picture,
    open_pictures,
    pictures_in,
    upright,
)

# Source: EXIF 2.32, tag 274 (also TIFF 6.0, p. 36): the place of the stored row 0 and column 0.
ORIENTATIONS = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


def only(data: bytes, **bounds: int) -> OpenedPicture:
    (picture,) = pictures_in(data, "x", Bounds(**bounds))
    assert isinstance(picture, OpenedPicture), picture
    return picture


def refused(data: bytes, **bounds: int) -> str:
    (picture,) = pictures_in(data, "x", Bounds(**bounds))
    assert isinstance(picture, NoPicture)
    assert "\n" not in picture.reason
    return picture.reason


def side(gray: np.ndarray, name: str) -> np.ndarray:
    return {"top": gray[0], "bottom": gray[-1], "left": gray[:, 0], "right": gray[:, -1]}[name]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_by_the_standards_table(orientation: int) -> None:
    stored = np.full((3, 5), 9, dtype=np.uint8)
    stored[0, :] = 1
    row, column = ORIENTATIONS[orientation]
    assert (side(upright(stored, orientation), row) == 1).all()
    stored = np.full((3, 5), 9, dtype=np.uint8)
    stored[:, 0] = 2
    assert (side(upright(stored, orientation), column) == 2).all()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_every_format_comes_upright(kind: str, orientation: int) -> None:
    stored = np.full((96, 160), 255, dtype=np.uint8)
    stored[:32, :] = 0
    exif = Image.Exif()
    exif[274] = orientation
    gray = only(saved(Image.fromarray(stored), kind, exif=exif)).gray
    row, _ = ORIENTATIONS[orientation]
    dark = {name: side(gray, name).mean() < 20 for name in ("top", "bottom", "left", "right")}
    assert [name for name, is_dark in dark.items() if is_dark] == [row]


def test_unknown_orientation_is_left_alone() -> None:
    stored = np.arange(6, dtype=np.uint8).reshape(2, 3)
    assert (upright(stored, 77) == stored).all()


def modes() -> Iterator[tuple[str, Image.Image, int]]:
    """Each picture is a field of mid grey, 128 of 255."""
    yield "grey", Image.new("L", (8, 8), 128), 128
    yield "colour", Image.new("RGB", (8, 8), (128, 128, 128)), 128
    yield "palette", Image.new("RGB", (8, 8), (128, 128, 128)).quantize(4), 128
    yield "half clear black on white", Image.new("RGBA", (8, 8), (0, 0, 0, 127)), 128
    yield "grey with alpha", Image.new("LA", (8, 8), (0, 127)), 128
    yield "16 bit", Image.fromarray(np.full((8, 8), 128 * 257, dtype=np.uint16)), 128
    yield "bilevel", Image.new("1", (8, 8), 1), 255


@pytest.mark.parametrize(("name", "image", "level"), list(modes()), ids=lambda x: str(x)[:24])
def test_every_kind_of_pixel_becomes_grey(name: str, image: Image.Image, level: int) -> None:
    gray = only(saved(image, "PNG")).gray
    assert gray.dtype == np.uint8
    assert gray.shape == (8, 8), name
    assert np.abs(gray.astype(int) - level).max() <= 1, name


def test_cmyk_jpeg() -> None:
    gray = only(saved(Image.new("CMYK", (16, 16), (0, 0, 0, 127)), "JPEG")).gray
    assert abs(int(gray[8, 8]) - 128) <= 2


def test_every_page_of_a_tiff() -> None:
    pages = [Image.new("L", (10, 12), level) for level in (0, 100, 200)]
    data = saved(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    found = list(pictures_in(data, "x"))
    assert [(p.frame, int(p.gray[0, 0])) for p in found if isinstance(p, OpenedPicture)] == [
        (0, 0),
        (1, 100),
        (2, 200),
    ]
    cut = list(pictures_in(data, "x", Bounds(pages=2)))
    assert isinstance(cut[-1], NoPicture)
    assert "first 2 pages" in cut[-1].reason


def test_a_phone_picture_with_a_preview_in_it_counts_once() -> None:
    large, preview = Image.new("RGB", (64, 48), "white"), Image.new("RGB", (16, 12), "white")
    data = saved(large, "MPO", save_all=True, append_images=[preview])
    assert only(data).gray.shape == (48, 64)


def test_a_pdf_gives_its_pages() -> None:
    image = Image.new("L", (600, 800), 255)
    image.paste(0, (0, 0, 300, 400))
    data = saved(image, "PDF")
    gray = only(data).gray
    assert max(gray.shape) == 3400
    assert gray[100, 100] == 0
    assert gray[-100, -100] == 255


@pytest.mark.parametrize("ending", ["pdf", "tiff"])
def test_one_of_many_pictures_is_that_of_its_number(
    tmp_path: Path, ending: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And of a PDF no other page is drawn for it."""
    shades = [Image.new("L", (300, 200), 20 + 40 * number) for number in range(4)]
    path = tmp_path / f"scan.{ending}"
    shades[0].save(path, save_all=True, append_images=shades[1:])
    drawn, draw = [], decoding._page
    monkeypatch.setattr(decoding, "_page", lambda *which: (drawn.append(which[1]), draw(*which))[1])
    for number in (3, 0, 2):
        picture = open_picture(path, number)
        assert picture is not None
        assert picture.frame == number
        assert np.median(picture.gray) == pytest.approx(20 + 40 * number, abs=2)
    assert drawn == ([3, 0, 2] if ending == "pdf" else [])
    assert open_picture(path, 4) is None
    assert open_picture(tmp_path / "none.png", 0) is None


def test_a_pdf_with_a_script_or_a_lock_runs_nothing() -> None:
    data = saved(Image.new("L", (60, 80), 255), "PDF")
    script = b"/Type /Catalog /OpenAction << /S /JavaScript /JS (app.alert\\(1\\)) >>"
    assert isinstance(only(data.replace(b"/Type /Catalog", script)), OpenedPicture)


def test_huge_pdf_pages_and_many_pages_are_refused() -> None:
    data = saved(Image.new("L", (60, 80), 255), "PDF")
    huge = data.replace(b"/MediaBox [ 0 0 60", b"/MediaBox [ 0 0 99999")
    assert huge != data
    assert "impossible size" in refused(huge)
    pages = [Image.new("L", (60, 80), 255)] * 4
    many = saved(pages[0], "PDF", save_all=True, append_images=pages[1:])
    found = list(pictures_in(many, "x", Bounds(pages=2)))
    assert [type(p) for p in found] == [OpenedPicture, OpenedPicture, NoPicture]


def test_truncated_jpeg_is_refused() -> None:
    rng = np.random.default_rng(5)
    data = saved(Image.fromarray(rng.integers(0, 255, (400, 400), dtype=np.uint8)), "JPEG")
    for share in (0.01, 0.3, 0.7, 0.97):
        assert "cut off or damaged" in refused(data[: int(len(data) * share)])


def test_not_a_picture_and_nothing_at_all() -> None:
    assert "not a picture" in refused(b"Dear Ada, the photos follow tomorrow.")
    assert "0 bytes" in refused(b"")


def test_a_200_megapixel_picture_is_refused_before_decoding() -> None:
    data = saved(Image.new("1", (20_000, 10_000)), "PNG")
    assert len(data) < 100_000
    assert "200 megapixels and is too large" in refused(data)


def png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size and has next to no data (PNG specification, section 11.2.2)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    data = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("width", "height"), [(65_535, 65_535), (65_535, 8), (2**31 - 1, 2**31 - 1), (60_000, 4_000)]
)
def test_pictures_that_claim_to_be_huge(width: int, height: int) -> None:
    assert "too large" in refused(png_header(width, height))


def test_a_large_picture_is_halved() -> None:
    data = saved(Image.new("L", (800, 600), 255), "PNG")
    assert only(data, keep_pixels=200_000).gray.shape == (300, 400)
    jpeg = saved(Image.new("L", (800, 600), 255), "JPEG")
    assert only(jpeg, keep_pixels=200_000).gray.shape == (300, 400)


def test_a_file_that_is_too_large(tmp_path: Path) -> None:
    path = tmp_path / "scan.png"
    path.write_bytes(saved(Image.new("L", (60, 80), 255), "PNG"))
    (answer,) = open_pictures(path, Bounds(file_bytes=10))
    assert isinstance(answer, NoPicture)
    assert "MB" in answer.reason
    assert isinstance(open_pictures(tmp_path / "none.png")[0], NoPicture)


def test_heic() -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    image = Image.new("RGB", (320, 240), (255, 255, 255))
    image.paste((0, 0, 0), (0, 0, 160, 120))
    stream = io.BytesIO()
    pillow_heif.from_pillow(image).save(stream)
    data = stream.getvalue()
    assert is_picture(data[:64])
    gray = only(data).gray
    assert gray.shape == (240, 320)
    assert gray[20, 20] < 20
    assert gray[-20, -20] > 235


@pytest.mark.parametrize("shares", [True, False])
def test_a_grey_picture_is_copied_whole_wherever_its_pixels_come_from(
    monkeypatch: pytest.MonkeyPatch, shares: bool
) -> None:
    """Also by a Pillow that would copy the memory which it is given to draw on."""
    if not shares:
        own = Image.frombuffer
        monkeypatch.setattr(Image, "frombuffer", lambda *args: own(*args).copy())
    for pixels in (np.arange(35, dtype=np.uint8).reshape(5, 7), np.full((3, 2), 128, np.uint8)):
        assert np.array_equal(to_gray(Image.fromarray(pixels)), pixels)
