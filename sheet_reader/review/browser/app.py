"""The page's addresses. What may come in at all is up to :mod:`.guard`."""

from __future__ import annotations

import json
import re
from collections.abc import Awaitable, Callable
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

Answerer = Callable[[Request], Awaitable[Response]]
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
    pages = Pages(review, entrance, touched, end)
    handlers: dict[Any, Any] = {
        Refused: lambda _request, refused: _line(refused.status, refused.line),
        UnavailableError: lambda _request, error: _line(503, str(error)),
        SheetReaderError: lambda _request, error: _line(409, str(error)),
        HTTPException: lambda _request, error: _line(error.status_code, "There is nothing here."),
        Exception: lambda _request, _error: _line(500, FAULT),
    }
    app = Starlette(routes=pages.routes(), exception_handlers=handlers)
    app.router.redirect_slashes = False
    return Guard(app, entrance, port, tell)


def _line(status: int, line: str) -> Response:
    return JSONResponse({"error": line}, status)


class Pages:
    """What is answered at each address."""

    def __init__(
        self,
        review: PageReview,
        entrance: Entrance,
        touched: Callable[[], None],
        end: Callable[[], None],
    ) -> None:
        self.review, self.entrance, self.touched, self.end = review, entrance, touched, end

    def routes(self) -> list[Route]:
        """Every address."""
        return [
            Route(OPEN, self.open, methods=["POST"]),
            Route("/", self.main),
            Route("/static/{name}", self.static),
            Route("/favicon.ico", self.icon),
            Route("/picture/{kind}/{number}", self.picture),
            Route("/choices", self.choices),
            Route("/say", self.say, methods=["POST"]),
            Route("/keys", self.keys, methods=["GET", "POST"]),
            Route("/done", self.done, methods=["POST"]),
        ]

    async def open(self, request: Request) -> Response:
        """A token of the private file for a cookie."""
        typed = parse_qs((await request.body()).decode("latin-1"))
        cookie = self.entrance.take("".join(typed.get("token", [])))
        if cookie is None:
            raise Refused(403, "This link was used before. Open the file once more.")
        self.touched()
        response = HTMLResponse(page("opened.html"))
        response.set_cookie(self.entrance.cookie_name, cookie, httponly=True, samesite="strict")
        return response

    async def main(self, _request: Request) -> Response:
        """The page itself."""
        self.touched()
        study = self.review.source.study
        return HTMLResponse(page("review.html", title=study.title, by=self.review.by,
                                 audit=self.review.audit))  # fmt: skip

    async def static(self, request: Request) -> Response:
        """A file of the page."""
        found = static_files().get(request.path_params["name"])
        if found is None:
            raise Refused(404, "There is nothing here.")
        return Response(found[0], media_type=found[1])

    async def icon(self, _request: Request) -> Response:
        """The icon, for browsers that ask at the usual address whatever the page says."""
        data, kind = static_files()["icon.svg"]
        return Response(data, media_type=kind)

    async def picture(self, request: Request) -> Response:
        """A picture of a field, sheet or photo."""
        kind, number = request.path_params["kind"], request.path_params["number"]
        if not _NUMBER.fullmatch(number):
            raise Refused(404, "There is no such picture.")
        self.touched()
        made = await run_in_threadpool(self.review.picture, kind, int(number))
        if made is None:
            raise Refused(404, "There is no such picture.")
        return Response(made[0], media_type=made[1])

    async def choices(self, _request: Request) -> Response:
        """What the questions can be chosen by."""
        return JSONResponse(await run_in_threadpool(self.review.choices))

    async def say(self, request: Request) -> Response:
        """An answer or a move."""
        message = await _message(request)
        self.touched()
        return JSONResponse(await run_in_threadpool(self.review.say, message))

    async def keys(self, request: Request) -> Response:
        """The person's own keys, looked at or changed."""
        own = self.review.keys
        if request.method == "POST":
            return JSONResponse(own.keep(await _message(request)))
        return JSONResponse(own.known)

    async def done(self, _request: Request) -> Response:
        """The person is done: the program ends."""
        self.end()
        return JSONResponse({"said": "The program has ended. You can close this page."})


async def _message(request: Request) -> dict[str, Any]:
    try:
        message = json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise Refused(400, "That is no message of this page.") from error
    if not isinstance(message, dict):
        raise Refused(400, "That is no message of this page.")
    return message
