"""Throws changed inputs at a parser and says how each ended; what must hold is in `judged`.

An input is sound or it is refused with a `SatdiagError` that says something; no other exception leaves, nothing takes
longer than the parser's limit, nothing swells the memory. What an input led to is named by the words of the refusal
without what was quoted in them; an input with a new outcome is changed further, so that a run goes deeper with time.
"""

from __future__ import annotations

import random
import re
import signal
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from satdiag.errors import BadInput, SatdiagError
from tests.hardening.fuzz_changes import MOST_NUMBER, TEXT, Change, Operator, changed

SLOW_S = 2.0
"""CPU seconds for one input; a page of text takes milliseconds."""

LOOP, LOOP_S = 200_000, 0.02
"""A loop of so many rounds takes so long on a slow computer; where it takes longer just now, the limit is as much
higher: on a busy computer CPU time was seen to run ten times as fast."""

HANG_S = {"ITIMER_PROF": 100.0, "ITIMER_REAL": 1000.0}
"""When an input is broken off: seconds of CPU time, and by the clock, for a computer that does much else."""

SWELL_MB = 300
"""More memory than before the input, at the highest."""

LONGEST_WORD = 6000
"""Characters of one problem of a refusal: an input is quoted cut short."""

_MOST_CHANGES = 4
_KEPT = 300


class Hang(BaseException):
    """An input was broken off; not an `Exception`, so that no handler on the way swallows it."""


@dataclass(frozen=True)
class Parser:
    """What is tried: sound inputs, what reads one (it returns a word on how it ended), and what changes them.

    `mend` makes sums and digests right again for half of the inputs, so that what lies behind them is reached.
    """

    name: str
    seeds: Callable[[], Sequence[bytes]]
    read: Callable[[bytes], str]
    operators: Mapping[str, Operator] = field(default_factory=lambda: TEXT)
    mend: Callable[[bytes], bytes] | None = None
    slow_s: float = SLOW_S


@dataclass(frozen=True)
class Outcome:
    """How an input ended: `kind` is 'value', 'refused' or what is wrong ('crash', 'slow', 'memory', 'words')."""

    kind: str
    words: str

    @property
    def is_failure(self) -> bool:
        """Whether this is a defect of ours."""
        return self.kind not in ("value", "refused")


def judged(parser: Parser, data: bytes) -> Outcome:
    """Let the parser read an input."""
    before_mb, began = _peak_mb(), time.process_time()
    try:
        with _broken_off():
            found = Outcome("value", parser.read(data))
    except SatdiagError as error:
        found = _refusal(error)
    except (KeyboardInterrupt, SystemExit):
        raise
    except Hang:
        found = Outcome("slow", "broken off, since it does not end")
    except BaseException as error:  # noqa: BLE001 (whatever else leaves a parser is what is looked for)
        place = traceback.extract_tb(error.__traceback__)[-1]
        ours = [one for one in traceback.extract_tb(error.__traceback__) if "satdiag" in one.filename]
        where = (ours or [place])[-1]
        found = Outcome("crash", f"{type(error).__name__}: {str(error)[:120]} ({where.name}, line {where.lineno})")
    spent_s, swelled_mb = time.process_time() - began, _peak_mb() - before_mb
    if not found.is_failure and spent_s > parser.slow_s and not _is_quick_again(parser, data):
        return Outcome("slow", f"more than {parser.slow_s:g} s of CPU time")
    if not found.is_failure and swelled_mb > SWELL_MB:
        return Outcome("memory", f"more than {SWELL_MB} MB")
    return found


def _is_quick_again(parser: Parser, data: bytes) -> bool:
    """Whether an input that took too long takes less in one of two more attempts, by the pace of this moment."""
    for _ in range(2):
        began = time.process_time()
        with suppress(SatdiagError, Hang), _broken_off():
            parser.read(data)
        read_s = time.process_time() - began
        began = time.process_time()
        for _ in range(LOOP):
            pass
        if read_s <= parser.slow_s * max(1.0, (time.process_time() - began) / LOOP_S):
            return True
    return False


def _refusal(error: SatdiagError) -> Outcome:
    """A refusal says what and how to mend it, on lines that can be printed."""
    told = [str(one) for one in error.problems] if isinstance(error, BadInput) else [str(error)]
    if not told or not all(one.strip() for one in told):
        return Outcome("words", f"an empty refusal: {type(error).__name__}")
    if isinstance(error, BadInput) and not all(one.file and one.what and one.mend for one in error.problems):
        return Outcome("words", "a problem without file, what or how to mend it")
    for one in told:
        if odd := next((mark for mark in one if not (mark.isprintable() or mark == "\n")), None):
            return Outcome("words", f"a character that cannot be printed ({odd!r}) in: {_plain(one)}")
        if len(one) > LONGEST_WORD:
            return Outcome("words", f"{len(one)} characters: {_plain(one)}")
    return Outcome("refused", _plain(told[0]))


