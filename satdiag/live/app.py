"""The page's application: which address answers what. Every check of who asks stands before it, in `security`."""

from __future__ import annotations

import asyncio
import gzip
import json
from collections.abc import Awaitable, Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from satdiag.errors import BadInput, Problem, SatdiagError, StoreWaits
from satdiag.language import LANGUAGES, speaking, spoken, tell
from satdiag.live.asked import NotAsked, ask_of, range_of
from satdiag.live.events import EventStream
from satdiag.live.handing import Handing
from satdiag.live.lineups import MOST_CHANNELS, Marks, kept_names, read_kept, told
from satdiag.live.page_words import language_of, page_in
from satdiag.live.pairing import TooSoon, WrongCode
from satdiag.live.pasted import PastedChannel, read_channels
from satdiag.live.security import MOST_LINEUP_BYTES, Access, Guard
from satdiag.live.taps import NotATap
from satdiag.live.views import VIEWS

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp, Receive, Scope, Send

    from satdiag.live.deck import Deck

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}

LANGUAGE_COOKIE = "satdiag_lang"
STREAM_THREADS, VIEW_THREADS = 4, 4
"""So many of the threads, of which a tap needs one too, all streams take at once, and all views that are made."""

Answering = Callable[[Mapping[str, Any]], Awaitable[Response]]


class BadRequest(Exception):
    """What was sent is not what this address takes; the text says why."""


def make_app(deck: Deck, access: Access) -> Starlette:
    """The application over a deck that was started; `access` says who is let in."""
    pages = _Pages()
    data = _Data(deck, access)
    streams = _Streams(deck, access)
    handing = Handing(deck.maker)
    routes = [
        Route("/", pages.index, methods=["GET"]),
        Route("/static/{name}", pages.static, methods=["GET"]),
        Route("/plotly.js", pages.plotly, methods=["GET"]),
        Route("/time", data.time, methods=["GET"]),
        Route("/state", data.state, methods=["GET"]),
        Route("/events", streams, methods=["GET"]),
        Route("/levels", data.levels, methods=["GET"]),
        Route("/channels", data.channels, methods=["GET"]),
        Route("/channels/numbers", data.channel_numbers, methods=["GET"]),
        Route("/fill-in", data.fill_in, methods=["GET"]),
        Route("/view/{name}", data.view, methods=["GET"]),
        Route("/pair", _change(data.pair), methods=["POST"]),
        Route("/taps", _change(data.taps), methods=["POST"]),
        Route("/sheet", _change(data.sheet), methods=["POST"]),
        Route("/skyline", _change(data.skyline), methods=["POST"]),
        Route("/lineup/read", _change(data.read_lineup), methods=["POST"]),
        Route("/lineup", _change(data.lineup), methods=["POST"]),
        Route("/lineup/marks", _change(data.lineup_marks), methods=["POST"]),
        Route("/lineups", data.kept_lineups, methods=["GET"]),
        Route("/lineups/read", _change(data.read_kept), methods=["POST"]),
        Route("/lineups/keep", _change(data.keep_lineup), methods=["POST"]),
        Route("/make", _change(handing.make), methods=["POST"]),
        Route("/made", handing.told, methods=["GET"]),
        Route("/made/{id}/{name}", handing.paper, methods=["GET"]),
    ]
    guards = [Middleware(_Speaking), Middleware(Guard, access=access)]  # a refusal is read too
    handlers: Mapping[Any, Any] = {404: _not_found, 405: _not_found}
    app = Starlette(routes=routes, middleware=guards, exception_handlers=handlers)
    app.router.redirect_slashes = False  # an address that is nearly one of ours is none
    return app


