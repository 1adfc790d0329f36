"""Single values in what the page sends, made safe, and sentences in what it is told."""

from __future__ import annotations


def sentence(text: str) -> str:
    """``text`` with a capital in front and a stop behind.

    >>> sentence("not on the list"), sentence("Really?")
    ('Not on the list.', 'Really?')
    """
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", ":", "?", "!")) else f"{text}."


def number_in(value: object, otherwise: int = 0) -> int:
    """A whole number from 0 to 9,999; ``otherwise`` for anything else."""
    return value if isinstance(value, int) and 0 <= value < 10_000 else otherwise


def texts_in(value: object) -> dict[str, str]:
    """Texts by name, 200 characters each at most, without those that say nothing."""
    if not isinstance(value, dict):
        return {}
    return {str(key): str(text)[:200] for key, text in value.items() if str(text).strip()}
