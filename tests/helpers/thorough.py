"""Two sizes of the same tests: small ones by default, all of it with ``--thorough``.

A test whose rule shows in a few cases runs these by default; the rest of its matrix, its longer
random sequences and its further examples run where ``pytest --thorough`` asks for them, or the
environment variable ``SHEET_READER_THOROUGH``.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import settings

ASKED_FOR = "SHEET_READER_THOROUGH"
SHARE = 4
EXAMPLES = 100


def asked_for() -> bool:
    """Whether all of it runs."""
    return os.environ.get(ASKED_FOR, "") not in ("", "0")


def or_fewer(many: int, few: int) -> int:
    """``many`` where all of it runs, else ``few``."""
    return many if asked_for() else few


def examples(many: int = EXAMPLES) -> int:
    """So many of hypothesis's examples, a quarter of them by default."""
    return or_fewer(many, max(5, many // SHARE))


def only(*values: Any, **more: Any) -> Any:
    """A case of a matrix that runs with ``--thorough`` only: ``pytest.param``, marked."""
    return pytest.param(*values, marks=pytest.mark.thorough, **more)


def every(step: int, values: Iterable[Any]) -> list[Any]:
    """All cases of a matrix, of which each ``step``-th runs by default, from the first on."""
    cases = [value if isinstance(value, tuple) else (value,) for value in values]
    return [only(*case) if n % step else pytest.param(*case) for n, case in enumerate(cases)]


settings.register_profile("few", deadline=None, max_examples=EXAMPLES // SHARE)
settings.register_profile("many", deadline=None, max_examples=EXAMPLES)


def load_profile() -> None:
    """How many examples a property is tried with that says nothing itself."""
    settings.load_profile("many" if asked_for() else "few")
