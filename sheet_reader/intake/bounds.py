"""How much of anything the intake is willing to take: bounds on hostile and mistaken input."""

from __future__ import annotations

from dataclasses import dataclass

MEGA = 1_000_000


@dataclass(frozen=True, slots=True)
class Bounds:
    """Upper bounds; whatever is larger is refused with a reason before it is decoded.

    ``file_bytes`` one picture or PDF; ``mail_bytes`` one message; ``pixels`` of one picture;
    ``side`` its longer side in px; ``decoding_bytes`` the memory for decoding it; ``keep_pixels``
    larger pictures are halved until they are smaller; ``pages`` of one PDF or TIFF; ``parts`` of
    one message; ``zip_members``, ``zip_bytes`` (unpacked, all together) and ``zip_ratio``
    (unpacked to packed) of one archive.
    """

    file_bytes: int = 100 * MEGA
    mail_bytes: int = 150 * MEGA
    pixels: int = 120 * MEGA
    side: int = 32_000
    decoding_bytes: int = 600 * MEGA
    keep_pixels: int = 50 * MEGA
    pages: int = 60
    pdf_long_side: int = 3_400
    pdf_side_mm: float = 3_000.0
    parts: int = 200
    zip_members: int = 500
    zip_bytes: int = 1_000 * MEGA
    zip_ratio: float = 200.0


DEFAULT = Bounds()
