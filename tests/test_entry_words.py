"""The words of entries: one for every row that the vocabulary allows, none of them a word of the log's own."""

from __future__ import annotations

import pytest

from satdiag.entry_words import HEADS, reading_words, words_of
from satdiag.rows import Row, check_row
from satdiag.vocabulary import KINDS
from tests.live.vocabulary_rows import every_row


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("channel 31 missing", "channel 31: not listed"),
        ("tune 31 requested", "channel 31: changed to it"),
        ("tune 31 abandoned", "channel 31: gave up"),
        ("power receiver standby", "power: standby"),
        ("place vehicle open-sky", "place: open sky"),
        ("account service resend-requested", "account: resend requested"),
        ("swap antenna better", "another antenna: better"),
        ("reset receiver seen", "receiver: restarted by itself"),
        ("gap serial:bench lost", "gap serial:bench: connection lost"),
        ("ring other-sources working", "optical ring, other sources: working"),
        ("withdraw row r1-7", "took an entry back"),
        ("channel 31 unreadable", "channel 31: unreadable"),
        ("signal satellite:east 3 bars/5", "level satellite east: 3 of 5 bars"),
        ("signal any -11.5 dB", "level any: -11.5 dB"),
        ("signal repeater 45 percent", "level repeater: 45 %"),
        ("heading vehicle 270 deg", "heading: 270°"),
        ("bias voltage:repeater 5.1 V", "antenna feed, voltage repeater: 5.1 V"),
        ("clock recorder -3.000 s", "step of the laptop's clock: -3.000 s"),
    ],
)
def test_an_entry_in_words(row, words):
    kind, subject, value, *unit = row.split(" ")
    assert words_of(Row("", kind, subject, value, *unit)) == words


def test_a_persons_own_text_stands_as_it_was_written():
    assert words_of(Row("", "note", "", "well-known lead, no-signal")) == "note: well-known lead, no-signal"
    assert words_of(Row("", "site", "vehicle", "yard-two")) == "site: yard-two"


def test_every_row_of_the_vocabulary_has_words_and_no_two_of_one_subject_have_the_same():
    rows = every_row()
    for row in rows:
        assert list(check_row(row, None, ["yard-two"])) == []
        assert row.kind == "withdraw" or not words_of(row).startswith(f"{row.kind} {row.subject} {row.value}")
    assert {row.kind for row in rows} == set(KINDS)
    assert {head.partition(" ")[0] for head in HEADS} == set(KINDS) - {"withdraw"}
    said = [(row.subject, words_of(row)) for row in rows if row.kind not in ("withdraw", "tune")]
    assert len(set(said)) == len(said)


def test_a_reading_without_a_number_has_no_unit():
    assert reading_words("unreadable", "dB") == "unreadable"
