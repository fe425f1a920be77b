"""What the report says of patterns, of the level to expect, and of the plain reading beside the chain."""

from dataclasses import replace

import pytest

from satdiag.findings import ExpectedInput, PathSignal, Share, SignalFindings, SkyAgreement, SwapGain
from satdiag.language import speaking
from satdiag.report.tables import budget_table, level_table, share_table, signal_sentences, together_sentences
from satdiag.signal.moves import PARTS

AGREEMENT = SkyAgreement(
    path="satellite:east",
    site="yard",
    from_="horizon",
    p_clear=0.97,
    p_clear_90=(0.9, 0.99),
    blocked_share=0.8,
    blocked_share_90=(0.6, 0.9),
    state="more-blocked",
    chance_by_sky=0.03,
    text="east at yard: the sky alone does not do that",
)

GAIN = SwapGain("satellite:east", "antenna", "2031-05-03T14:10:00Z", "dB", 9.0, 16.0, 7.0, (5.0, 9.0))


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
    assert row["level at its best"].startswith("10")
    assert row["short by"].startswith("3")
    assert "open sky before" in row["compared with"]
    assert any("from its first day" in text for text in signal_sentences(found))
    assert row_of(level_table(SignalFindings({"repeater": path()})))["compared with"] == ""


def test_a_link_budget_shows_every_input_with_its_range_and_standing():
    gain = ExpectedInput("antenna gain", 3.0, (0.0, 6.0), "dBic", "assumed", "judgement, no source")
    power = ExpectedInput("radiated power, EIRP", 66.0, None, "dBW", "stated", "from memory")
    known = path(
        expected_level=17.0, expected_90=(12.0, 20.0), expected_from="link-budget", expected_inputs=(gain, power)
    )
    found = SignalFindings({"satellite:east": known})
    rows = [[cell.text for cell in row] for row in budget_table(found).rows]
    assert rows[0][1:2] + rows[0][3:] == ["antenna gain", "assumed", "judgement, no source"]
    assert "6" in rows[0][2]
    assert rows[1][2].startswith("66")
    assert "20" in row_of(level_table(found))["level expected"]
    assert budget_table(SignalFindings({"repeater": path()})) is None


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"repeats_at": "place", "repeats_place_db": 22.0, "repeats_positions": 9}, "the surroundings make them"),
        ({"repeats_at": "vehicle", "repeats_place_db": -14.0, "repeats_positions": 9}, "look at vehicle"),
        ({"repeats_place_db": 2.0, "repeats_positions": 3}, "too few to say"),
        ({"turns_with": "vehicle", "turns_vehicle_db": 25.0, "turns_headings": 8}, "turns with the vehicle"),
        ({"turns_with": "site", "turns_vehicle_db": -25.0, "turns_headings": 8}, "stays so while the vehicle turns"),
        ({"turns_vehicle_db": 1.0, "turns_headings": 4}, "no clear pattern"),
        (
            {"turns_with": "vehicle", "turns_both": True, "turns_vehicle_db": 25.0, "turns_headings": 8},
            "Besides, paths differ whatever the heading",
        ),
        ({"swap_gains": (GAIN,)}, "With the other antenna, the level of"),
        ({"swap_gains": (GAIN,)}, "a gain of 7.0"),
        ({"disagreements": ("east: one way or the other",)}, "one way or the other"),
        ({"sky_agreement": (AGREEMENT,)}, "the sky alone"),
    ],
)
def test_each_pattern_has_its_sentence(fields, words):
    said = signal_sentences(SignalFindings(**fields))
    assert words in " ".join(said)
    assert all(one.endswith(".") for one in said)


@pytest.mark.parametrize("part", [*PARTS, " and ".join(PARTS)])
def test_whatever_parts_are_exchanged_there_is_a_sentence(part):
    (said,) = signal_sentences(SignalFindings(swap_gains=(replace(GAIN, part=part),)))
    assert said.startswith(f"With the other {part}, the level of satellite east went from")
    with speaking("es"):
        (other,) = signal_sentences(SignalFindings(swap_gains=(replace(GAIN, part=part),)))
    assert other.startswith("Con ")
    assert "(satélite east)" in other


def test_nothing_known_is_nothing_said():
    assert signal_sentences(SignalFindings()) == ()


def test_drop_outs_of_every_path_are_counted_out():
    found = SignalFindings(
        together_share=0.5, together_share_90=(0.2, 0.8), together_events=4, together_taken=2, turns_both=False
    )
    (said,) = together_sentences(found)
    assert "2 of 4" in said
    assert "20" in said
    assert "80" in said
    assert together_sentences(SignalFindings(together_events=2, together_taken=2)) == ()


def test_nothing_above_the_floor_has_a_row():
    nothing = path(clear_level=None, expected_level=16.0, deficit_at_least=12.4, expected_from="open-sky")
    row = row_of(level_table(SignalFindings({"satellite:east": nothing})))
    assert row["level at its best"] == "nothing above the floor"
    assert row["short by"].startswith("more than 12.4")


def test_drop_outs_that_were_seen_and_those_that_may_have_been():
    seen = path(dropouts_per_h_90=(1.0, 210.0), mean_dropout_s_90=(10.0, 3100.0))
    row = row_of(
        share_table(
            SignalFindings(
                {"repeater": PathSignal(**{**vars(seen), "dropouts_per_h": 2.0, "mean_dropout_s": 2000.0})}
            )
        )
    )
    assert row["drop-outs seen per hour"].endswith("at most 210")
    assert row["drop-outs seen per hour"].startswith("2")
    assert "at least 10" in row["a drop-out seen lasts"]
    assert "3100" not in row["a drop-out seen lasts"]
