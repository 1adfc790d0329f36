"""Chromium without a network, for tests of pages. Where it is absent, these tests skip and say so.

A test file that wants it imports the fixture: ``from browser import chromium  # noqa: F401``.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

# no picture here needs a graphics processor, and imitating one takes a fifth of the time
LEAN = ("--disable-gpu", "--disable-extensions", "--disable-software-rasterizer")
NAMES = ("chromium", "chromium-browser", "google-chrome")
AXE_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A browser (playwright's) that the tests of one file share; Debian's own Chromium."""
    needs = "playwright is not installed: pip install -e '.[dev]'"
    playwright = pytest.importorskip("playwright.sync_api", reason=needs)
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip("Chromium is not installed (on Debian and Ubuntu: apt-get install chromium)")
    # its own sandbox can't be set up by root, as whom CI may run
    arguments = [*LEAN, *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=program, args=arguments)
        for name in ("new_context", "new_page"):
            setattr(browser, name, _patient(getattr(browser, name)))
        yield browser
        browser.close()


def _patient(make: Callable[..., Any]) -> Callable[..., Any]:
    """Half a minute, which playwright waits for a state, is too little on a busy machine."""

    def made(**options: Any) -> Any:
        it = make(**options)
        it.set_default_timeout(600_000)
        return it

    return made


def open_offline(browser: Any, path: Path, asked: list[str], **options: Any) -> Any:
    """A page with the file at ``path`` in it and the network off. ``asked`` gets the address of
    everything that the page asks for beside itself, and what its console complains of.
    """
    context = browser.new_context(offline=True, **options)
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: asked.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: asked.append(f"error: {error}"))
    page.goto(path.as_uri(), wait_until="networkidle")
    asked.remove(path.as_uri())
    return page


def axe_violations(page: Any, *rules: str) -> list[str]:
    """What axe-core (https://github.com/dequelabs/axe-core; its rules of WCAG 2.2 A and AA and its
    best practices, or only these ``rules``) finds amiss: rule and element of each violation.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    kind, values = ("rule", rules) if rules else ("tag", AXE_TAGS)
    options = {"runOnly": {"type": kind, "values": values}, "resultTypes": ["violations"]}
    found = axe.run(page, options=options).response
    assert rules or len(found["passes"]) > 10, "axe looked at next to nothing"
    return [
        f"{violation['id']}: {node['html'][:120]}"
        for violation in found["violations"]
        for node in violation["nodes"]
    ]
