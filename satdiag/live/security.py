"""What stands before every request: who is asked for, what may come in, and which headers go out.

The name a request asks for (Host) is looked at before all else, so that a foreign page that lets its own name point
here gets nothing. A change must be one that no foreign page can send: JSON, a header of our own, and the cookie of a
session, which no foreign page makes the browser send along.
"""

from __future__ import annotations

import asyncio
import json
from collections import OrderedDict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from time import monotonic
from typing import TYPE_CHECKING

from satdiag.language import mark, tell, translated
from satdiag.live.pairing import Pairing, Role, digest_of

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; object-src 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
OUR_HEADER = b"x-satdiag"
JOB_HEADER = b"x-satdiag-job"
"""The job that a page means: what is meant for another one must not come into this, whoever sent it."""

MOST_BYTES = 64 * 1024
MOST_LINEUP_BYTES = 512 * 1024
LINEUPS = frozenset({"/lineup", "/lineup/read"})
"""A long line-up is pasted, and saved, in one piece."""
BODY_WAIT_S = 10.0
OPEN = frozenset({"/", "/time", "/plotly.js"})
OPEN_FOLDER = "/static/"
"""What anyone may read: the page's own files, and the clock. All else needs a session, also what is added later."""

WRITERS_ALONE = frozenset({"/lineups", "/made"})
WRITERS_FOLDER = "/made/"
"""What is read by those alone who may write: it tells of other jobs, or holds what others may not see of this one."""

PAIR_FIRST = mark("Pair first: enter the code that satdiag printed.")
LOOK_ON_ONLY = mark("This page may look on only. Pair with the code that lets write.")

_MOST_CLIENTS = 512


@dataclass(frozen=True)
class Limits:
    """Requests of one paired page, or of one address without pairing: so many a second for long, so many at once.

    The page's own files, of one address: those of twenty telephones behind one router are fetched at once.
    `streams`: of events, of all together.
    """

    requests_per_s: float = 50.0
    requests_at_once: float = 200.0
    changes_per_s: float = 10.0
    changes_at_once: float = 40.0
    files_per_s: float = 100.0
    files_at_once: float = 2000.0
    streams: int = 64


@dataclass
class _Bucket:
    left: float
    at_s: float


class Rate:
    """Lets each client do something `per_s` times a second for long, and `at_once` times at once."""

    def __init__(self, per_s: float, at_once: float, now_s: Callable[[], float] = monotonic) -> None:
        self._per_s, self._at_once, self._now_s = per_s, at_once, now_s
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()

    def allows(self, client: str) -> bool:
        """Whether it may be done once more now; if so it counts as done."""
        now_s = self._now_s()
        bucket = self._buckets.setdefault(client, _Bucket(self._at_once, now_s))
        self._buckets.move_to_end(client)
        if len(self._buckets) > _MOST_CLIENTS:
            self._buckets.popitem(last=False)
        bucket.left = min(self._at_once, bucket.left + (now_s - bucket.at_s) * self._per_s)
        bucket.at_s = now_s
        if bucket.left < 1.0:
            return False
        bucket.left -= 1.0
        return True


@dataclass(frozen=True)
class Access:
    """Who is let in: the names (host:port) that may be asked for, the pairing, the name of the cookie, the limits.

    `job`: the id of the job that is recorded; None: not looked at.
    """

    hosts: Collection[str]
    pairing: Pairing = field(default_factory=Pairing)
    cookie: str = "satdiag"
    limits: Limits = field(default_factory=Limits)
    job: str | None = None

    def role(self, scope: Scope) -> Role | None:
        """The role of the session whose cookie came with a request, or None."""
        return self.pairing.role(self._token(scope))

    def client(self, scope: Scope) -> str:
        """Who asks: a paired page, or else an address, behind which there may be many."""
        token = self._token(scope)
        if token is not None and self.pairing.role(token) is not None:
            return digest_of(token)
        return str((scope.get("client") or ("", 0))[0])

    def _token(self, scope: Scope) -> str | None:
        return cookie_of(_values(scope, b"cookie"), self.cookie)


class Refusal(Exception):
    """A request that is not let through: status and a sentence."""

    def __init__(self, status: int, why: str, headers: Sequence[tuple[bytes, bytes]] = ()) -> None:
        self.status, self.why, self.headers = status, why, tuple(headers)
        super().__init__(why)


def _values(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]


def cookie_of(headers: Sequence[str], name: str) -> str | None:
    """The value of a cookie; None if it did not come, or came more than once."""
    pairs = [part.strip().partition("=") for text in headers for part in text.split(";")]
    found = [value for key, _, value in pairs if key == name]
    return found[0] if len(found) == 1 else None


