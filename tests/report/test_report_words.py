"""The words, colours and cautions cover everything that findings may hold."""

from __future__ import annotations

import dataclasses
import typing

import pytest

from satdiag import findings as f
from satdiag.diagnosis.model import load_model
from satdiag.paths import path_words, the_path
from satdiag.report import palette, words
from satdiag.report.cautions import CAUTIONS, KEYS, cautions_for
from satdiag.report.firmness import swing_figure
from satdiag.report.opening import reasons
from satdiag.vocabulary import CLASS_OF, FAULTS, REASONS
from tests.report import made


def _literals(kind: type, name: str) -> set[str]:
    """The words that a field of the findings may take."""
    hint = typing.get_type_hints(kind)[name]
    parts = [part for part in (hint, *typing.get_args(hint)) if typing.get_origin(part) is typing.Literal]
    return set(typing.get_args(parts[0]))


@pytest.mark.parametrize(
    ("table", "kind", "name"),
    [
        (words.VERDICTS, f.Verdict, "state"),
        (palette.VERDICTS, f.Verdict, "state"),
        (words.CHANNEL_STATES, f.ChannelFinding, "state"),
        (palette.CHANNELS, f.ChannelFinding, "state"),
        (words.CHANNEL_REASONS, f.ChannelFinding, "reason"),
        (words.STRETCHES, f.Stretch, "state"),
        (palette.STRETCHES, f.Stretch, "state"),
        (words.SKY_SOURCES, f.SatelliteSky, "from_"),
        (words.BIAS_STATES, f.BiasFindings, "state"),
        (words.SUPPLY_STATES, f.SupplyFindings, "state"),
        (words.RING_STATES, f.RingFindings, "state"),
        (words.OTHER_SOURCES, f.RingFindings, "other_sources"),
        (words.EXPOSURE_BASES, f.EntitlementFindings, "exposure_basis"),
        (words.EXPOSURE_ORIGINS, f.EntitlementFindings, "exposure_origin"),
        (words.EXPECTED_FROM, f.EntitlementFindings, "expected_from"),
    ],
)
def test_every_state_of_the_findings_has_a_word(table, kind, name):
    assert set(table) == _literals(kind, name)


def test_every_fault_class_and_reason_has_a_word():
    assert set(words.FAULTS) == {*FAULTS, "none", "other"}
    assert set(words.CLASSES) == {*CLASS_OF.values(), "none", "other"}
    assert set(words.VISIT_REASONS) == set(REASONS)


def test_the_states_of_a_channel_are_told_apart_without_colour():
    symbols = [mark.symbol for mark in palette.CHANNELS.values()]
    assert len(set(symbols)) == len(symbols)
    patterns = [mark.pattern for mark in palette.STRETCHES.values()]
    assert len(set(patterns)) == len(patterns)


def test_every_caution_that_faults_and_tests_name_is_written():
    model = load_model()
    named = {key for fault in model.faults.values() for key in fault.cautions}
    named |= {key for test in model.tests for key in test.cautions}
    assert named <= KEYS


def _keys(findings: f.Findings) -> list[str]:
    return [caution.key for caution in cautions_for(findings)]


def test_local_rules_always_stand_last():
    assert _keys(made.empty_findings()) == ["rules"]
    assert _keys(made.full_findings())[-1] == "rules"


@pytest.mark.parametrize(
    ("fault", "wanted"),
    [("antenna-short", {"airbag", "roof", "feed"}), ("ring-broken", {"fibre"}), ("foliage", {"driving"})],
)
def test_a_fault_in_play_brings_its_cautions(fault, wanted):
    findings = made.empty_findings()
    probable = dataclasses.replace(findings.diagnosis, faults={fault: 0.4})
    hardly = dataclasses.replace(findings.diagnosis, faults={fault: 0.01})
    assert wanted <= set(_keys(dataclasses.replace(findings, diagnosis=probable)))
    assert _keys(dataclasses.replace(findings, diagnosis=hardly)) == ["rules"]


def test_waiting_and_a_roof_call_for_a_charger_and_fresh_air():
    findings = made.empty_findings()
    filling = dataclasses.replace(findings.verdict, state="filling")
    assert {"battery", "garage"} <= set(_keys(dataclasses.replace(findings, verdict=filling)))
    indoors = f.SkyFindings((f.SiteSky("hall", (), None, None, None, "indoors"),))
    assert "garage" in _keys(dataclasses.replace(findings, sky=indoors))


def test_a_caution_that_a_test_words_itself_is_shown():
    findings = made.empty_findings()
    test = f.NextTest("own", 1.0, 1.0, 0.1, "Do it.", ("Mind the dog.",))
    shown = cautions_for(
        dataclasses.replace(findings, diagnosis=dataclasses.replace(findings.diagnosis, next_tests=(test,)))
    )
    assert [caution.head for caution in shown] == ["Mind the dog.", "Rules that come first"]


def test_cautions_have_keys_of_their_own():
    assert len(KEYS) == len(CAUTIONS)


def test_reasons_fall_on_the_right_side():
    """For ours: for; against ours, or for another cause: against; against another cause: neither."""
    items = (
        f.Evidence("a", "x", "antenna-open", 9.0, "ours for"),
        f.Evidence("b", "x", "antenna-open", -8.0, "ours against"),
        f.Evidence("c", "x", "indoors", 7.0, "other for"),
        f.Evidence("d", "x", "indoors", -20.0, "other against"),
    )
    findings = made.empty_findings()
    verdict = dataclasses.replace(findings.verdict, state="fault", class_="antenna", fault="antenna-open")
    diagnosis = dataclasses.replace(findings.diagnosis, evidence=items)
    found_for, against = reasons(dataclasses.replace(findings, verdict=verdict, diagnosis=diagnosis))
    assert [text.split(" (")[0] for text in found_for] == ["Ours for"]
    assert [text.split(" (")[0] for text in against] == ["Ours against", "Other for"]


def test_a_figure_of_the_model_is_named_in_full_over_its_bar():
    moved = (
        f.Swing("entitlement", "partial-package", 0.2, 0.9, False),
        f.Swing("entitlement", "entitlement-not-received", 0.3, 0.8, False),
        f.Swing("prior", "foliage", 0.4, 0.7, False),
    )
    found = dataclasses.replace(made.empty_findings().diagnosis, swings=moved, faults={"foliage": 0.5})
    figure = swing_figure(found, "foliage")
    over = [one["text"].replace("<br>", " ") for one in figure.spec["layout"]["annotations"]]
    assert over == [row[0].text for row in figure.tables[0].rows]
    places = [one["y"] for one in figure.spec["layout"]["annotations"]]
    assert places == sorted(places)
    assert len(set(places)) == 3


def test_a_path_of_the_log_is_told_in_words():
    paths = ("satellite:east", "satellite", "repeater", "any")
    assert [path_words(path) for path in paths] == ["satellite east", "satellite", "repeater", "any path"]
    said = ["the satellite 'east'", "the satellite", "the repeater", "whatever path"]
    assert [the_path(path) for path in paths] == said
    assert words.sentence(f"{the_path(paths[0])} at depot: not received") == f"T{said[0][1:]} at depot: not received."
