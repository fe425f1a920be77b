"""The deck of the live page: it owns the recorder, keeps what the page shows, and takes what is tapped and written.

Nothing here knows of HTTP. The job file is never opened but through the store, and read-only beside the writer.
"""

from __future__ import annotations

import re
import secrets
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.errors import StoreWaits, bad_input
from satdiag.job import build_job
from satdiag.language import listed, spoken, tell
from satdiag.live.analyst import EVERY_S, Analyst
from satdiag.live.apart import Apart
from satdiag.live.bench import Bench, Ended
from satdiag.live.frame import Frame
from satdiag.live.history import History
from satdiag.live.lineups import FILE, Change, Marks, check_package, keep, mark_lineup, put_lineup
from satdiag.live.listening import Listening
from satdiag.live.look import Look, look_at
from satdiag.live.making import Maker
from satdiag.live.many import Channels
from satdiag.live.pairing import Role
from satdiag.live.skyline import FILE as HORIZON
from satdiag.live.skyline import with_reading, without_reading
from satdiag.live.speed import Speedometer
from satdiag.live.state import (
    LogView,
    figures_of,
    seen_by,
    sheet_values,
    short,
    without_folders,
)
from satdiag.live.taps import Answer, Taps
from satdiag.opening import open_job
from satdiag.recorder.heard import Reading
from satdiag.recorder.loop import Recorder
from satdiag.recorder.status import StatusTaker
from satdiag.recorder.writer import PATIENCE_S, Batch
from satdiag.report import palette

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.live.bench import Working
    from satdiag.live.pasted import PastedChannel
    from satdiag.live.roll import Ask
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.heard import Source
    from satdiag.recorder.loop import Summary
    from satdiag.rows import Row
    from satdiag.store import LiveFile

FRESH_S = 0.15
"""A state that was put together so recently is handed out again: many pages cost little more than one."""

BEHIND = 400
"""More rows than this that wait to be written, and the analysis waits."""

CHANGE_WAIT_S = 5.0
GROWING = re.compile(r"raw.*\.jsonl|gnss.*\.nmea")
"""Documents that gain a piece with every line that is heard: nothing of them is needed here."""


class _Built(NamedTuple):
    """The whole state as it was on the monotonic clock, with what had been committed then."""

    at_s: float
    changes: int
    state: dict[str, Any]


