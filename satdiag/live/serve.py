"""The server of the page: which address it listens on, what it prints, how it ends. One process records and serves.

It listens on this computer alone unless it is told to serve the local network, and then on one address only. It ends
after some hours, so that a forgotten page does not stay open to a network. If it crashes, or the computer is started
anew, a next start on the same job takes the same port, and pages that were paired stay paired.
"""

from __future__ import annotations

import hashlib
import os
import signal
import socket
import struct
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from ipaddress import IPv4Address
from time import monotonic, sleep, time
from types import FrameType
from typing import TYPE_CHECKING

from satdiag.errors import SatdiagError
from satdiag.live.pairing import Pairing
from satdiag.live.pairings import PairedFile, port_before, sweep
from satdiag.live.security import Access
from satdiag.recorder.stopping import begin_to_end

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from satdiag.live.deck import Deck
    from satdiag.recorder.loop import Summary

LOOPBACK = "127.0.0.1"
USUAL_PORT = 8766
"""Taken if no port is asked for and it is free: after a restart a page finds its server, and the taps it holds."""

TICK_S = 0.2
JOIN_S = 5.0
PORT_WAIT_S = 2.0
"""So long a port that our pages know may still be held after a crash, before another one is taken."""

_SIOCGIFADDR = 0x8915  # linux/sockios.h, from memory


@dataclass(frozen=True)
class Plan:
    """How to serve: on which of this computer's addresses, port 0 for any, for how many hours."""

    address: str = LOOPBACK
    port: int = 0
    hours: float = 4.0
    browser: bool = False

    @property
    def is_lan(self) -> bool:
        """True if others in the network can reach it."""
        return self.address != LOOPBACK


# --- addresses ------------------------------------------------------------------------------------------------------


def own_addresses() -> list[str]:
    """This computer's IPv4 addresses in its networks, without loopback, the one towards the internet first."""
    found = [*_towards_others(), *_of_interfaces(), *_of_name()]
    kept = []
    for text in dict.fromkeys(found):
        address = IPv4Address(text)
        if not (address.is_loopback or address.is_unspecified or address.is_link_local):
            kept.append(text)
    return kept