class _Speaking:
    """Answers each page in its language: what it chose (cookie `satdiag_lang`), else what its browser asks for."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = HTTPConnection(scope)
        chosen = request.cookies.get(LANGUAGE_COOKIE, "")
        with speaking(language_of(chosen, request.headers.get("accept-language", ""))):
            await self._app(scope, receive, send)


async def _not_found(request: Request, error: Exception) -> Response:
    status = getattr(error, "status_code", 404)
    return JSONResponse({"error": tell("There is nothing at this address.")}, status)


# --- what changes something ----------------------------------------------------------------------------------------


def _change(answer: Answering) -> Callable[[Request], Awaitable[Response]]:
    """A route that takes a JSON object; what is wrong with it becomes a plain answer."""

    async def route(request: Request) -> Response:
        try:
            return await answer(_object(await request.body()))
        except (BadRequest, NotATap) as error:
            return JSONResponse({"error": str(error)}, 400)
        except BadInput as error:
            return JSONResponse({"problems": [_problem(one) for one in error.problems]}, 422)
        except StoreWaits as error:
            return JSONResponse({"error": str(error)}, 503, {"Retry-After": "2"})
        except SatdiagError as error:
            return JSONResponse({"error": str(error)}, 503)

    return route


def _problem(problem: Problem) -> dict[str, str]:
    return {"key": problem.column or "", "what": problem.what, "mend": problem.mend}


def _object(body: bytes) -> Mapping[str, Any]:
    """A JSON object. Raises BadRequest, also for what cannot be written back: NaN, half a character, deep nesting."""
    try:
        value = json.loads(body.decode("utf-8"))
        json.dumps(value, ensure_ascii=False, allow_nan=False).encode("utf-8")
    except (ValueError, RecursionError):
        raise BadRequest("The body is not JSON in UTF-8.") from None
    if not isinstance(value, dict):
        raise BadRequest("The body is not a JSON object.")
    return value


def _list(body: Mapping[str, Any], key: str, most: int) -> list[Any]:
    value = body.get(key)
    if not isinstance(value, list) or len(value) > most:
        raise BadRequest(f"'{key}' must be a list of {most} at most.")
    return value


class _Data:
    """What the page reads and changes."""

    def __init__(self, deck: Deck, access: Access) -> None:
        self._deck, self._access = deck, access
        self._room = asyncio.Semaphore(VIEW_THREADS)

    async def time(self, request: Request) -> Response:
        """Both clocks of this computer."""
        return JSONResponse(self._deck.time())

    async def state(self, request: Request) -> Response:
        """The whole state of the page."""
        return JSONResponse(await run_in_threadpool(self._deck.state, self._access.role(request.scope)))

    async def fill_in(self, request: Request) -> Response:
        """How the channels came in, as a figure."""
        return JSONResponse(await run_in_threadpool(self._deck.fill_in))

    async def channels(self, request: Request) -> Response:
        """A part of the channels where there are too many to tell them all."""
        return await self._asked(request, lambda asked: self._deck.channels(ask_of(asked)))

    async def channel_numbers(self, request: Request) -> Response:
        """Which channels lie between two numbers."""
        return await self._asked(request, lambda asked: self._deck.channel_numbers(*range_of(asked)))

    async def _asked(self, request: Request, find: Callable[[Mapping[str, str]], Any]) -> Response:
        try:
            async with self._room:
                return JSONResponse(await run_in_threadpool(find, request.query_params))
        except NotAsked as error:
            return JSONResponse({"error": str(error)}, 400)

    async def view(self, request: Request) -> Response:
        """What a view shows of the last analysis."""
        name = request.path_params["name"]
        if name not in VIEWS:
            return JSONResponse({"error": tell("There is nothing at this address.")}, 404)
        role = self._access.role(request.scope)
        async with self._room:
            return JSONResponse(await run_in_threadpool(self._deck.view, name, role))

    async def levels(self, request: Request) -> Response:
        """The levels of the last half hour."""
        return JSONResponse(await run_in_threadpool(self._deck.levels))

    async def pair(self, body: Mapping[str, Any]) -> Response:
        """A session for a code."""
        code = body.get("code")
        if not isinstance(code, str) or len(code) > 100:
            raise BadRequest("'code' must be the code that satdiag printed, as text.")
        try:
            token, role = await run_in_threadpool(self._access.pairing.pair, code)
        except TooSoon as error:
            wait = str(max(1, round(error.wait_s)))
            return JSONResponse({"error": f"{error}.", "wait_s": error.wait_s}, 429, {"Retry-After": wait})
        except WrongCode as error:
            return JSONResponse({"error": f"{error}."}, 403)
        response = JSONResponse({"role": role})
        # No 'Secure': over plain HTTP in a local network a browser would not keep such a cookie at all.
        # It lasts as long as the session: a telephone ends its browser when it likes.
        age_s = int(self._access.pairing.left_s)
        response.set_cookie(self._access.cookie, token, max_age=age_s, path="/", httponly=True, samesite="strict")
        return response

    async def taps(self, body: Mapping[str, Any]) -> Response:
        """What was tapped; answered when it is committed."""
        taps = _list(body, "taps", 50)
        answer = await run_in_threadpool(self._deck.take_taps, body.get("page"), taps)
        return JSONResponse({"saved": answer.saved, "refused": answer.refused, "conflict": answer.conflict})

    async def sheet(self, body: Mapping[str, Any]) -> Response:
        """Changes of the sheet."""
        changes = body.get("changes")
        if not isinstance(changes, dict):
            raise BadRequest("'changes' must be an object of keys and values.")
        return JSONResponse({"sheet": await run_in_threadpool(self._deck.change_sheet, changes)})

    async def skyline(self, body: Mapping[str, Any]) -> Response:
        """An edge of what stands around, entered or taken out."""
        out, pair = body.get("out", False), (body.get("azimuth_deg"), body.get("elevation_deg"))
        if not isinstance(out, bool):
            raise BadRequest("'out' must be true or false.")
        return JSONResponse(await run_in_threadpool(self._deck.change_skyline, *pair, out))

    async def read_lineup(self, body: Mapping[str, Any]) -> Response:
        """What a pasted channel list would become; nothing is changed."""
        text = _text(body, "text", MOST_LINEUP_BYTES)
        return JSONResponse(told(await run_in_threadpool(read_channels, text)))

    async def lineup(self, body: Mapping[str, Any]) -> Response:
        """Another line-up."""
        channels = [_channel(one) for one in _list(body, "channels", MOST_CHANNELS)]
        if not channels:
            raise BadRequest("'channels' must hold a channel at least.")
        return JSONResponse({"count": await run_in_threadpool(self._deck.set_lineup, channels, _marks(body))})

    async def lineup_marks(self, body: Mapping[str, Any]) -> Response:
        """Other marks of the line-up that is there."""
        return JSONResponse({"count": await run_in_threadpool(self._deck.mark_lineup, _marks(body))})

    async def kept_lineups(self, request: Request) -> Response:
        """The names of the line-ups that are kept for all jobs."""
        try:
            return JSONResponse({"names": await run_in_threadpool(kept_names)})
        except SatdiagError as error:
            return JSONResponse({"error": str(error)}, 503)

    async def read_kept(self, body: Mapping[str, Any]) -> Response:
        """A kept line-up, as a pasted list is read; nothing is changed."""
        return JSONResponse(told(await run_in_threadpool(read_kept, _text(body, "name", 200))))

    async def keep_lineup(self, body: Mapping[str, Any]) -> Response:
        """Keep the job's line-up for other jobs."""
        name, replace = _text(body, "name", 200), body.get("replace", False)
        if not isinstance(replace, bool):
            raise BadRequest("'replace' must be true or false.")
        return JSONResponse({"name": name, "kept": await run_in_threadpool(self._deck.keep_lineup, name, replace)})


