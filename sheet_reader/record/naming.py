"""What a photo is called: a neutral name outside, with the file's own name for her eyes only."""

from __future__ import annotations

import re
from collections.abc import Mapping

_NEUTRAL = re.compile(r"\bphoto-(\d{4,})\b")


def neutral_name(photo_id: int) -> str:
    """The name under which a photo stands in everything that leaves the record.

    >>> neutral_name(27)
    'photo-0027'
    """
    return f"photo-{photo_id:04d}"


def both_names(photo_id: int, name: str) -> str:
    """The file's name with the neutral one beside it, for messages on her own terminal.

    >>> both_names(27, "garden.jpg")
    'garden.jpg (photo-0027)'
    """
    neutral = neutral_name(photo_id)
    return neutral if name in ("", neutral) else f"{name} ({neutral})"


def with_file_names(text: str, names: Mapping[int, str]) -> str:
    """``text`` with every neutral name of a photo in ``names`` replaced by its file name."""
    return _NEUTRAL.sub(lambda m: names.get(int(m.group(1)), m.group()), text)
