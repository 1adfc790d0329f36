"""What a photo is called: a neutral name outside, with the file's own name for her eyes only."""

from __future__ import annotations

from sheet_reader.phrases import neutral_name as neutral_name


def both_names(photo_id: int, name: str) -> str:
    """The file's name with the neutral one beside it, for messages on her own terminal.

    >>> both_names(27, "garden.jpg")
    'garden.jpg (photo-0027)'
    """
    neutral = neutral_name(photo_id)
    return neutral if name in ("", neutral) else f"{name} ({neutral})"