def _text(body: Mapping[str, Any], key: str, most: int) -> str:
    value = body.get(key)
    if not isinstance(value, str) or len(value) > most:
        raise BadRequest(f"'{key}' must be text of {most} characters at most.")
    return value


def _marks(body: Mapping[str, Any]) -> Marks:
    """Which categories are outside the package, which are in it, and what the package is called, as far as said."""
    outside, inside = (_list(body, key, MOST_CHANNELS) if key in body else [] for key in ("outside", "inside"))
    if not all(isinstance(one, str) for one in (*outside, *inside)):
        raise BadRequest("'outside' and 'inside' must hold names of categories.")
    return Marks(outside, inside, _text(body, "package", 100) if "package" in body else "")


def _channel(value: object) -> PastedChannel:
    if not isinstance(value, dict):
        raise BadRequest("A channel must be an object with 'number', 'name', 'category' and 'packages'.")
    number, texts = value.get("number"), [value.get(key, "") for key in ("name", "category", "packages")]
    if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number <= 9_999_999:
        raise BadRequest("A channel's 'number' must be a whole number from 0 to 9999999.")
    if not all(isinstance(text, str) for text in texts) or sum(map(len, texts)) > 1000:
        raise BadRequest("A channel's 'name', 'category' and 'packages' must be short texts.")
    return PastedChannel(number, *texts)