def _towards_others() -> list[str]:
    """The address that a packet to elsewhere would carry; none is sent (192.0.2.1 is for documents, RFC 5737)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return [str(probe.getsockname()[0])]
        except OSError:
            return []


def _of_interfaces() -> list[str]:
    """The first address of every network interface, where the system tells (Linux)."""
    if sys.platform != "linux":
        return []
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            with suppress(OSError):  # an interface without an address
                told = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(told[20:24]))
    return found


def _of_name() -> list[str]:
    try:
        told = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        return []
    return [str(one[4][0]) for one in told]


def chosen_address(wanted: str, found: Sequence[str], choose: Callable[[Sequence[str]], str] | None) -> str:
    """The one address to serve on: the one that is wanted, the only one there is, or the one a person chooses.

    `wanted` blank: not said. `choose` None: nobody is there to be asked. Raises SatdiagError.
    """
    listed = ", ".join(found)
    if wanted:
        if wanted not in found:
            there = f"It has {listed}." if found else "It has none in a network just now."
            raise SatdiagError(f"{wanted} is not an address of this computer. {there}")
        return wanted
    if not found:
        raise SatdiagError("This computer has no address in a network just now. Join the network first.")
    if len(found) == 1:
        return found[0]
    if choose is None:
        raise SatdiagError(f"This computer has several addresses: {listed}. Name one of them: --lan {found[0]}.")
    return choose(found)


def listening(address: str, port: int, before: int | None = None) -> socket.socket:
    """A socket that listens there. Raises SatdiagError.

    Port 0: the one that paired pages know from `before`, for which is waited a little; else the usual one, or any if
    that is in use.
    """
    if port:
        return _listening(address, [port])
    end_s = monotonic() + PORT_WAIT_S
    while before is not None:
        try:
            return _listening(address, [before])
        except SatdiagError:
            if monotonic() >= end_s:
                break
            sleep(TICK_S)
    return _listening(address, [USUAL_PORT, 0])


def _listening(address: str, ports: Sequence[int]) -> socket.socket:
    trouble = ""
    for port in ports:
        place = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            # Elsewhere SO_REUSEADDR takes a port of which only ended connections are left, as after a crash. On
            # Windows it would let a second program take a port that is in use, and the first would go unheard.
            if sys.platform == "win32":
                place.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            place.bind((address, port))
            place.listen(64)
            return place
        except OSError as error:
            place.close()
            trouble = error.strerror or str(error)
    raise SatdiagError(f"{address}:{ports[-1]} cannot be served on ({trouble}). Take another port: --port 0.")


def hosts_of(address: str, port: int) -> set[str]:
    """The names that a browser may ask for."""
    names = {address}
    if address == LOOPBACK:
        names.add("localhost")
    else:
        name = socket.gethostname().lower()
        names |= {name, f"{name.partition('.')[0]}.local"}
    return {f"{name}:{port}" for name in names} | (names if port == 80 else set())


def cookie_name(port: int, job: str) -> str:
    """A name of its own for each port and job: pairing for one job does not undo the pairing for another."""
    return f"satdiag_{port}_{hashlib.sha256(job.encode()).hexdigest()[:8]}"


# --- what is printed ------------------------------------------------------------------------------------------------


def link_of(plan: Plan, port: int, code: str) -> str:
    """The link that pairs; the code stands behind '#', which a browser never sends."""
    return f"http://{plan.address}:{port}/#c={code}"


def words_of(plan: Plan, port: int, pairing: Pairing) -> list[str]:
    """What a person should know at the start."""
    lines = [
        f"Page:              http://{plan.address}:{port}/",
        f"Code to write:     {pairing.code[:4]} {pairing.code[4:]}",
        f"Code to look on:   {pairing.watch_code[:4]} {pairing.watch_code[4:]}",
        f"Link with code:    {link_of(plan, port, pairing.code)}",
    ]
    if plan.is_lan:
        lines += [
            "Anyone on this network with the code can write into the log, and what is sent is not encrypted.",
            "Give the code only to those who should write.",
        ]
    else:
        lines.append("Only this computer can open it. For a telephone in the same network: --lan.")
    if pairing.inherited:
        lines.append(f"Phones paired before stay paired ({pairing.inherited}). A new one needs the code.")
    return [
        *lines,
        f"It ends after {plan.hours:g} hours, or with Ctrl-C. Everything acknowledged is in the job file.",
    ]


def qr_text(link: str) -> str:
    """The link as a picture of characters for a dark terminal; on a light one it is inverse."""
    import io

    import segno

    text = io.StringIO()
    segno.make(link, micro=False).terminal(text, border=2, compact=True)
    return text.getvalue()


# --- serving --------------------------------------------------------------------------------------------------------


class Serving:
    """Records and serves until someone asks it to stop, or its hours are over. `say` prints a line."""

    def __init__(self, deck: Deck, plan: Plan, say: Callable[[str], None], show_qr: bool = False) -> None:
        self._deck, self._plan, self._say, self._show_qr = deck, plan, say, show_qr

    def run(self, at_end: Callable[[Summary], None]) -> tuple[Summary, bool]:
        """Record and serve; what is returned, and `at_end`: as `begin_to_end`. Raises SatdiagError."""
        before = None if self._plan.port else port_before(self._deck.place, time())
        with closing(listening(self._plan.address, self._plan.port, before)) as place:
            return begin_to_end(self._deck, lambda asked: self._serve(place, asked), at_end)

    def _serve(self, place: socket.socket, asked: threading.Event) -> None:
        """Serve to the end. Sessions are forgotten if a person ended it, or its hours did; not if the system did."""
        from satdiag.live.app import make_app

        port, job = place.getsockname()[1], self._deck.job
        pairing = Pairing(lasts_s=self._plan.hours * 3600, book=self._book(job, port))
        access = Access(hosts_of(self._plan.address, port), pairing, cookie_name(port, job), job=job)
        with _noting_ctrl_c() as by_hand:
            try:
                with _server(make_app(self._deck, access), place, self._deck.closing) as thread:
                    self._tell(port, pairing)
                    is_over = self._until_the_end(thread, asked)
                if is_over:
                    pairing.forget()
            finally:
                if by_hand.is_set():
                    pairing.forget()

    def _book(self, job: str, port: int) -> PairedFile | None:
        """Where sessions outlive a crash; None where no user folder is known."""
        sweep(time())
        try:
            return PairedFile(job, port, self._deck.place, self._say)
        except SatdiagError as error:
            self._say(f"{error} Without it, phones must be paired again after a crash.")
            return None

    def _until_the_end(self, thread: threading.Thread, asked: threading.Event) -> bool:
        """Keep the recording going; True if it ended because its hours are over."""
        end_s = monotonic() + self._plan.hours * 3600
        while not asked.wait(TICK_S):
            if self._deck.recorder.writer.error is not None:
                return False
            self._deck.tick()
            if monotonic() >= end_s:
                self._say(f"Ended after {self._plan.hours:g} hours, as it was to.")
                return True
            if not thread.is_alive():
                self._say("The page cannot be served any more. Everything acknowledged is written.")
                return False
        return False

    def _tell(self, port: int, pairing: Pairing) -> None:
        link = link_of(self._plan, port, pairing.code)
        if self._show_qr and self._plan.is_lan:
            self._say(qr_text(link))
        for line in words_of(self._plan, port, pairing):
            self._say(line)
        if self._plan.browser and _has_screen():
            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()


def _has_screen() -> bool:
    """Elsewhere a browser for terminals might open, in the terminal that is printed on."""
    return sys.platform != "linux" or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


@contextmanager
def _noting_ctrl_c() -> Iterator[threading.Event]:
    """An event that is set when Ctrl-C ends it: a person, not a computer that shuts down or a closed window."""
    noted = threading.Event()
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield noted
        return

    def note(number: int, frame: FrameType | None) -> None:
        noted.set()
        before(number, frame)

    signal.signal(signal.SIGINT, note)
    try:
        yield noted
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _server(app: ASGIApp, place: socket.socket, ends: threading.Event) -> Iterator[threading.Thread]:
    """The web server in a thread of its own; at the end streams are told to end, then it is."""
    import uvicorn

    from satdiag.live.patience import MOST, PatientProtocol

    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        ws="none",
        loop="asyncio",
        lifespan="off",
        log_config=None,
        log_level="critical",
        access_log=False,  # addresses and times of people are nobody's business
        proxy_headers=False,  # who asks is who is connected, not who a header says
        server_header=False,
        limit_concurrency=MOST,
        backlog=64,
        timeout_keep_alive=10,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=16 * 1024,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [place]}, name="page", daemon=True)
    thread.start()
    try:
        yield thread
    finally:
        ends.set()
        server.should_exit = True
        thread.join(JOIN_S)