def _plain(text: str) -> str:
    """The words of a message without what was quoted and counted in it."""
    text = re.sub(r"'[^']*'", "'..'", text)
    return re.sub(r"\d+", "#", re.sub(r"[^\x20-\x7e]+", "~", text))[:80]


@contextmanager
def _broken_off() -> Iterator[None]:
    """Raise `Hang` within, after a while; where the system knows no such alarm, nothing is broken off."""
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(*_: Any) -> None:
        raise Hang

    before = [(number, signal.signal(number, stop)) for number in (signal.SIGALRM, signal.SIGPROF)]
    for name, after_s in HANG_S.items():
        signal.setitimer(getattr(signal, name), after_s)
    try:
        yield
    finally:
        for name in HANG_S:
            signal.setitimer(getattr(signal, name), 0)
        for number, handler in before:
            signal.signal(number, handler)


def _peak_mb() -> float:
    """The most memory that this process has had; 0 where the system does not tell."""
    try:
        import resource
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


# --- runs --------------------------------------------------------------------------------------------------------


@dataclass
class Run:
    """What a run of a parser came to. `failures`: by outcome, the smallest input that led there, as (seed, plan)."""

    parser: str
    inputs: int = 0
    seconds: float = 0.0
    outcomes: Counter[str] = field(default_factory=Counter)
    failures: dict[str, tuple[bytes, tuple[Change, ...], bytes]] = field(default_factory=dict)
    broke: int = 0

    @property
    def sound(self) -> int:
        """How many inputs were read as sound."""
        return sum(count for words, count in self.outcomes.items() if words.startswith("value"))


def drawn(rng: random.Random, operators: Mapping[str, Operator]) -> tuple[Change, ...]:
    """A few changes, mostly one or two."""
    names = list(operators)
    count = min(1 + int(rng.expovariate(0.9)), _MOST_CHANGES)
    return tuple(
        Change(rng.choice(names), rng.randrange(MOST_NUMBER), rng.randrange(MOST_NUMBER)) for _ in range(count)
    )


def run(parser: Parser, seed: int, inputs: int | None = None, seconds: float | None = None) -> Run:
    """Try so many inputs, or for so long (at least one of each)."""
    rng = random.Random(f"{seed} {parser.name}")
    bases = list(parser.seeds())
    corpus = list(bases)
    found, began = Run(parser.name), time.monotonic()
    for base in bases if inputs is None or inputs > 2 * len(bases) else rng.sample(bases, max(inputs // 2, 1)):
        _take(found, parser, base, (), base)
    while (inputs is None or found.inputs < inputs) and (seconds is None or time.monotonic() - began < seconds):
        base = rng.choice(bases if rng.random() < 0.6 else corpus)
        plan = drawn(rng, parser.operators)
        data = changed(base, plan, parser.operators)
        if parser.mend is not None and rng.random() < 0.5:
            data = parser.mend(data)
        if _take(found, parser, base, plan, data) and len(corpus) < len(bases) + _KEPT and len(data) < 50_000:
            corpus.append(data)
    found.seconds = time.monotonic() - began
    return found


def _take(found: Run, parser: Parser, base: bytes, plan: tuple[Change, ...], data: bytes) -> bool:
    """Judge an input and count it; True for an outcome that was not seen before."""
    outcome = judged(parser, data)
    words = f"{outcome.kind}: {outcome.words}"
    is_new = words not in found.outcomes
    found.inputs += 1
    found.outcomes[words] += 1
    if outcome.is_failure:
        found.broke += 1
        if is_new:
            found.failures[words] = (base, *_smaller(parser, base, plan, data, outcome))
    return is_new and not outcome.is_failure


def _smaller(
    parser: Parser, base: bytes, plan: tuple[Change, ...], data: bytes, outcome: Outcome
) -> tuple[tuple[Change, ...], bytes]:
    """The plan without the changes that are not needed to fail alike, and the input it makes."""
    if outcome.kind in ("slow", "memory"):
        return plan, data
    for change in plan:
        fewer = tuple(one for one in plan if one is not change)
        made = changed(base, fewer, parser.operators)
        if judged(parser, made).kind == outcome.kind:
            plan, data = fewer, made
    return plan, data
