"""The papers of a hand-over, each made in a process of its own, so that neither recording nor taps wait for it.

The process reads the job file as any other program may beside a recording: through the store, read-only. The one that
records must not do so by itself, as it would lose its locks with the descriptor.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, cast, get_args

from satdiag.errors import SatdiagError
from satdiag.language import LANGUAGES, Language, speaking, tell

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.letter import Recipient

What = Literal["report", "customer", "provider", "dealer", "record", "bundle"]
Form = Literal["html", "pdf", "zip"]
WHATS: tuple[What, ...] = get_args(What)
FORMS: Mapping[What, tuple[Form, ...]] = {
    "report": ("html", "pdf"),
    "customer": ("html", "pdf"),
    "provider": ("html", "pdf"),
    "dealer": ("html", "pdf"),
    "record": ("html",),  # `satdiag verify` reads the page: on paper it proves nothing
    "bundle": ("zip",),
}
WITH_ID: frozenset[What] = frozenset({"provider", "bundle"})
"""What may hold the receiver's whole identifier."""

NAMES: Mapping[What, str] = {
    "report": "report",
    "customer": "letter-customer",
    "provider": "letter-provider",
    "dealer": "letter-dealer",
    "record": "acceptance-record",
    "bundle": "hand-over",
}
_WISH = frozenset({"what", "form", "language", "by", "full_id"})
GENTLE = 10
"""So much more willing than others the process is to wait for a processor (0 to 19, as `nice` counts)."""


class NotAWish(Exception):
    """What was asked for is no paper that is made here; the text says why."""


@dataclass(frozen=True)
class Wish:
    """A paper to be made. `by`: who did the work, '' not stated; `full_id`: with the receiver's whole identifier."""

    what: What
    form: Form
    language: Language
    by: str = ""
    full_id: bool = False


class Paper(NamedTuple):
    """A paper that was made: the name of its file, how many rows the log had, and its bytes."""

    name: str
    rows: int
    data: bytes


# --- what is asked for ----------------------------------------------------------------------------------------------


def wish_from(body: Mapping[str, Any]) -> Wish:
    """What a page asks for. Raises NotAWish."""
    if unknown := set(body) - _WISH:
        raise NotAWish(f"'{sorted(unknown)[0][:40]}' is not known here.")
    what, form = body.get("what"), body.get("form")
    if what not in WHATS:
        raise NotAWish(f"'what' must be one of {', '.join(WHATS)}.")
    forms = FORMS[cast("What", what)]
    if form not in forms:
        raise NotAWish(f"'form' must be {' or '.join(forms)} for {what}.")
    language, full_id = body.get("language"), body.get("full_id", False)
    if language not in LANGUAGES:
        raise NotAWish(f"'language' must be one of {', '.join(LANGUAGES)}.")
    if not isinstance(full_id, bool) or (full_id and what not in WITH_ID):
        raise NotAWish("'full_id' must be true or false, and true for the provider's letter and the bundle only.")
    return Wish(what, form, language, _name(body.get("by", "")), full_id)


def _name(by: object) -> str:
    from satdiag.acceptance.record import checked_name

    try:
        return checked_name(by if isinstance(by, str) else "\0") or ""
    except SatdiagError:
        raise NotAWish(tell("Who did the work: a name of 100 characters at most, in plain text.")) from None


def has_browser() -> bool:
    """True if this computer has a browser to make a PDF with."""
    from satdiag.report.browser import NoBrowser, find_browser

    try:
        return find_browser() is not None
    except NoBrowser:
        return False


# --- making it ------------------------------------------------------------------------------------------------------


def make_paper(job: Job, wish: Wish) -> Paper:
    """Make it of a job. Raises SatdiagError."""
    with speaking(wish.language):
        data = _bundle(job, wish) if wish.what == "bundle" else _page(job, wish).encode()
        if wish.form == "pdf":
            from satdiag.handover.bundle import printed

            data = printed(data.decode())
    parts = [job.sheet.id, NAMES[wish.what], *(["whole-id"] if wish.full_id else []), wish.language]
    return Paper(f"{'-'.join(parts)}.{wish.form}", len(job.rows), data)


def _bundle(job: Job, wish: Wish) -> bytes:
    from satdiag.handover.bundle import Wishes, bundle_bytes

    return bundle_bytes(job, wish.language, Wishes(wish.full_id, wish.by, pdf=has_browser()))


def _page(job: Job, wish: Wish) -> str:
    """As the commands make it: `analyse --report`, `letter`, `confirm --record`."""
    from satdiag.kept import analyse_here

    if wish.what == "record":
        return _record(job, wish)
    findings = analyse_here(job)
    if wish.what == "report":
        from satdiag.report import report_html

        return report_html(job, findings)
    from satdiag.letter import letter_html

    return letter_html(job, findings, cast("Recipient", wish.what), sender=wish.by, full_id=wish.full_id)


def _record(job: Job, wish: Wish) -> str:
    """The job alone is judged, not what this computer has learned: so it can be verified anywhere."""
    from satdiag.acceptance import confirm
    from satdiag.acceptance.record import now_text
    from satdiag.analysis import analyse
    from satdiag.report.record import record_html, record_of

    found = confirm(job, analyse(job))
    made = record_of(job, found, by=wish.by or None, made_at=now_text(), language=wish.language)
    return record_html(made)


# --- a process of its own -------------------------------------------------------------------------------------------


def command() -> list[str]:
    """How the process is started: with the satdiag that runs, and with nothing of the folder it happens to run in."""
    root = str(Path(__file__).resolve().parents[2])
    begin = "import sys; sys.path.append(sys.argv[1]); from satdiag.live.papers import answer; answer()"
    return [sys.executable, "-P", "-c", begin, root]


def asked_of(place: Path, wish: Wish) -> bytes:
    """What the process reads."""
    return json.dumps({"place": str(place), **asdict(wish)}).encode()


def answer() -> None:
    """The process: reads a wish; writes a line of JSON (name and rows, or error), then the bytes of the paper."""
    with os.fdopen(os.dup(1), "wb") as out:
        os.dup2(2, 1)  # what a library prints does not come between
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # a browser that was started is ended too
        if sys.platform != "win32":
            os.nice(GENTLE)
        body = json.load(sys.stdin.buffer)
        head, data = _answered(Path(body.pop("place")), Wish(**body))
        out.write(json.dumps(head).encode() + b"\n" + data)


def _answered(place: Path, wish: Wish) -> tuple[dict[str, Any], bytes]:
    from satdiag.opening import open_job

    with speaking(wish.language):
        try:
            made = make_paper(open_job(place), wish)
        except SatdiagError as error:
            return {"error": str(error)}, b""
        except Exception as error:  # noqa: BLE001 (it must be told, not only end)
            return {"error": tell("An error of satdiag's own ({name}).", name=type(error).__name__)}, b""
    return {"name": made.name, "rows": made.rows}, made.data
