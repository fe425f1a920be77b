"""A whole NMEA log as epochs, with counts of what was in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from satdiag.gnss.epochs import Epoch, EpochBuilder
from satdiag.gnss.sentences import Sentence, sentences


@dataclass(frozen=True)
class Counts:
    """What a log held. `sentences` is `good` + `bad` + `absent`, by checksum.

    `not_believed`: without a checksum, from a device that sends it. `unread`: believed sentences of a type that is
    read here whose fields fit no known form. `impossible`: satellite entries left out because a value in them cannot
    be. `cut`: sentences that lost their end. `noise`: stretches of bytes, within a line, that are no sentence.
    """

    sentences: int
    good: int
    bad: int
    absent: int
    not_believed: int
    unread: int
    impossible: int
    cut: int
    noise: int


@dataclass(frozen=True)
class SkyLog:
    """The epochs of a log in the order in which they were received."""

    epochs: tuple[Epoch, ...]
    counts: Counts


def read_nmea(data: bytes | Iterable[bytes]) -> SkyLog:
    """Read a log of NMEA 0183 sentences, whole or in pieces of any size. Takes any bytes, raises nothing."""
    builder = EpochBuilder()
    found: Counter[str] = Counter()
    epochs: list[Epoch | None] = []
    for piece in sentences(data):
        if not isinstance(piece, Sentence):
            found[piece.kind] += 1
            continue
        epochs.append(builder.add(piece))
        found[piece.checksum] += 1
        found["not_believed"] += piece.checksum == "absent" and not builder.believes(piece)
    epochs.append(builder.finish())
    counts = Counts(
        sentences=found["good"] + found["bad"] + found["absent"],
        good=found["good"],
        bad=found["bad"],
        absent=found["absent"],
        not_believed=found["not_believed"],
        unread=builder.unread,
        impossible=builder.impossible,
        cut=found["cut"],
        noise=found["noise"],
    )
    return SkyLog(tuple(epoch for epoch in epochs if epoch is not None), counts)