class Guard:
    """ASGI middleware around the whole application. A refused request never reaches it."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app, self._access = app, access
        self._hosts = {host.lower() for host in access.hosts}
        limits = access.limits
        self._requests = Rate(limits.requests_per_s, limits.requests_at_once)
        self._files = Rate(limits.files_per_s, limits.files_at_once)
        self._changes = Rate(limits.changes_per_s, limits.changes_at_once)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check a request, hand it on, and add the headers to what is answered."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        guarded = _with_headers(send)
        try:
            self._check(scope)
            if scope["method"] == "POST":
                receive = await _whole_body(scope, receive)
        except Refusal as refusal:
            await _answer(guarded, refusal)
            return
        await self._through(scope, receive, guarded)

    async def _through(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on; an error of our own is answered with the headers of every answer, and says no more."""
        started = False

        async def noting(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self._app(scope, receive, noting)
        except Exception as error:
            if not started:
                await _answer(
                    send, Refusal(500, tell("An error of satdiag's own ({name}).", name=type(error).__name__))
                )
            raise

    def _check(self, scope: Scope) -> None:
        """Raises Refusal."""
        hosts = _values(scope, b"host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            raise Refusal(400, tell("This address is not served here. Use the link that satdiag printed."))
        method, path = scope["method"], scope["path"]
        client = self._access.client(scope)
        is_file = path == "/" or path.startswith(OPEN_FOLDER)
        if not (self._files if is_file else self._requests).allows(client):
            raise Refusal(429, tell("Too many requests; wait a moment."), [(b"retry-after", b"1")])
        if method not in ("GET", "POST"):
            raise Refusal(405, "Only GET and POST are known here.", [(b"allow", b"GET, POST")])
        if method == "POST":
            self._check_change(scope, path, client)
        elif path not in OPEN and not path.startswith(OPEN_FOLDER):
            self._check_origin(scope, ("same-origin", "none"))
            role = self._access.role(scope)
            if role is None:
                raise Refusal(401, translated(PAIR_FIRST))
            if role != "write" and (path in WRITERS_ALONE or path.startswith(WRITERS_FOLDER)):
                raise Refusal(403, translated(LOOK_ON_ONLY))

    def _check_change(self, scope: Scope, path: str, client: str) -> None:
        self._check_origin(scope, ("same-origin",))
        kinds = _values(scope, b"content-type")
        if len(kinds) != 1 or not _is_json(kinds[0]):
            raise Refusal(415, "Send application/json in UTF-8.")
        if _values(scope, OUR_HEADER) != ["1"]:
            raise Refusal(403, "The header X-Satdiag: 1 is missing.")
        if path != "/pair":
            role = self._access.role(scope)
            if role is None:
                raise Refusal(401, translated(PAIR_FIRST))
            if role != "write":
                raise Refusal(403, translated(LOOK_ON_ONLY))
            if self._access.job is not None and any(job != self._access.job for job in _values(scope, JOB_HEADER)):
                raise Refusal(409, tell("Another job is recorded here now."))
        if not self._changes.allows(client):
            raise Refusal(429, tell("Too many changes; wait a moment."), [(b"retry-after", b"1")])

    def _check_origin(self, scope: Scope, sites: Collection[str]) -> None:
        """Browsers that tell where a request comes from must tell that it comes from here."""
        if any(site not in sites for site in _values(scope, b"sec-fetch-site")):
            raise Refusal(403, "Another site's page sent this request.")
        host = _values(scope, b"host")[0].lower()
        if any(origin.lower() != f"http://{host}" for origin in _values(scope, b"origin")):
            raise Refusal(403, "Another site's page sent this request.")


def _is_json(kind: str) -> bool:
    head, _, more = kind.partition(";")
    return head.strip().lower() == "application/json" and more.strip().lower() in ("", "charset=utf-8")


async def _whole_body(scope: Scope, receive: Receive) -> Receive:
    """Read the body, as long as it may be, and give something that hands it on in one piece. Raises Refusal."""
    most = MOST_LINEUP_BYTES if scope["path"] in LINEUPS else MOST_BYTES
    too_large = Refusal(413, tell("More than {size} kB.", size=most // 1024), [(b"connection", b"close")])
    lengths = _values(scope, b"content-length")
    if any(not text.isascii() or not text.isdigit() or int(text[:12]) > most for text in lengths):
        raise too_large
    pieces: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(BODY_WAIT_S):
            while True:
                message = await receive()
                if message["type"] != "http.request":
                    raise Refusal(400, tell("The request broke off."))
                pieces.append(message.get("body", b""))
                size += len(pieces[-1])
                if size > most:
                    raise too_large
                if not message.get("more_body", False):
                    break
    except TimeoutError:
        raise Refusal(408, tell("The request came too slowly."), [(b"connection", b"close")]) from None
    whole: list[Message] = [{"type": "http.request", "body": b"".join(pieces), "more_body": False}]

    async def again() -> Message:
        return whole.pop() if whole else await receive()

    return again


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", ()))
            own = {key.lower() for key, _ in headers}
            headers += [one for one in HEADERS if one[0] not in own]  # two policies would both hold
            if b"cache-control" not in own:
                headers.append((b"cache-control", b"no-store"))
            message = {**message, "headers": headers}
        await send(message)

    return guarded


async def _answer(send: Send, refusal: Refusal) -> None:
    body = json.dumps({"error": refusal.why}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": refusal.status, "headers": [*headers, *refusal.headers]})
    await send({"type": "http.response.body", "body": body})
