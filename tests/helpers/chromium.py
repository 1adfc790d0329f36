"""A real browser for the tests of pages; they skip where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

PLACES = ("chromium", "chromium-browser", "google-chrome")


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser driven by playwright; skips the test where either is absent."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    found = next((path for name in PLACES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("there is no Chromium on this machine")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()
