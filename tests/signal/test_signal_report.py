"""What the report says of patterns, of the level to expect, and of the plain reading beside the chain."""

import pytest

from satdiag.findings import PathSignal, Share, SignalFindings
from satdiag.report.tables import level_table, share_table, signal_sentences


def path(**more):
    fields = {"unit": "dB", "clear_level": 12.0, "expected_level": None, "deficit": None, "deficit_90": None}
    fields |= {"deficit_db": None, "share": Share(0.9, 0.1, 0.0), "share_90": None, "dropouts_per_h": 0.0}
    return PathSignal(**{**fields, "mean_dropout_s": None, **more})


def row_of(table):
    return dict(zip(table.heads, [cell.text for cell in table.rows[0]], strict=True))


def test_the_plain_reading_stands_beside_the_chain():
    found = SignalFindings({"repeater": path(plain_share=Share(0.7, 0.3, 0.0))})
    row = row_of(share_table(found))
    assert row["weakened"].startswith("10")
    assert row["weakened, each reading alone"].startswith("30")


def test_a_deficit_names_what_it_is_counted_from():
    known = path(expected_level=13.0, deficit=3.0, deficit_90=(1.6, 4.4), level_here=10.0, expected_from="open-sky")
    found = SignalFindings({"satellite:east": known})
    row = row_of(level_table(found))
    assert row["level when clear"].startswith("10")
    assert row["short by"].startswith("3")
    assert "open sky before" in row["compared with"]
    assert any("from the start" in text for text in signal_sentences(found))
    assert row_of(level_table(SignalFindings({"repeater": path()})))["compared with"] == ""


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"repeats_at": "place", "repeats_place_db": 22.0, "repeats_positions": 9}, "the surroundings make them"),
        ({"repeats_at": "vehicle", "repeats_place_db": -14.0, "repeats_positions": 9}, "look at vehicle"),
        ({"repeats_place_db": 2.0, "repeats_positions": 3}, "too few to say"),
        ({"turns_with": "vehicle", "turns_vehicle_db": 25.0, "turns_headings": 8}, "turns with the vehicle"),
        ({"turns_with": "site", "turns_vehicle_db": -25.0, "turns_headings": 8}, "stays as it is"),
        ({"turns_vehicle_db": 1.0, "turns_headings": 4}, "no clear pattern"),
        ({"disagreements": ("east: one way or the other",)}, "one way or the other"),
    ],
)
def test_each_pattern_has_its_sentence(fields, words):
    said = signal_sentences(SignalFindings(**fields))
    assert len(said) == 1
    assert words in said[0]
    assert said[0].endswith(".")


def test_nothing_known_is_nothing_said():
    assert signal_sentences(SignalFindings()) == ()
