"""Who is let in. Everything is tried on the ASGI application itself, as a hostile page would."""

from __future__ import annotations

import json
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import decided
import pytest
from page_server import HOST, PORT

from sheet_reader.numbers import REVIEW
from sheet_reader.review.browser.guard import Entrance


@pytest.fixture
def page(page_of_two: Any) -> Any:
    return page_of_two


def test_the_page_and_its_parts_are_served_to_its_own(page: Any) -> None:
    main = page.get("/")
    assert main.status_code == 200
    assert "Bean tips" in main.text
    for name in ("review.js", "review.css", "wire.js", "icon.svg"):
        assert page.get(f"/static/{name}").status_code == 200, name
    assert page.get("/favicon.ico").headers["content-type"] == "image/svg+xml"
    assert page.get("/picture/sheet/1").headers["content-type"] == "image/jpeg"


@pytest.mark.parametrize("path", ["/", "/static/review.js", "/picture/sheet/1", "/choices"])
@pytest.mark.parametrize(
    "changes",
    [
        {"Cookie": None},
        {"Cookie": f"sheet-reader-{PORT}=guess"},
        {"Cookie": "sheet-reader-1="},
        {"Host": "example.org"},
        {"Host": "127.0.0.1"},
        {"Host": f"127.0.0.1:{PORT + 1}"},
        {"Host": f"{HOST}.example.org"},
        {"Host": f"127.0.0.1:{PORT}@example.org"},
        {"Host": f"[::1]:{PORT}"},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "cross-site"},
    ],
    ids=str,
)
def test_strangers_see_nothing(page: Any, path: str, changes: dict[str, str | None]) -> None:
    answer = page.get(path, **changes)
    assert answer.status_code == 403
    assert answer.headers["content-type"] == "application/json"


@pytest.mark.parametrize(
    "changes",
    [
        {"Origin": None},
        {"Origin": "null"},
        {"Origin": "http://example.org"},
        {"Origin": f"http://127.0.0.1:{PORT + 1}"},
        {"Origin": f"https://{HOST}"},
        {"Origin": f"http://localhost:{PORT}"},
        {"Sec_Fetch_Site": None},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "none"},
        {"Cookie": None},
        {"Host": f"localhost:{PORT + 1}"},
    ],
    ids=str,
)
@pytest.mark.parametrize("path", ["/say", "/done"])
def test_nothing_is_written_for_strangers(
    page: Any, path: str, changes: dict[str, str | None]
) -> None:
    card = page.say(act="show")["card"]
    text = json.dumps({"act": "take", "card": card["token"]})
    answer = page.request("POST", path, headers=page.own(**changes), content=text)
    assert answer.status_code == 403
    assert len(decided.pending(page.seat.source.record)) == 2


def test_another_kind_of_body_is_refused(page: Any) -> None:
    for kind in ("text/plain", "application/x-www-form-urlencoded", None):
        answer = page.request("POST", "/say", headers=page.own(Content_Type=kind), content=b"{}")
        assert answer.status_code == 415
    for body in (b"", b"[]", b"{", b"\xff", b"[" * 60_000, b"7"):
        answer = page.request("POST", "/say", headers=page.own(), content=body)
        assert answer.status_code == 400, body[:9]
    assert page.told == []


@pytest.mark.parametrize("declared", [True, False])
def test_ten_megabytes_are_too_much(page: Any, declared: bool) -> None:
    async def drops() -> Any:
        for _ in range(160):
            yield b"x" * 65_536

    body: Any = b"x" * 10_485_760 if declared else drops()
    for path, headers in (("/say", page.own()), ("/open", page.own(Cookie=None))):
        answer = page.request("POST", path, headers=headers, content=body)
        assert answer.status_code == 413
        body = b"x" * 10_485_760 if declared else drops()
    assert page.get("/").status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/../study.toml", "/static/../app.py", "/static/..%2fapp.py", "/static/%2e%2e/app.py",
        "/static//review.js", "/static/review.js/", "/static/", "/static/page.py",
        "/picture/sheet/..", "/picture/sheet/1%00", "/picture/sheet/-1", "/picture/sheet/1e3",
        "/picture/sheet/٣", "/picture/sheet/99999999999999999999", "/picture/sheet/999",
        "/picture/close/999", "/picture/nothing/1", "/picture/sheet/1/2", "/record.sqlite",
        "/picture/..\\..\\x/1", "/%", "/open", "/say", "/picture",
    ],
)  # fmt: skip
def test_paths_lead_nowhere_else(page: Any, path: str) -> None:
    answer = page.get(path)
    assert answer.status_code in (404, 405)
    assert "Traceback" not in answer.text
    assert page.told == []


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_do_nothing(page: Any, method: str) -> None:
    assert page.request(method, "/say", headers=page.own()).status_code == 405


def test_every_answer_has_the_policy_and_is_kept_nowhere(page: Any) -> None:
    answers = [page.get("/"), page.get("/picture/sheet/1"), page.get("/nothing"),
               page.get("/", Cookie=None)]  # fmt: skip
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; ")
        assert "require-trusted-types-for 'script'" in policy
        assert "unsafe" not in policy
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_the_token_opens_once_and_gives_a_strict_cookie(page: Any) -> None:
    token = page.entrance.token
    form = {"Host": HOST, "Origin": "null", "Sec-Fetch-Site": "cross-site"}
    wrong = page.request("POST", "/open", headers=form, data={"token": token[:-1]})
    assert wrong.status_code == 403
    assert "set-cookie" not in wrong.headers
    opened = page.request("POST", "/open", headers=form, data={"token": token})
    assert opened.status_code == 200
    cookie = opened.headers["set-cookie"].lower()
    assert cookie.startswith(f"sheet-reader-{PORT}=")
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert token not in opened.text
    again = page.request("POST", "/open", headers=form, data={"token": token})
    assert again.status_code == 403


def test_the_private_file_is_hers_alone_and_holds_the_next_token(tmp_path: Path) -> None:
    file = tmp_path / "open.html"
    entrance = Entrance(PORT, file)
    first = entrance.token
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert first in file.read_text()
    assert entrance.take(first) is not None
    assert first not in file.read_text()
    assert entrance.token in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    entrance.close()
    assert not any(tmp_path.iterdir())


def test_a_fault_of_the_program_is_one_line_and_the_page_goes_on(
    page: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(page.seat, "say", lambda _message: 1 / 0)
        answer = page.request("POST", "/say", headers=page.own(), content=b"{}")
    assert answer.status_code == 500
    assert "Traceback" not in answer.text
    assert page.told == ["unexpected error in the page (ZeroDivisionError: division by zero)"]
    page.told.clear()
    assert page.say(act="show")["card"] is not None


def test_texts_of_the_study_are_text(visit: Callable[..., Any]) -> None:
    page = visit(by="<script>alert(1)</script>")
    text = page.get("/").text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


def test_the_most_that_is_taken_is_far_more_than_a_remark() -> None:
    assert REVIEW.page_body_bytes >= 4 * 2_000
