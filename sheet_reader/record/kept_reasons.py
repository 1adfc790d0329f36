"""Reasons as the record keeps them: as data, or in the words of an earlier version."""

from __future__ import annotations

from collections.abc import Iterable

from sheet_reader.phrases import OCCLUSIONS
from sheet_reader.reasons import Code, Reason, Reasons, because, from_json, in_words, to_json

_HIDDEN = "hidden: "
"""How earlier versions began the words for a field of which no box can be seen."""


def kept(reasons: Iterable[Reason]) -> str | None:
    """What goes into a column ``reasons``: None where there is nothing to say."""
    return to_json(reasons) if (reasons := tuple(reasons)) else None


def restored(data: str | None, text: str) -> Reasons:
    """The reasons of a row from its columns ``reasons`` and ``reason``; damaged ones as words.

    Rows of earlier versions have words only. Of those it matters, when photos of a sheet are put
    together, whether a field could be seen; all others stay as they are.
    """
    if data is not None:
        try:
            return from_json(data)
        except (TypeError, ValueError):
            return in_words(data)
    if text.startswith(_HIDDEN):
        why = text.removeprefix(_HIDDEN)
        codes = {said: code.value for code, said in OCCLUSIONS.items()}
        return (because(Code.HIDDEN, why=codes.get(why, why)),)
    return in_words(text)
