"""The analysis beside the recording: of a read-only look at the job file, in a thread or a process, never in haste.

It never holds up the recording: it is left out while rows wait to be written, and takes at most a tenth of the
time. What it found last stands until there is something newer, and says how old it is.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from time import monotonic
from typing import NamedTuple

from satdiag.errors import SatdiagError
from satdiag.language import Language, mark, speaking, spoken, translated
from satdiag.live.bench import Ended, Failed, View, Working
from satdiag.live.sentence import NOTHING_YET, Now
from satdiag.live.state import Chance
from satdiag.report.figure import Figure

EVERY_S = 5.0
"""It is computed anew this often at most, and less often where that would take more than a tenth of the time."""

PAUSES = 10
"""So many times as long as a processor worked at an analysis nothing is analysed after it."""

LONGEST_PAUSE_S = 60.0
"""But this often at least: people wait for what it says."""

ASKED_FOR_S = 60.0
"""An analysis is made in every language that a page asked for so lately."""

PATIENCE_S = 0.25
JOIN_S = 5.0


class Analysis(NamedTuple):
    """What was found last. `at_s`: on the monotonic clock, when the job was read; None: nothing was found yet.

    `fill_in`: how the channels came in, drawn; None where that is not known. `number`: counts the analyses, the same
    in every language.
    """

    now: Now
    chances: Mapping[int, Chance]
    could_not: tuple[str, ...]
    at_s: float | None
    fill_in: Figure | None = None
    number: int = 0

    @property
    def age_s(self) -> float | None:
        """How old it is."""
        return None if self.at_s is None else monotonic() - self.at_s


class Analyst:
    """Has a job file analysed again and again. `rows` tells how many rows it holds, `is_behind` whether to wait."""

    def __init__(
        self,
        working: Working,
        rows: Callable[[], int],
        is_behind: Callable[[], bool],
        every_s: float = EVERY_S,
    ) -> None:
        self._working, self._rows, self._is_behind, self._every_s = working, rows, is_behind, every_s
        self._made: dict[Language, Analysis] = {}
        self._begun = 0  # the number of the analysis that was begun last
        self._asked_s: dict[Language, float] = {}
        self._stop, self._stale = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name="analyst", daemon=True)

    @property
    def latest(self) -> Analysis:
        """What was found last, in the language in use; in another one until it is worked out in this."""
        language = spoken()
        self._asked_s[language] = monotonic()
        if language in self._made:
            return self._made[language]
        if self._made:
            self.refresh()
        made = max(self._made.values(), key=lambda one: one.at_s or 0.0, default=None)
        return made or Analysis(Now(translated(NOTHING_YET)), {}, (), None)

    @property
    def coming(self) -> int:
        """The number of the first analysis that reads the file later than now; one under way may have done so."""
        return 1 + self._begun

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def refresh(self) -> None:
        """Something else than rows has changed, e.g. the sheet."""
        self._stale.set()

    def let_go(self) -> None:
        """Read the file no more: at return it is not open here, and may be closed by its writer."""
        self._stop.set()
        self._working.stop()

    def join(self) -> None:
        """Wait for an analysis that is under way, but not for long."""
        if self._thread.ident is not None:
            self._thread.join(JOIN_S)

    def _run(self) -> None:
        with suppress(Exception):  # the first analysis will say so
            self._working.warm()  # what it takes to load is not what an analysis takes
        looked_at, pause_s = -1, 0.0
        while self._rests(pause_s):
            pause_s, rows = 0.0, self._rows()
            if (rows == looked_at and not self._stale.is_set()) or self._is_behind():
                continue
            self._stale.clear()
            work_s = self._look(monotonic())
            looked_at = rows
            pause_s = max(self._every_s, min(PAUSES * work_s, LONGEST_PAUSE_S))

    def _rests(self, pause_s: float) -> bool:
        """Wait for a time, but not while a page waits for its language. False: it is to end."""
        end_s = monotonic() + pause_s
        while not self._stop.wait(PATIENCE_S):
            if monotonic() >= end_s or (
                self._made and any(one not in self._made for one in self._asked(monotonic()))
            ):
                return True
        return False

    def _asked(self, at_s: float) -> list[Language]:
        """The languages that pages asked for lately."""
        return [one for one, asked_s in [*self._asked_s.items()] if at_s - asked_s < ASKED_FOR_S]

    def _look(self, begun_s: float) -> float:
        """Have it analysed; how long a processor worked at it, s."""
        number = self._begun = 1 + max((one.number for one in self._made.values()), default=0)
        try:
            looked = self._working.look(number, self._asked(begun_s) or ["en"])
            self._made = {
                language: Analysis(*one[:3], begun_s, one.fill_in, number) for language, one in looked.found.items()
            }
            return looked.work_s
        except SatdiagError as error:
            self._failed(mark("The log could not be analysed just now: {error}"), error=error)
        except Ended:
            if not self._stop.is_set():
                self._failed(mark("The analysis broke off. It is still recorded, and analysed again."))
        except Exception as error:  # noqa: BLE001 (an error of the analysis must not end the recording)
            name = error.name if isinstance(error, Failed) else type(error).__name__
            self._failed(mark("The analysis failed ({name}: {error}). It is still recorded."), name=name, error=error)
        return monotonic() - begun_s

    def view(self, name: str) -> View:
        """A view of the last analysis, in the language in use. Raises SatdiagError, Failed."""
        self._asked_s[spoken()] = monotonic()
        return self._working.view(name, spoken())

    def _failed(self, text: str, **values: object) -> None:
        """What was found before stands, with its age; that nothing newer was found is said."""
        made = dict(self._made)
        for language in {*made, *self._asked_s} or {"en"}:
            with speaking(language):
                why, before = translated(text).format(**values), self._made.get(language, self.latest)
            told = tuple(one for one in before.could_not if one != why)
            made[language] = before._replace(could_not=(why, *told)[:50])
        self._made = made  # others look through it meanwhile: it is exchanged, never changed
