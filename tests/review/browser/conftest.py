"""A record in which fields wait, and the page on it, spoken to without a network."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import pytest
import waiting_record
from page_server import HOST, PORT, TODAY

from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.app import make_app
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.browser.guard import Entrance
from sheet_reader.review.source import RecordQuestions


@dataclass
class Visitor:
    """Speaks to the page as a browser would; ``headers`` are sent with every request."""

    app: Any
    entrance: Entrance
    seat: PageReview
    told: list[str]

    def own(self, **changes: str | None) -> dict[str, str]:
        """The headers that the page's own script sends, with some changed or left out."""
        usual: dict[str, str | None] = {
            "Host": HOST, "Origin": f"http://{HOST}", "Sec-Fetch-Site": "same-origin",
            "Content-Type": "application/json", "Cookie": self.cookie,
        }  # fmt: skip
        changed = {key.replace("_", "-"): value for key, value in changes.items()}
        return {key: value for key, value in (usual | changed).items() if value is not None}

    @property
    def cookie(self) -> str:
        if not self.entrance._cookies:
            self.entrance.take(self.entrance.token)
        return f"{self.entrance.cookie_name}={self.entrance._cookies[-1]}"

    async def _send(self, method: str, path: str, **more: Any) -> httpx.Response:
        transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            return await client.request(method, path, **more)

    def request(self, method: str, path: str, **more: Any) -> httpx.Response:
        import asyncio

        return asyncio.run(self._send(method, path, **more))

    def get(self, path: str, **changes: str | None) -> httpx.Response:
        headers = self.own(Origin=None, Content_Type=None) | {}
        changed = {key.replace("_", "-"): value for key, value in changes.items()}
        headers |= {key: value for key, value in changed.items() if value is not None}
        for key in [key for key, value in changed.items() if value is None]:
            headers.pop(key, None)
        return self.request("GET", path, headers=headers)

    def say(self, **message: Any) -> dict[str, Any]:
        answer = self.request("POST", "/say", headers=self.own(), content=json.dumps(message))
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        yield record


@pytest.fixture
def visit(record: Record) -> Callable[..., Visitor]:
    """The page on the record of now."""
    return partial(visitor, record)


def visitor(record: Record, by: str = "Kim", **options: Any) -> Visitor:
    """The page on a record."""
    told: list[str] = []
    seat = PageReview(RecordQuestions(record), by, TODAY, **options)
    entrance = Entrance(PORT)
    return Visitor(make_app(seat, entrance, PORT, tell=told.append), entrance, seat, told)


@pytest.fixture(scope="module")
def page_of_two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """The page on a record with two questions, for tests that answer none."""
    folder = tmp_path_factory.mktemp("study") / "beans"
    with Record.open(waiting_record.bean_study(folder)) as record:
        waiting_record.fill(record, 1, 2)
        yield visitor(record)


@pytest.fixture
def page_on() -> Callable[..., Visitor]:
    """The page on any record."""
    return visitor
