"""What a page says about itself: the text of the machine code and the printed code.

Both hold study, layout version, sheet and page, and both carry a check of their own:

* machine code ``S1/BEAN-TIPS/HKRV/2043/1/ABCD``: the last part is made of 20 bits of the CRC-32
  of what stands before it;
* printed code ``MTK-HRVA-2043-1-X``: the study is abbreviated to three letters and the last sign
  is the ISO/IEC 7064 MOD 37,36 check character of all others.
"""

from __future__ import annotations

import hashlib
import re
import zlib

from sheet_reader.sheet.model import BLANK, SheetCode

LETTERS = "ACDEFHJKMNPRTUVWXY"
"""Letters that are not taken for a digit or for one another in print."""
MARK = "#"
"""Begins ``SheetCode.study`` where only the abbreviation is known (from the printed code)."""
MOST_PAGES = 9
PROOF = "CHEK"
"""Stands for the layout version on the page that checks printer and paper; no sheet has it."""

_ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MACHINE = re.compile(
    rf"S1/([A-Z0-9]+(?:-[A-Z0-9]+)*)/([{LETTERS}]{{4}})/({BLANK}|[0-9]{{2,8}})/([1-9])"
    rf"/([{LETTERS}]{{5}})\Z"
)
_PRINTED = re.compile(
    rf"([{LETTERS}]{{3}})([{LETTERS}]{{4}})({BLANK}|[0-9]{{2,8}})([1-9])([0-9A-Z])\Z"
)
_LIKE = str.maketrans("OQISBZG", "0015826")


def letters(data: bytes, count: int) -> str:
    """``count`` letters of the unambiguous alphabet, drawn from the SHA-256 of ``data``."""
    number = int.from_bytes(hashlib.sha256(data).digest(), "big")
    out = []
    for _ in range(count):
        number, place = divmod(number, len(LETTERS))
        out.append(LETTERS[place])
    return "".join(out)


def study_mark(key: str) -> str:
    """The study's three-letter abbreviation in the printed code."""
    return letters(f"study {key}".encode(), 3)


def _crc_letters(text: str) -> str:
    crc = zlib.crc32(text.encode("ascii"))
    out = []
    for _ in range(5):
        crc, place = divmod(crc, len(LETTERS))
        out.append(LETTERS[place])
    return "".join(out)


def machine_text(code: SheetCode) -> str:
    """The text of the machine code (only signs of the QR code's alphanumeric mode)."""
    body = f"S1/{code.study.upper()}/{code.layout}/{code.sheet}/{code.page}"
    return f"{body}/{_crc_letters(body)}"


def parse_machine_text(text: str) -> SheetCode | None:
    """The code in ``text``, or None for anything that is not exactly one of ours."""
    found = _MACHINE.match(text)
    if found is None or len(found[1]) > 16:
        return None
    if _crc_letters(text.rpartition("/")[0]) != found[5]:
        return None
    return SheetCode(found[1].lower(), found[2], found[3], int(found[4]))


def check_character(text: str) -> str:
    """ISO/IEC 7064 MOD 37,36 check character of ``text`` (digits and capital letters)."""
    carry = 36
    for sign in text:
        carry = (carry + _ALPHANUMERIC.index(sign)) % 36 or 36
        carry = carry * 2 % 37
    return _ALPHANUMERIC[(37 - carry) % 36]


def printed_text(code: SheetCode) -> str:
    """The printed code, as a person or a text recogniser reads it."""
    mark = code.study[1:] if code.study.startswith(MARK) else study_mark(code.study)
    parts = (mark, code.layout, code.sheet, str(code.page))
    return "-".join((*parts, check_character("".join(parts))))


def parse_printed_text(text: str) -> SheetCode | None:
    """The code in ``text``, or None; ``study`` is ``#`` and the abbreviation.

    Blanks and dashes don't matter, nor does a letter read for a digit of like shape (O for 0) in
    the numbers. The check character covers every sign and must stand exactly: taken for its like
    it would let a wrong digit pass.
    """
    if len(text) > 64:
        return None
    signs = re.sub(r"[\s\-–—_.·]+", "", text).upper()
    if not signs.isascii() or len(signs) < 11:
        return None
    tail = signs[7:-1]
    if tail[:-1].translate(_LIKE) == BLANK.translate(_LIKE):
        tail = BLANK + tail[-1]
    else:
        tail = tail.translate(_LIKE)
    found = _PRINTED.match(signs[:7] + tail[:-1] + tail[-1:].translate(_LIKE) + signs[-1])
    if found is None:
        return None
    if found[5] != check_character("".join(found.groups()[:4])):
        return None
    return SheetCode(MARK + found[1], found[2], found[3], int(found[4]))