# --- what is only read ---------------------------------------------------------------------------------------------


class _Pages:
    """The page's own files: a fixed table, so that no name that is asked for is ever looked up in a folder."""

    def __init__(self) -> None:
        folder = files("satdiag.live") / "static"
        found = [part for part in folder.iterdir() if part.is_file()] if folder.is_dir() else []
        self._files = {
            part.name: (part.read_bytes(), kind)
            for part in found
            if (kind := TYPES.get("." + part.name.rpartition(".")[2]))
        }
        page = self._files["index.html"][0].decode()
        self._index = {language: page_in(page, language).encode() for language in LANGUAGES}

    async def index(self, request: Request) -> Response:
        """The page, in the language of whoever asks."""
        headers = {"Cache-Control": "no-cache", "Vary": "Accept-Language, Cookie"}
        return Response(self._index[spoken()], media_type=TYPES[".html"], headers=headers)

    async def static(self, request: Request) -> Response:
        """A file of the page."""
        return self._file(request.path_params["name"])

    async def plotly(self, request: Request) -> Response:
        """The library that draws the figures, as it is installed; packed for whoever can unpack it."""
        packed = "gzip" in request.headers.get("accept-encoding", "")
        data = await run_in_threadpool(_plotly, packed)
        headers = {"Cache-Control": "private, max-age=86400", "Vary": "Accept-Encoding"}
        if packed:
            headers["Content-Encoding"] = "gzip"
        return Response(data, media_type=TYPES[".js"], headers=headers)

    def _file(self, name: str) -> Response:
        if name not in self._files:
            return JSONResponse({"error": tell("There is nothing at this address.")}, 404)
        data, kind = self._files[name]
        return Response(data, media_type=kind, headers={"Cache-Control": "no-cache"})


@cache
def _plotly(packed: bool) -> bytes:
    if packed:
        return gzip.compress(_plotly(False), mtime=0)
    from plotly.offline import get_plotlyjs

    return str(get_plotlyjs()).encode()


class _Streams:
    """Counts the streams of events: each holds a connection, and there are only so many."""

    def __init__(self, deck: Deck, access: Access) -> None:
        self._deck, self._access = deck, access
        self._open = 0
        self._room = asyncio.Semaphore(STREAM_THREADS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One stream."""
        if self._open >= self._access.limits.streams:
            refusal = JSONResponse({"error": tell("Too many pages are open.")}, 429, {"Retry-After": "10"})
            await refusal(scope, receive, send)
            return
        self._open += 1
        try:
            role = self._access.role(scope)

            def still() -> bool:
                return self._access.role(scope) == role

            await EventStream(self._deck, role, still, self._room)(scope, receive, send)
        finally:
            self._open -= 1