class Deck:
    """One recording and what the page shows of it. May be used from any thread; `tick` is called by its owner.

    `closing` is set when it ends. `changes` counts what people should see at once; levels and figures, which change
    all the time, are not counted. With `apart` it is analysed in a process of its own, otherwise in a thread.
    """

    def __init__(
        self,
        place: Path,
        sources: Sequence[Source] = (),
        clock: Clock | None = None,
        say: Callable[[str], None] = lambda text: None,
        analyse_every_s: float = EVERY_S,
        apart: bool = False,
    ) -> None:
        self.place, self.server = place, secrets.token_hex(8)
        self._speedometer = Speedometer()
        self.recorder = Recorder(place, self._speedometer.beside(sources), clock, say)
        self.recorder.writer.listeners.append(self._committed)
        self.closing = threading.Event()
        self.changes = 0
        self._say, self._every_s = say, analyse_every_s
        self._working: Working = Apart(place) if apart else Bench(place)
        self.maker = Maker(place)
        self._lock, self._build_lock = threading.Lock(), threading.Lock()
        self._change_lock, self._renew_lock = threading.Lock(), threading.Lock()
        self._replaced: deque[tuple[str, Mapping[str, bytes]]] = deque()
        self._early: list[Row] | None = []
        self._view_broken = False
        self._view_lock, self._views = threading.Lock(), dict[tuple[str, str], dict[str, Any]]()
        self._built: dict[str, _Built] = {}
        self._frame_lock, self._frames = threading.Lock(), dict[tuple[str, Role | None], tuple[_Built, Frame]]()

    # --- begin and end ---------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Open the job file and begin to record. Raises what is wrong with the file; nothing was started then."""
        self.recorder.start()
        try:
            job = open_job(self.place)
            self._begin(job)
        except BaseException:
            self.recorder.stop()
            raise
        self._analyst.start()

    def _begin(self, job: Job) -> None:
        """Take the job as it is now; what was committed meanwhile comes after it, and nothing twice."""
        known = {row.id for row in job.rows}
        view, history = LogView(job.sheet.naive_times), History(job.sheet.naive_times)
        self._listening = Listening(job.sheet)
        for taker in (view, history, self._listening):
            taker.take(job.rows)
        look = look_at(job)
        self._channels = Channels(view, look.expectation, look.roll, self._lock)
        with self._lock:
            early = [row for row in self._early or () if row.id not in known]
            for taker in (view, history, self._listening):
                taker.take(early)
            self._view, self._history, self._early = view, history, None
            self._documents = {name: data for name, data in job.documents.items() if not GROWING.fullmatch(name)}
            self._take_job(look)
        self._status = StatusTaker(self.recorder)
        self._taps = Taps(self.recorder.desk, self.recorder.writer, self.recorder.clock, job.rows)
        self._analyst = Analyst(self._working, lambda: self._view.rows, self._is_behind, self._every_s)

    def _take_job(self, look: Look) -> None:
        """What the page shows of the sheet and of the line-up: called by who holds the lock."""
        self._sheet, self._unsaid, self._lineup = look.sheet, look.unsaid, look.lineup
        self._channels.renew(look.expectation, look.roll)
        self._listening.sheet = look.sheet
        self.recorder.expected = look.expected

    def stop(self, patience_s: float = PATIENCE_S) -> Summary:
        """End the streams, the recording and the analysis; may be called again, as `Recorder.stop`."""
        self.closing.set()
        self.maker.stop()
        self._analyst.let_go()
        summary = self.recorder.stop(patience_s)
        self._analyst.join()
        return summary

    def tick(self) -> None:
        """To be called several times a second; raises the error that ended the writer."""
        self.recorder.tick()
        self._renew()  # a document that waited for the medium

    def _is_behind(self) -> bool:
        writer = self.recorder.writer
        return writer.held > BEHIND or bool(writer.trouble)

    def _committed(self, rows: Sequence[Row]) -> None:
        """Called on the writer's thread: what fails here must not end the writing."""
        try:
            with self._lock:
                if self._early is not None:
                    self._early += rows
                elif not self._view_broken:
                    before = self._view.shown
                    for taker in (self._view, self._history, self._listening):
                        taker.take(rows)
                    self.changes += self._view.shown != before
        except Exception as error:  # noqa: BLE001 (see above)
            self._view_broken = True
            self._say(f"The page's lists stand still ({type(error).__name__}: {error}); the rows are written.")

    # --- what the page shows ----------------------------------------------------------------------------------------

    def state(self, role: Role | None) -> dict[str, Any]:
        """The whole state of the page for one role, at most `FRESH_S` old."""
        return seen_by(self._now().state, role)

    def frame(self, role: Role | None) -> Frame:
        """The same for a stream of events: prepared once for all streams of a role and language."""
        built, key = self._now(), (spoken(), role)
        with self._frame_lock:
            if key not in self._frames or self._frames[key][0] is not built:
                self._frames[key] = (built, Frame(seen_by(built.state, role)))
            return self._frames[key][1]

    def _now(self) -> _Built:
        with self._build_lock:
            built, changes = self._built.get(spoken()), self.changes
            if built is None or built.changes != changes or monotonic() - built.at_s > FRESH_S:
                at_s = monotonic()
                state = {**self._build(), "built_s": round(at_s, 3)}
                built = self._built[spoken()] = _Built(at_s, changes, state)
        return built

    @property
    def job(self) -> str:
        """The id of the job that is recorded."""
        return self._sheet.id

    def fill_in(self) -> dict[str, Any]:
        """How the channels came in, as a figure in plotly's JSON form with its words; `dark`: colours at night."""
        figure = self._analyst.latest.fill_in
        if figure is None:
            return {"spec": None, "caption": "", "alt": "", "dark": {}}
        return {"spec": figure.spec, "caption": figure.caption, "alt": figure.alt, "dark": palette.DARK}

    def view(self, name: str, role: Role | None) -> dict[str, Any]:
        """A view of the last analysis with its `number`; number 0 and nothing else before the first one.

        Put together once for an analysis and a language. Who may only watch is told no folders.
        """
        number, key = self._analyst.latest.number, (name, spoken())
        made = self._views.get(key, {"number": 0})
        if made["number"] != number:
            with self._view_lock:
                made = self._views.get(key, {"number": 0})
                if made["number"] != number:
                    made = self._views[key] = self._made(name)
        return made if role == "write" else dict(without_folders(made))

    def _made(self, name: str) -> dict[str, Any]:
        try:
            view = self._analyst.view(name)
        except Ended:  # it is asked for again with the next analysis
            return {"number": 0}
        return {**view.told, "number": view.number}

    def channels(self, ask: Ask) -> dict[str, Any]:
        """A part of the channels where there are too many to tell them all; see `Channels.part`."""
        return self._channels.part(ask, self._analyst.latest.chances, self.recorder.clock.now().wall_ns // 1000)

    def channel_numbers(self, low: int | None, high: int | None, category: str | None) -> dict[str, Any]:
        """Which channels lie between two numbers, for one mark of all of them; see `Channels.numbers`."""
        return self._channels.numbers(low, high, category)

    def levels(self) -> dict[str, Any]:
        """The levels of the last half hour, for a figure; see `History.to_dict`."""
        now_us = self.recorder.clock.now().wall_ns // 1000
        with self._lock:
            return self._history.to_dict(now_us)

    def time(self) -> dict[str, Any]:
        """Both clocks of this computer in milliseconds, and the name of this start of the server."""
        now = self.recorder.clock.now()
        return {"wall_ms": now.wall_ns / 1e6, "mono_ms": now.mono_ns / 1e6, "server": self.server}

    def _build(self) -> dict[str, Any]:
        status, latest = self._status.take(), self._analyst.latest
        now_us = self.recorder.clock.now().wall_ns // 1000
        age_s = latest.age_s
        with self._lock:  # the writer waits for it
            sheet, unsaid, view, lineup = self._sheet, self._unsaid, self._view, self._lineup
            told = {
                "rows": view.rows,
                "channels": self._channels.whole(latest.chances, now_us),
                "attempt": view.attempt(),
                "entries": view.entries(),
                "now": {**latest.now.to_dict(), **self._listening.now(now_us)._asdict()},
            }
        return {
            "job": sheet.id,
            "run": status.run,
            "receiver": sheet.receiver.masked_id,
            "sheet": sheet_values(sheet, unsaid),
            "lineup": lineup,
            **figures_of(status),
            **told,
            "wide": self._channels.counts(),
            "could_not": list(latest.could_not),
            "analysis": latest.number,
            "analysis_age_s": short(age_s),
            **self._speedometer.now(self.recorder.clock.now())._asdict(),
        }

    # --- what comes in ----------------------------------------------------------------------------------------------

    def take_taps(self, page: object, taps: Sequence[object]) -> Answer:
        """Apply taps; see `Taps.take`."""
        return self._taps.take(page, taps)

    def change_sheet(self, changes: Mapping[str, Any]) -> dict[str, Any]:
        """Change keys of the sheet and return it. Raises BadInput, StoreWaits if it is not written in time."""
        from satdiag.live.sheet_edit import edited

        with self._change_lock:
            documents = self._documents
            made = edited(documents["job.toml"].decode(), changes)
            if made.words:
                sheet = made.text.encode()
                check_package(sheet, documents.get(FILE))
                self._replace({"job.toml": sheet}, f"sheet: {'; '.join(made.words)}")
            return sheet_values(self._sheet, self._unsaid)

    def set_lineup(self, channels: Sequence[PastedChannel], marks: Marks) -> int:
        """Put another line-up into the job and return how many channels it has. Raises BadInput, StoreWaits."""
        return self._change_lineup(lambda documents: put_lineup(documents, channels, marks))

    def mark_lineup(self, marks: Marks) -> int:
        """Mark categories of the job's line-up; returns how many channels it has. Raises BadInput, StoreWaits."""
        return self._change_lineup(lambda documents: mark_lineup(documents, marks))

    def change_skyline(self, azimuth_deg: object, elevation_deg: object, out: bool) -> dict[str, Any]:
        """Enter an edge of the skyline, or take one out.

        Returns all `readings`, and the number of the first `analysis` that knows them. Raises BadInput, StoreWaits.
        """
        with self._change_lock:
            documents = self._documents
            changed = (
                without_reading(documents, azimuth_deg)
                if out
                else with_reading(documents, azimuth_deg, elevation_deg)
            )
            if changed.words:
                self._replace({HORIZON: changed.data}, changed.words)
            readings = [(point.azimuth_deg, point.elevation_deg) for point in changed.readings]
            return {"readings": readings, "analysis": self._analyst.coming}

    def keep_lineup(self, name: str, replace: bool) -> str:
        """Keep the job's line-up for other jobs; see `keep`. Raises SatdiagError."""
        documents = self._documents
        if FILE not in documents:
            raise bad_input(FILE, tell("the job has no line-up yet"), tell("Save a list of channels first."))
        return keep(name, documents[FILE], replace)

    def _change_lineup(self, change: Callable[[Mapping[str, bytes]], Change]) -> int:
        with self._change_lock:
            made = change(self._documents)
            if made.documents:
                self._replace(made.documents, made.words)
        return made.channel_count

    def _replace(self, documents: Mapping[str, bytes], what: str) -> None:
        """Write documents, all or none, on the writer's thread, between two commits, and take the job as it is then.

        A note says `what` was changed, as the log was read differently before.
        """
        done, trouble = threading.Event(), list[Exception]()

        def work(live: LiveFile) -> None:
            try:
                live.replace_documents(documents)
            except StoreWaits:
                raise  # the writer does it again
            except Exception as error:  # noqa: BLE001 (what is wrong with a document must not end the writing)
                trouble.append(error)

        def committed() -> None:
            if not trouble:
                self._replaced.append((what, documents))
            done.set()

        room = self.recorder.writer.put(Batch((), (), committed, urgent=True, work=work), 1.0)
        if not room or not done.wait(CHANGE_WAIT_S):
            held = tell("{names} not written yet: held, and written when that can be.", names=listed([*documents]))
            raise StoreWaits(f"{self.place}: {held}")
        if trouble:
            raise trouble[0]
        self._renew()

    def _renew(self) -> None:
        """Take the job as it is after documents were replaced, and write down that they were."""
        with self._renew_lock:
            replaced = [self._replaced.popleft() for _ in range(len(self._replaced))]
            if not replaced:
                return
            for _, documents in replaced:
                self._documents = {**self._documents, **documents}
            look, recorder = look_at(build_job(self._documents, ())), self.recorder  # without the rows, maybe many
            with self._lock:
                self._take_job(look)
                self.changes += 1
            recorder.desk.renew(look.sheet)
            self._analyst.refresh()
            notes = [Reading("note", "", text[:500]) for text, _ in replaced]
            recorder.writer.put(recorder.desk.own(recorder.clock.now(), notes), 0.0, always=True)
