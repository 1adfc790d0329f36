"""Pictures that the program itself has drawn: marked when written, known when they come back."""

from __future__ import annotations

from sheet_reader.numbers import INTAKE

_MARK = b"sheet_reader overlay"
_HEAD = INTAKE.overlay_head
_START, _COMMENT = b"\xff\xd8", b"\xff\xfe"


def marked_as_overlay(jpeg: bytes) -> bytes:
    """A JPEG file with a comment that says what it is (segment COM, ITU-T T.81, B.2.4.5).

    The comment follows the first segment, which in a JFIF file must stay the first. Raises
    ValueError for what is no JPEG file.
    """
    if not jpeg.startswith(_START) or len(jpeg) < 6:
        raise ValueError("this is no JPEG file")
    after = 4 + int.from_bytes(jpeg[4:6], "big")
    comment = _COMMENT + (2 + len(_MARK)).to_bytes(2, "big") + _MARK
    return jpeg[:after] + comment + jpeg[after:]


def is_overlay(data: bytes) -> bool:
    """Whether these are the bytes of a picture marked by :func:`marked_as_overlay`."""
    return data.startswith(_START) and _MARK in data[:_HEAD]
