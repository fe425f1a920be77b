"""How the answer of each test of `faults.toml` gets into the log: which rows a button enters, or where it is done.

Every row is one of the vocabulary. An answer that is a number is asked for; what takes many rows has a view.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.diagnosis.evidence.vehicle import WATCHED_S
from satdiag.language import mark, tell, translated

if TYPE_CHECKING:
    from satdiag.diagnosis.model import Item, Test
    from satdiag.job import Job


class Entry(NamedTuple):
    """One row to enter, as the vocabulary has it."""

    kind: str
    subject: str
    value: str
    unit: str = ""


class Button(NamedTuple):
    """A button and the rows it enters. `state`: what of the test's item that shows; '' for a step on the way.

    `label`: marked words; '' where the item's own words for the state will do. `again`: to be tapped each time.
    """

    state: str
    entries: tuple[Entry, ...]
    label: str = ""
    again: bool = False


class Ask(NamedTuple):
    """A number to be asked for, and what it is called (marked words)."""

    kind: str
    subject: str
    unit: str
    label: str


class Way(NamedTuple):
    """How a test is answered: buttons and numbers in their order; a view of the page where more can be entered."""

    answers: tuple[Button | Ask, ...] = ()
    view: str = ""
    hint: str = ""


def entering(test: Test, item: Item, job: Job) -> dict[str, Any]:
    """How a test's answer is entered, as the page gets it.

    `answers`: {state, label, entries, again} or {ask: {kind, subject, unit, label}}; `view`: where else, '' for
    nowhere; `hint`: a sentence or ''.
    """
    way = _WAYS[test.name](job)
    answers = [_asked(one) if isinstance(one, Ask) else _button(one, item) for one in way.answers]
    return {"test": test.name, "answers": answers, "view": way.view, "hint": way.hint}


def _asked(one: Ask) -> dict[str, Any]:
    return {"ask": {"kind": one.kind, "subject": one.subject, "unit": one.unit, "label": translated(one.label)}}


def _button(one: Button, item: Item) -> dict[str, Any]:
    label = one.label or item.say[item.states.index(one.state)]  # what is no key of the catalogue stays as it is
    return {
        "state": one.state,
        "label": _capital(translated(label)),
        "entries": [entry._asdict() for entry in one.entries],
        "again": one.again,
    }


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _states(kind: str, subject: str, said: Mapping[str, str]) -> Callable[[Job], Way]:
    """Buttons for states of the item, each with the value that the log has for it."""
    buttons = tuple(Button(state, (Entry(kind, subject, value),)) for state, value in said.items())
    return lambda job: Way(buttons)


def _same(kind: str, subject: str, values: Sequence[str]) -> Callable[[Job], Way]:
    return _states(kind, subject, {value: value for value in values})


def _done_in(view: str) -> Callable[[Job], Way]:
    return lambda job: Way((), view)


def _bias(job: Job) -> Way:
    if job.sheet.receiver.antenna_lead != "dual":
        alone = (
            Ask("bias", "voltage", "V", mark("Voltage of the feed")),
            Ask("bias", "current", "mA", mark("Current of the feed")),
        )
        return Way(alone)
    return Way(
        (
            Ask("bias", "voltage:satellite", "V", mark("Voltage, satellite lead")),
            Ask("bias", "current:satellite", "mA", mark("Current, satellite lead")),
            Ask("bias", "voltage:repeater", "V", mark("Voltage, repeater lead")),
            Ask("bias", "current:repeater", "mA", mark("Current, repeater lead")),
        )
    )


def _supply(job: Job) -> Way:
    return Way(
        (
            Ask("supply", "receiver", "V", mark("Supply at rest")),
            Ask("supply", "receiver-minimum", "V", mark("Lowest while starting")),
        )
    )


def _noise_rise(job: Job) -> Way:
    noise = Ask("noise", "receiver", "dB", mark("Noise that is read now"))
    return Way(
        (
            Button("", (Entry("feed", "bias", "off"),), mark("The feed is off now")),
            noise,
            Button("", (Entry("feed", "bias", "on"),), mark("The feed is on now")),
            noise,
        ),
        hint=tell("Switch and read several times in turn: one pair alone cannot tell a small rise from chance."),
    )


def _account(job: Job) -> Way:
    """Not 'submitted': an answer that is still out says nothing yet. That and more stands in the view."""
    said = {"confirmed": "confirmed", "resent": "resend-confirmed", "none": "none", "rejected": "rejected"}
    way = _states("account", "service", {**said, "lapsed": "lapsed"})(job)
    return way._replace(view="byhand")


def _resend(job: Job) -> Way:
    """That it was asked for; what came of it is seen in the channels."""
    asked = Button("", (Entry("account", "service", "resend-requested"),), mark("Resend asked for"))
    return Way((asked,), "channels", tell("Once asked for, wait 15 minutes outdoors and check the channels again."))


def _restarts(job: Job) -> Way:
    hint = tell("Ten minutes of log, with the receiver on, count as 'no restart was seen'.")
    return Way(
        (
            Button("none", (Entry("power", "receiver", "awake"),), mark("It is on and did not restart")),
            Button("one", (Entry("reset", "receiver", "seen"),), mark("It restarted: tap each time"), again=True),
        ),
        hint=hint if job.end_s < WATCHED_S else "",
    )


def _outdoors(job: Job) -> Way:
    here = Button("", (Entry("place", "vehicle", "open-sky"),), mark("It stands under open sky now"))
    return Way((here, *_same("swap", "place", ("better", "same", "worse"))(job).answers))


def _open_channel(job: Job) -> Way:
    """Buttons for the first channel that needs no account; for others, or without a line-up, the list of channels."""
    one = next((channel for channel in job.lineup or () if channel.is_open), None)
    if one is None:
        return Way((), "channels")
    name = f"{one.channel} {one.name}".strip()
    said = (
        ("plays", "authorised", tell("Channel {channel} plays", channel=name)),
        ("silent", "refused", tell("Channel {channel} is refused", channel=name)),
        ("silent", "no-signal", tell("Channel {channel}: no signal", channel=name)),
    )
    number = str(one.channel)
    return Way(tuple(Button(state, (Entry("channel", number, v),), label) for state, v, label in said), "channels")


def _beside(job: Job) -> Way:
    return Way(
        (),
        "byhand",
        tell("The two logs are compared by the analysis on the laptop, once both have been recorded."),
    )


def _positions(job: Job) -> Way:
    """The view 'Wiring' asks for the position of each node that the plan of the ring names."""
    from satdiag.wiring.ring import ring_of

    if ring_of(job) is not None:
        return Way((), "wiring")
    hint = tell(
        "Without a plan of the ring, ring.toml, this page has no place for positions. Write them on paper, and enter "
        "them on the laptop when this page has ended: satdiag note JOB ring position:NAME NUMBER."
    )
    return Way((), "wiring", hint)


_WAYS: Mapping[str, Callable[[Job], Way]] = {
    "measure-bias": _bias,
    "read-levels": _done_in("byhand"),
    "check-satellites": _done_in("byhand"),
    "check-listing": _states("listing", "source", {"offered": "yes", "not-offered": "no"}),
    "read-configuration": _same("configuration", "readback", ("matches", "differs")),
    "check-ring": _same("ring", "bus", ("closed", "open")),
    "check-node": _states("ring", "node:receiver", {"answers": "present", "silent": "absent"}),
    "read-positions": _positions,
    "try-other-sources": _same("ring", "other-sources", ("working", "lost")),
    "listen": _same("audio", "output", ("playing", "broken", "muted")),
    "play-open-channel": _open_channel,
    "check-account": _account,
    "ask-resend": _resend,
    "check-channels": _done_in("channels"),
    "compare-identifier": _same("identity", "receiver-id", ("match", "mismatch")),
    "wait-and-recheck": _done_in("channels"),
    "watch-restarts": _restarts,
    "measure-supply": _supply,
    "swap-antenna": _same("swap", "antenna", ("better", "same", "worse")),
    "swap-lead": _same("swap", "lead", ("better", "same", "worse")),
    "swap-receiver": _same("swap", "receiver", ("better", "same", "worse")),
    "move-outdoors": _outdoors,
    "stand-beside": _beside,
    "noise-rise": _noise_rise,
    "read-horizon": _done_in("sky"),
    "time-changes": _done_in("timing"),
}
