"""A small server for trying the live page: it speaks the page's interface, keeps what it is told in memory, and can
be told to drop connections before or after it has applied what came in."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from typing import Any
from urllib.parse import unquote

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; connect-src 'self'; base-uri 'none'; "
    "object-src 'none'; form-action 'self'; frame-ancestors 'none'"
)
TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript"}
STATES = ("authorised", "refused", "missing", "no-signal")


def demo_channels(count: int = 24) -> list[dict[str, Any]]:
    """A made-up line-up in three categories, some of it checked."""
    names = ("Demo Strings", "Demo Harbour Talk", "Demo Slow Trains", "Demo Brass", "Demo Weather", "Demo Chess")
    made = []
    for n in range(count):
        state = (*STATES, None, "authorised")[n % 6]
        checked = None if state is None else 30.0 + 47 * n
        made.append(
            {
                "number": 2 + 3 * n,
                "name": f"{names[n % 6]} {n + 1}",
                "category": ("Music", "Talk", "Weather and traffic")[n * 3 // count],
                "expected": n % 7 != 6,
                "state": state,
                "checked_s_ago": checked,
                "before": "refused" if n % 6 == 5 else state,
                "chance": 0.82 if state == "refused" else None,
                "wait_s": 1500.0 if state == "refused" else None,
            }
        )
    return made


def _entry(identifier: str, time: str, words: str, source: str, withdrawn: bool = False) -> dict[str, Any]:
    return {"id": identifier, "time": time, "words": words, "withdrawn": withdrawn, "source": source}


def demo_state() -> dict[str, Any]:
    """A state of the page as the server tells it."""
    return {
        "job": "demo-0007",
        "run": "r1",
        "role": "write",
        "receiver": "•••••••0A7",
        "sheet": {
            "job": {"id": "demo-0007", "vehicle": "demo saloon, roof antenna", "reason": "just-installed"},
            "receiver": {"id": "•••••••0A7", "second_hand": True, "antenna_lead": "dual", "level_scale": "bars/5"},
            "service": {"constellation": "demo-pair", "package": "music"},
            "site": [{"name": "yard", "latitude_deg": 41.2, "longitude_deg": -96.1}],
        },
        "now": {
            "sentence": "Still filling in: 11 of 20. About 25 min more awake, outdoors.",
            "what_to_do": "Leave the receiver on and outdoors; look at the refused channels again.",
            "calls": [
                {"what": "look", "in_s": 754, "why": "Demo: one more of the 8 channels is there, as likely as not."},
                {"what": "half", "in_s": 1500, "why": "Demo: 4 of the 8 channels are there, as likely as not."},
                {"what": "stop", "in_s": 5400, "why": "Demo: the last channel is there with 95 % certainty."},
            ],
            "running": True,
            "running_why": "",
            "told": ["Of 20 channels in the package 11 play. Half of the rest should arrive within 25 more minutes."],
        },
        "exposure_s": 1260.0,
        "exposure_max_s": 1500.0,
        "rows": 214,
        "held": 0,
        "store_trouble": "",
        "sources": [
            {"name": "serial:bench-lines", "state": "listening", "trouble": "", "age_s": 0.8},
            {"name": "gnss", "state": "lost", "trouble": "The port was unplugged.", "age_s": 94.0},
        ],
        "levels": [
            {"path": "satellite:east", "value": 4, "unit": "bars/5", "age_s": 1.2},
            {"path": "repeater", "value": 1, "unit": "bars/5", "age_s": 64.0},
        ],
        "channels": demo_channels(),
        "attempt": None,
        "entries": [
            _entry("r1-7", "2031-05-03T13:44:12Z", "place: open sky", "hand"),
            _entry("r1-4", "2031-05-03T13:43:10Z", "channel 31: not listed", "hand", withdrawn=True),
        ],
        "could_not": ["No horizon was measured: what stands in the way is not known."],
        "analysis_age_s": 4.0,
    }


@dataclass
class Kept:
    """What the server keeps and how unruly it is. `applied`: taps by key, in the order of their commit.

    `drop_before`, `drop_after`: the share of requests that are dropped before or after they were applied, evenly, so
    that their number does not depend on how fast a page sends.
    """

    state: dict[str, Any] = field(default_factory=demo_state)
    applied: dict[str, dict[str, Any]] = field(default_factory=dict)
    posts: list[list[str]] = field(default_factory=list)
    conflicts: list[str] = field(default_factory=list)
    sheets: list[dict[str, Any]] = field(default_factory=list)
    views: dict[str, dict[str, Any]] = field(default_factory=dict)
    refuse: dict[str, str] = field(default_factory=dict)
    drop_before: float = 0.0
    drop_after: float = 0.0
    dropped: int = 0
    down: bool = False
    paired: bool = True
    offset_ms: float = 0.0
    name: str = "one"
    changes: int = 0
    due: dict[str, float] = field(default_factory=dict)
    lock: threading.RLock = field(default_factory=threading.RLock)

    def upset(self, what: str, share: float) -> bool:
        """Whether this connection is dropped now."""
        with self.lock:
            due = self.due.get(what, 0.5) + share
            self.due[what] = due % 1
            gone = self.down or due >= 1
            self.dropped += gone
            return gone

    def take(self, page: str, taps: list[dict[str, Any]]) -> dict[str, Any]:
        """Apply each key once; the same key with other content is a conflict."""
        answer: dict[str, Any] = {"saved": [], "refused": [], "conflict": []}
        with self.lock:
            self.posts.append([tap["key"] for tap in taps])
            for tap in taps:
                key, told = tap["key"], {**tap, "page": page}
                if (why := self.refuse.get(tap["value"])) is not None:
                    answer["refused"].append({"key": key, "why": why})
                elif self.applied.setdefault(key, told) == told:
                    answer["saved"].append(key)
                    self._show(tap)
                else:
                    answer["conflict"].append(key)
                    self.conflicts.append(key)
            self.changes += 1
        return answer

    def _show(self, tap: dict[str, Any]) -> None:
        identifier = f"p-{tap['key']}"
        entries = self.state["entries"]
        if any(one["id"] == identifier for one in entries):
            return
        for one in entries:
            if tap["kind"] == "withdraw" and one["id"] == tap["value"]:
                one["withdrawn"] = True
        stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime((tap["wall_ms"] + tap["offset_ms"]) / 1000))
        words = f"{tap['kind']} {tap['subject']} {tap['value']}"
        entries.insert(0, _entry(identifier, stamp, words, "page"))
        for one in self.state["channels"]:
            if tap["kind"] == "channel" and str(one["number"]) == tap["subject"]:
                one.update(before=one["state"], state=tap["value"], checked_s_ago=0.0)
        self.state["rows"] += 1


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    kept: Kept

    def log_message(self, *args: Any) -> None:
        """Say nothing."""

    def _drop(self) -> None:
        self.close_connection = True

    def _answer(self, value: Any, status: int = 200) -> None:
        self._send(json.dumps(value).encode(), "application/json", status)

    def _send(self, data: bytes, kind: str, status: int = 200) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.send_header("Content-Security-Policy", CSP)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self) -> None:
        """Files, the clock, the state, the events."""
        kept, path = self.kept, self.path
        if path == "/" or path.startswith("/static/"):
            name = "index.html" if path == "/" else path.removeprefix("/static/")
            part = files("satdiag.live") / "static" / name
            self._send(part.read_bytes(), f"{TYPES[name.rpartition('.')[2]]}; charset=utf-8")
        elif kept.upset("get", kept.drop_before / 2):
            self._drop()
        elif path == "/time":
            now_ms = time.time() * 1000 + kept.offset_ms
            self._answer({"wall_ms": now_ms, "mono_ms": time.monotonic() * 1000, "server": kept.name})
        elif not kept.paired:
            self._answer({"error": "pair first"}, 403)
        elif path == "/state":
            with kept.lock:
                self._answer(kept.state)
        elif path.startswith("/view/"):
            with kept.lock:
                self._answer(kept.views.get(path.removeprefix("/view/"), {"number": 0}))
        elif path == "/events":
            self._events()
        else:
            self._answer({"error": "nothing"}, 404)

    def _events(self) -> None:
        self.close_connection = True
        self.send_response(200)
        self.send_header("Content-Type", "text/event-stream")
        self.end_headers()
        seen, known = (-1, ""), {}
        while not self.kept.down:
            with self.kept.lock:
                now = (self.kept.changes, json.dumps(self.kept.state))
            if now != seen:
                seen, state = now, json.loads(now[1])
                channels = state.pop("channels")
                state["channels_changed"] = [one for one in channels if known.get(one["number"]) != one]
                known = {one["number"]: one for one in channels}
                self.wfile.write(f"id: {state['rows']}\nevent: state\ndata: {json.dumps(state)}\n\n".encode())
            else:
                self.wfile.write(b": ping\n\n")
            time.sleep(0.2)

    def do_POST(self) -> None:
        """Taps, the sheet, the line-up, pairing."""
        kept = self.kept
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        if self.headers["Content-Type"] != "application/json" or self.headers["X-Satdiag"] != "1":
            return self._answer({"error": "not from the page"}, 415)
        if kept.upset("before", kept.drop_before):
            return self._drop()
        if self.path == "/pair":
            kept.paired = body["code"] == "DEMO-CODE"
            return self._answer({"role": "write"} if kept.paired else {"error": "wrong"}, 200 if kept.paired else 403)
        meant = self.headers["X-Satdiag-Job"]
        if meant is not None and unquote(meant) != kept.state["job"]:
            return self._answer({"error": "another job is recorded"}, 409)
        answer = self._change(body)
        if kept.upset("after", kept.drop_after):
            return self._drop()
        return self._answer(*answer)

    def _change(self, body: dict[str, Any]) -> tuple[dict[str, Any], int]:
        kept = self.kept
        if self.path == "/taps":
            return kept.take(body["page"], body["taps"]), 200
        if self.path == "/sheet":
            kept.sheets.append(body["changes"])
            floor = body["changes"].get("receiver.level_floor", 0)
            if not isinstance(floor, (int, float)):
                problem = {"key": "level_floor", "what": f"'{floor}' is not a number", "mend": "Mend it."}
                return {"problems": [problem]}, 422
            return {"sheet": kept.state["sheet"]}, 200
        if self.path == "/lineup/read":
            return _read_lineup(body["text"]), 200
        with kept.lock:
            kept.state["channels"] = [
                {**demo_channels(6)[4], **one, "before": None, "expected": None} for one in body["channels"]
            ]
        return {"count": len(body["channels"])}, 200


def _read_lineup(text: str) -> dict[str, Any]:
    channels, left_out = [], []
    for line, words in enumerate(text.splitlines(), 1):
        number, _, name = words.partition(" ")
        if number.isdigit():
            channels.append({"number": int(number), "name": name, "category": "Pasted"})
        else:
            left_out.append({"line": line, "text": words, "why": "no number at its beginning"})
    one = {"category": "Pasted", "channels": len(channels), "open": 0, "blank": len(channels), "packages": []}
    lineup = {"channels": len(channels), "categories": [one]}
    return {"channels": channels, "left_out": left_out, "how": "Each line is a number and a name.", "lineup": lineup}


class Serving:
    """The server on a port of its own while the context lasts."""

    def __init__(self, kept: Kept) -> None:
        self.kept = kept

    def __enter__(self) -> Serving:
        handler = type("Handler", (_Handler,), {"kept": self.kept})
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self._server.daemon_threads = True
        self._server.handle_error = lambda *_: None  # type: ignore[method-assign]  # a page that left is no error
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kept.down = True
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()
