"""Small files that claim large pictures: refused or decoded in little memory.

All at a quarter of what the default bounds allow, so that the tests are quick. Peaks are those of
a process of its own (Linux: VmHWM, which starts anew with the program).
"""

from __future__ import annotations

import io
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFile

from sheet_reader.intake.decoding import decoding_bytes, to_gray
from sheet_reader.intake.files import DEFAULT, Bounds, NoPicture, OpenedPicture
from sheet_reader.intake.pictures import pictures_in

WIDE, HIGH = 6_000, 5_000
MOST_MB = 280
"""What a picture may take: 150 MB allowed for decoding, 30 MB of grey values, some bands."""
MEASURE = """
import sys
from pathlib import Path
from sheet_reader.intake.files import Bounds
from sheet_reader.intake.pictures import pictures_in

def peak_mb():
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))

data = Path(sys.argv[1]).read_bytes()
before = peak_mb()
bounds = Bounds(decoding_bytes=150_000_000, pixels=30_000_000)
(found,) = pictures_in(data, "x", bounds)
print(getattr(found, "reason", "read"), "|", peak_mb() - before)
"""


def saved(mode: str, kind: str, **options: object) -> bytes:
    stream = io.BytesIO()
    Image.new(mode, (WIDE, HIGH)).save(stream, kind, **options)
    return stream.getvalue()


def pdf_with_picture(width: int, height: int) -> bytes:
    """A PDF page with one grey picture of zeros (ISO 32000-1, 8.9.5)."""
    packer = zlib.compressobj(9)
    pixels = b"".join(packer.compress(b"\0" * width) for _ in range(height)) + packer.flush()
    head = b"<</Type/XObject/Subtype/Image/Width %d/Height %d/ColorSpace/DeviceGray" % (
        width,
        height,
    )
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 600 800]"
        b"/Resources<</XObject<</I 4 0 R>>>>/Contents 5 0 R>>",
        head
        + b"/BitsPerComponent 8/Filter/FlateDecode/Length %d>>stream\n" % len(pixels)
        + pixels
        + b"\nendstream",
        b"<</Length 32>>stream\nq 600 0 0 800 0 0 cm /I Do Q   \nendstream",
    ]
    data = b"%PDF-1.4\n"
    for number, body in enumerate(objects, start=1):
        data += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    return data + b"trailer<</Size 6/Root 1 0 R>>\n%%EOF"


DEFLATE = {"compression": "tiff_adobe_deflate"}
BOMBS = {
    "float.tif": lambda: saved("F", "TIFF", **DEFLATE),
    "float_in_one_strip.tif": lambda: saved("F", "TIFF", strip_size=1 << 30, **DEFLATE),
    "clear.png": lambda: saved("RGBA", "PNG"),
    "clear.webp": lambda: saved("RGBA", "WEBP", lossless=True, method=0),
    "progressive.jpg": lambda: saved("CMYK", "JPEG", progressive=True, quality=30),
    "picture.pdf": lambda: pdf_with_picture(20_000, 18_000),
}


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's VmHWM")
@pytest.mark.parametrize("name", BOMBS)
def test_a_small_file_takes_little_memory(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(BOMBS[name]())
    assert path.stat().st_size < 3_000_000
    call = [sys.executable, "-c", MEASURE, str(path)]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    said, _, megabytes = done.stdout.rpartition("|")
    assert said.strip() == "read" or "is too large" in said or "megapixels" in said
    assert float(megabytes) < MOST_MB, said


def test_what_is_refused_is_told_before_decoding() -> None:
    stream = io.BytesIO()
    Image.new("F", (400, 300)).save(stream, "TIFF", **DEFLATE)
    (found,) = pictures_in(stream.getvalue(), "x", Bounds(decoding_bytes=400_000))
    assert isinstance(found, NoPicture)
    assert "is too large" in found.reason
    (found,) = pictures_in(stream.getvalue(), "x", DEFAULT)
    assert isinstance(found, OpenedPicture)


@pytest.mark.parametrize(
    ("mode", "kind", "options", "bytes_per_pixel"),
    [
        ("RGB", "JPEG", {}, 1.0),  # decoded as grey, row by row
        ("RGB", "JPEG", {"progressive": True, "subsampling": "4:2:0"}, 1 + 2 * 1.5),
        ("RGB", "JPEG", {"progressive": True, "subsampling": "4:4:4"}, 1 + 2 * 3.0),
        ("CMYK", "JPEG", {}, 4.0),
        ("L", "PNG", {}, 1.0),
        ("RGB", "PNG", {}, 4.0),
        ("F", "TIFF", {}, 4.0),
        ("F", "TIFF", {"strip_size": 1 << 30, **DEFLATE}, 4 + 4.0),
        ("RGB", "TIFF", {"strip_size": 1 << 30, **DEFLATE}, 4 + 3.0),
    ],
)
def test_bytes_for_a_pixel(
    mode: str, kind: str, options: dict[str, object], bytes_per_pixel: float
) -> None:
    """JPEG's coefficients take 2 bytes (ISO/IEC 10918-1), a strip the file's own samples."""
    stream = io.BytesIO()
    Image.new(mode, (640, 480)).save(stream, kind, **options)
    image = Image.open(stream)
    assert isinstance(image, ImageFile.ImageFile)
    assert decoding_bytes(image) == bytes_per_pixel * 640 * 480


@pytest.mark.parametrize("mode", ["F", "I", "I;16", "RGBA", "LA", "L"])
def test_bands_change_nothing(mode: str, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    shape = (37, 23, {"RGBA": 4, "LA": 2}.get(mode, 1))
    samples = rng.integers(0, 255, shape).squeeze()
    kind = {"F": np.float32, "I": np.int32, "I;16": np.uint16}.get(mode, np.uint8)
    image = Image.fromarray((samples * (200 if mode == "I;16" else 1)).astype(kind))
    assert image.mode == mode
    whole = to_gray(image)
    monkeypatch.setattr("sheet_reader.intake.decoding._BAND_PIXELS", 50)
    assert (to_gray(image) == whole).all()
