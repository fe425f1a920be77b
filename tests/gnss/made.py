"""Sentences of our own making, with checksums by pynmeagps. All places in them are invented."""

import pynmeagps

from satdiag.gnss.sentences import Sentence, sentences_in


def nmea(content: str) -> bytes:
    """A sentence with its start, its checksum and its line end."""
    return f"${content}*{pynmeagps.calc_checksum(content)}\r\n".encode("latin-1")


def stream(*contents: str) -> bytes:
    """Sentences one after the other."""
    return b"".join(map(nmea, contents))


def sentence(content: str) -> Sentence:
    """One sentence, read."""
    (found,) = sentences_in(nmea(content))
    assert isinstance(found, Sentence)
    assert found.checksum == "good"
    return found
