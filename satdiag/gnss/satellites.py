"""GSV sentences: the satellites in view. The groups of one epoch are joined into one entry a satellite.

A receiver may send a group for each talker and signal, count all signals of a constellation in one run, list what it
does not track in a group of its own, or list every satellite in each group. So nothing is sized or ordered by the
counts that the sentences carry, and a satellite is untracked only if it has no C/N0 in any group.

In one epoch a satellite counts once a signal. Where it is listed again for the same signal, the last entry counts
that is complete, or says the most: a receiver lists it anew as it knows more, and one without a C/N0 takes nothing
back.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from satdiag.gnss.identity import PRIMARY_SIGNALS, Satellite, satellite_of
from satdiag.gnss.numbers import hex_digit, number, whole
from satdiag.gnss.sentences import Sentence

LEAST_CN0_DB_HZ = 8.0
"""A C/N0 below this is no tracking: receivers write 0 to 7 while they search. Judgement, from logs of receivers."""

_ALL_SIGNALS = 0


class Entry(NamedTuple):
    """One satellite in a GSV sentence, None where its field says nothing.

    `elevation_deg` and `azimuth_deg` are both None where both are 0: receivers write that before they know where a
    satellite is. `cn0_db_hz` is None if the satellite is not tracked. `satellite` is None if the number is missing
    (a GLONASS satellite whose slot is not known yet) or means no satellite.
    """

    satellite: Satellite | None
    elevation_deg: float | None
    azimuth_deg: float | None
    cn0_db_hz: float | None


class Gsv(NamedTuple):
    """One GSV sentence. `number` is its place in its run of sentences; `signal_id` and `system_id` None if not said.

    `impossible` counts the entries left out: an elevation, azimuth or C/N0 that cannot be, or is no number.
    """

    talker: str
    number: int | None
    signal_id: int | None
    system_id: int | None
    entries: tuple[Entry, ...]
    impossible: int


class InView(NamedTuple):
    """One satellite in one epoch, all its signals together.

    `cn0_db_hz`: of its primary signal (L1 or the like), None if that is not tracked. `tracked`: any signal is.
    `signals`: (signal id or None, C/N0 in dB-Hz) of each tracked signal. A direction is None where nobody knows it.
    """

    satellite: Satellite
    elevation_deg: float | None
    azimuth_deg: float | None
    cn0_db_hz: float | None
    tracked: bool
    signals: tuple[tuple[int | None, float], ...]


def parse_gsv(sentence: Sentence) -> Gsv | None:
    """A GSV sentence read; None if its number of fields fits none of the forms that are known.

    Three fields, then four a satellite; after them nothing (before 4.10), a signal id (4.10), or in one maker's own
    `PQGSV` a signal id and a system id.
    """
    fields = sentence.fields
    count, more = divmod(len(fields) - 3, 4)
    if count < 0 or more > (2 if sentence.talker == "PQ" else 1):
        return None
    ids = fields[3 + 4 * count :]
    signal_id = hex_digit(ids[0]) if ids else None
    system_id = hex_digit(ids[1]) if len(ids) > 1 else None
    entries: list[Entry] = []
    impossible = 0
    for at in range(3, 3 + 4 * count, 4):
        texts = fields[at : at + 4]
        if not any(texts):
            continue
        entry = _entry(texts, sentence.talker, system_id)
        if entry is None:
            impossible += 1
        else:
            entries.append(entry)
    return Gsv(sentence.talker, whole(fields[1]), signal_id, system_id, tuple(entries), impossible)


def _entry(texts: tuple[str, ...], talker: str, system_id: int | None) -> Entry | None:
    """The four fields of one satellite; None if one of them cannot be."""
    identity, (elevation, azimuth, level) = whole(texts[0]), [number(text) for text in texts[1:]]
    known = (identity, elevation, azimuth, level)
    if any(text and value is None for text, value in zip(texts, known, strict=True)):
        return None
    if elevation is not None and not -90 <= elevation <= 90:
        return None
    if azimuth is not None and not 0 <= azimuth <= 360:
        return None
    if level is not None and not 0 <= level < 100:
        return None
    if elevation == 0 and azimuth == 0:
        elevation = azimuth = None
    return Entry(
        satellite_of(talker, identity, system_id) if identity is not None else None,
        elevation,
        0.0 if azimuth == 360 else azimuth,
        level if level is not None and level >= LEAST_CN0_DB_HZ else None,
    )


def in_view(groups: Iterable[Gsv]) -> tuple[tuple[InView, ...], int]:
    """The satellites of the groups of one epoch, sorted; and how many tracked entries name no known satellite."""
    found: dict[Satellite, dict[int | None, Entry]] = {}
    nameless = 0
    for group in groups:
        for entry in group.entries:
            if entry.satellite is None:
                nameless += entry.cn0_db_hz is not None
                continue
            signals = found.setdefault(entry.satellite, {})
            known = signals.get(group.signal_id)
            if known is None or _says(entry) >= _says(known):
                signals[group.signal_id] = entry
    return tuple(_joined(satellite, found[satellite]) for satellite in sorted(found)), nameless


def _says(entry: Entry) -> int:
    """How much an entry says, as in `bulk`: a C/N0 is worth more than a direction."""
    return 2 * (entry.cn0_db_hz is not None) + (None not in (entry.elevation_deg, entry.azimuth_deg))


def _joined(satellite: Satellite, entries: dict[int | None, Entry]) -> InView:
    """A satellite's signals together; of directions that say the same amount the one of the signal listed first."""
    known = [(entry.elevation_deg, entry.azimuth_deg) for entry in entries.values()]
    elevation, azimuth = max(known, key=lambda pair: sum(part is not None for part in pair))
    signals = {signal: entry.cn0_db_hz for signal, entry in entries.items() if entry.cn0_db_hz is not None}
    order = (*PRIMARY_SIGNALS[satellite.constellation], None, _ALL_SIGNALS)
    primary = next((signals[signal] for signal in order if signal in signals), None)
    listed = tuple(sorted(signals.items(), key=lambda item: -1 if item[0] is None else item[0]))
    return InView(satellite, elevation, azimuth, primary, bool(signals), listed)
