"""The page's addresses. What may come in at all is up to :mod:`.guard`."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from sheet_reader.errors import SheetReaderError, UnavailableError
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.browser.guard import FAULT, OPEN, Entrance, Guard, Refused
from sheet_reader.review.browser.pages import page, static_files

_NUMBER = re.compile(r"[0-9]{1,9}", re.ASCII)


def make_app(
    review: PageReview,
    entrance: Entrance,
    port: int,
    *,
    tell: Callable[[str], None],
    touched: Callable[[], None] = lambda: None,
    end: Callable[[], None] = lambda: None,
) -> ASGIApp:
    """The page of ``review``. ``touched`` is called at every request that was let in, ``end`` when
    the person says that she is done.
    """

    async def open_page(request: Request) -> Response:
        """A token of the private file for a cookie."""
        typed = parse_qs((await request.body()).decode("latin-1"))
        cookie = entrance.take("".join(typed.get("token", [])))
        if cookie is None:
            raise Refused(403, "This link was used before. Open the file once more.")
        touched()
        response = HTMLResponse(page("opened.html"))
        response.set_cookie(entrance.cookie_name, cookie, httponly=True, samesite="strict")
        return response

    async def main(_request: Request) -> Response:
        touched()
        title = review.source.study.title
        return HTMLResponse(page("review.html", title=title, by=review.by, audit=review.audit))

    async def static(request: Request) -> Response:
        """A file of the page; its icon also where browsers ask for it whatever the page says."""
        found = static_files().get(request.path_params.get("name", "icon.svg"))
        if found is None:
            raise Refused(404, "There is nothing here.")
        return Response(found[0], media_type=found[1])

    async def picture(request: Request) -> Response:
        kind, number = request.path_params["kind"], request.path_params["number"]
        made = None
        if _NUMBER.fullmatch(number):
            touched()
            made = await run_in_threadpool(review.picture, kind, int(number))
        if made is None:
            raise Refused(404, "There is no such picture.")
        return Response(made[0], media_type=made[1])

    async def choices(_request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(review.choices))

    async def say(request: Request) -> Response:
        """An answer or a move."""
        message = await _message(request)
        touched()
        return JSONResponse(await run_in_threadpool(review.say, message))

    async def keys(request: Request) -> Response:
        """The person's own keys, looked at or changed."""
        changed = request.method == "POST"
        return JSONResponse(
            review.keys.keep(await _message(request)) if changed else review.keys.known
        )

    async def done(_request: Request) -> Response:
        """The person is done: the program ends."""
        end()
        return JSONResponse({"said": "The program has ended. You can close this page."})

    routes = [
        Route(OPEN, open_page, methods=["POST"]),
        Route("/", main),
        Route("/static/{name}", static),
        Route("/favicon.ico", static),
        Route("/picture/{kind}/{number}", picture),
        Route("/choices", choices),
        Route("/say", say, methods=["POST"]),
        Route("/keys", keys, methods=["GET", "POST"]),
        Route("/done", done, methods=["POST"]),
    ]
    handlers: dict[Any, Any] = {
        Refused: lambda _request, refused: _line(refused.status, refused.line),
        UnavailableError: lambda _request, error: _line(503, str(error)),
        SheetReaderError: lambda _request, error: _line(409, str(error)),
        HTTPException: lambda _request, error: _line(error.status_code, "There is nothing here."),
        Exception: lambda _request, _error: _line(500, FAULT),
    }
    app = Starlette(routes=routes, exception_handlers=handlers)
    app.router.redirect_slashes = False
    return Guard(app, entrance, port, tell)


def _line(status: int, line: str) -> Response:
    return JSONResponse({"error": line}, status)


async def _message(request: Request) -> dict[str, Any]:
    try:
        message = json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise Refused(400, "That is no message of this page.") from error
    if not isinstance(message, dict):
        raise Refused(400, "That is no message of this page.")
    return message
