"""The words of the update filled in: the table stands in :mod:`sheet_reader.study.words`."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date

from sheet_reader.errors import UsageError
from sheet_reader.study.words import ENGLISH_UPDATE as ENGLISH

_NAME = re.compile(r"\{(\w+)\}")


class UpdateWords:
    """The texts of one update. ``changed`` replaces English texts by key.

    Raises UsageError for an unknown key, a text that isn't one, an unknown name in braces, or
    months that are not twelve.
    """

    def __init__(self, changed: Mapping[str, str] | None = None) -> None:
        for key, text in (changed or {}).items():
            _check(key, text)
        self._texts = {**ENGLISH, **(changed or {})}

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of ``key`` with its names filled in."""
        return _NAME.sub(lambda match: str(values[match[1]]), self._texts[key])

    def count(self, key: str, n: int, /, **values: object) -> str:
        """The text for ``n`` things; ``{n}`` is the number."""
        one, *others = self._texts[key].split("|")
        chosen = one if n == 1 or not others else others[-1 if n == 0 else 0]
        return _NAME.sub(lambda match: str({**values, "n": n}[match[1]]), chosen)

    def number(self, value: float, digits: int = 2) -> str:
        """A number with ``digits`` significant digits or all before the point; "0" for nothing."""
        if value == 0:
            return "0"
        behind = digits - 1 - math.floor(math.log10(abs(value)))
        text = f"{value:.{min(max(0, behind), 6)}f}"
        return text.replace(".", self._texts["decimal_point"])

    def percent(self, share: float) -> str:
        """A share (0..1 or more) in whole per cent."""
        return self("percent", n=f"{100 * share:.0f}")

    def change(self, ratio: float) -> str:
        """A ratio in words: "40 % fewer", "12 % more", "the same"."""
        by = round(100 * (ratio - 1))
        if by == 0:
            return self("same")
        return self("fewer" if by < 0 else "more", by=self("percent", n=abs(by)))

    def day(self, day: date, *, short: bool = False) -> str:
        """A date, ``short`` without its year."""
        month = self._texts["months"].split()[day.month - 1]
        key = "date_short" if short else "date"
        return self(key, day=day.day, month=month, year=day.year)

    def listed(self, items: list[str]) -> str:
        """Items with commas and a last "and"."""
        if len(items) < 2:
            return "".join(items)
        return self("list_and", rest=", ".join(items[:-1]), last=items[-1])


def _check(key: str, text: object) -> None:
    if key not in ENGLISH:
        raise UsageError(f"words.{key}: the update has no such text")
    if not isinstance(text, str):
        raise UsageError(f"words.{key}: must be a text")
    unknown = sorted(set(_NAME.findall(text)) - set(_NAME.findall(ENGLISH[key])))
    if unknown:
        known = ", ".join(f"{{{name}}}" for name in sorted(set(_NAME.findall(ENGLISH[key]))))
        raise UsageError(
            f"words.{key}: {{{unknown[0]}}} is not known here", remedy=f"known: {known or 'none'}"
        )
    if key == "months" and len(text.split()) != 12:
        raise UsageError("words.months: twelve names are needed, parted by spaces")
