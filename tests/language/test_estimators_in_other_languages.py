"""What the estimators say of the sample logs in Spanish and French: whole sentences, numbers as in English."""

import dataclasses
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.language import speaking, spoken
from satdiag.opening import open_job
from satdiag.report import expect
from satdiag.report.fill_in import fill_in_figure
from satdiag.report.sky_moved import moved_tables
from satdiag.report.sky_plot import sky_figure
from satdiag.sheet import Site
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.constellation import load_packaged
from satdiag.sky.day_plan import plan_day
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.expect_day import day_expectation
from satdiag.sky.expect_text import expectation_text
from satdiag.sky.mask import site as mask_site
from satdiag.sky.orbits import orbits_of
from satdiag.sky.propagation import p681
from satdiag.sky.propagation.standing import OutsideDomain
from satdiag.sky.stay import Stay
from satdiag.tables import HorizonPoint
from satdiag.tuning.estimate import estimate_tuning

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
NAMES = (
    "account-lapsed", "antenna-weak", "complete", "feed-lossy", "filling", "foliage", "indoors", "not-activated",
    "obstructed", "out-of-coverage", "partial-package", "receiver-defective",
)  # fmt: skip
OTHERS = ("es", "fr")
ENGLISH = re.compile(r"\s(?:the|and|is|of|not|was|are|with)\s", re.IGNORECASE)
POINT = re.compile(r"\d\.\d")
SECTION = re.compile(r"(?:anexo|annexe) 1, \d[\d.]*")
"""Sections of a recommendation are numbered with points in every language."""


@cache
def job_of(name):
    """A sample log, read once."""
    return open_job(SAMPLES / name)


@cache
def found_in(language, name):
    """The findings of the estimators on a sample, made while a language is in use."""
    job = job_of(name)
    with speaking(language):
        sky = estimate_sky(job)
        return {
            "sky": sky,
            "signal": estimate_signal(job, sky),
            "entitlement": estimate_entitlement(job, exposure_clock(job)),
            "tuning": estimate_tuning(job),
        }


def leaves(value):
    """Everything that stands at the ends of findings, in order; lengths of sequences among it."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from leaves(getattr(value, field.name))
    elif isinstance(value, Mapping):
        yield len(value)
        for key, inner in value.items():
            yield key
            yield from leaves(inner)
    elif isinstance(value, (list, tuple)):
        yield len(value)
        for inner in value:
            yield from leaves(inner)
    else:
        yield value


def sentences(value):
    """The texts of three words or more."""
    return [leaf for leaf in leaves(value) if isinstance(leaf, str) and len(leaf.split()) > 2]


def numbers(value):
    """All but the texts."""
    return [leaf for leaf in leaves(value) if not isinstance(leaf, str)]


def faults(texts):
    """The texts that hold English words or a decimal point."""
    return [text for text in texts if ENGLISH.search(text) or POINT.search(SECTION.sub("", text))]


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("name", NAMES)
def test_sentences_of_the_findings_are_in_the_language(language, name):
    said = sentences(found_in(language, name))
    assert len(said) > 4
    assert faults(said) == []


@pytest.mark.parametrize("name", NAMES)
def test_numbers_and_english_are_the_same_beside_other_languages(name):
    before = found_in("en", name)
    for language in OTHERS:
        other = found_in(language, name)
        assert numbers(other) == numbers(before)
        said = set(sentences(other)) & set(sentences(before))
        assert said == set(), "the same in both languages"
    assert spoken() == "en"


def test_english_is_not_changed_by_what_was_said_before():
    before = sentences(found_in("en", "filling"))
    found_in("es", "filling")
    again = estimate_entitlement(job_of("filling"), exposure_clock(job_of("filling")))
    assert sentences(again) == sentences(found_in("en", "filling")["entitlement"])
    assert any(text.startswith("Of 27 channels in the package 18 play.") for text in before)


@pytest.mark.parametrize(
    ("language", "start"),
    [
        ("es", "De 27 canales del paquete contratado se oyen 18."),
        ("fr", "Sur 27 canaux du bouquet, 18 passent."),
    ],
)
def test_the_summary_of_the_channels(language, start):
    text = found_in(language, "filling")["entitlement"].text
    assert text.startswith(start)
    assert {"es": "2,3 horas", "fr": "2,3 h"}[language] in text


def drawn_texts(value):
    """All texts of a figure or table: captions, heads, cells, legends and notes of the drawing."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from drawn_texts(getattr(value, field.name))
    elif isinstance(value, dict):
        for inner in value.values():
            yield from drawn_texts(inner)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for inner in value:
            yield from drawn_texts(inner)
    elif isinstance(value, str) and "rgba" not in value:
        yield value


@pytest.mark.parametrize("language", OTHERS)
def test_figures_of_the_report_are_in_the_language(language):
    found = found_in(language, "foliage")
    with speaking(language):
        parts = [sky_figure(site, number) for number, site in enumerate(found["sky"].sites)]
        parts += [fill_in_figure(found_in(language, "filling")["entitlement"])]
        parts += [moved_tables(site, 10.0, None) for site in found["sky"].sites]
    texts = [text for part in parts if part is not None for text in drawn_texts(part)]
    assert len(texts) > 40
    assert [text for text in faults(texts) if "%{" not in text] == []
    english = " ".join(
        text for site in found_in("en", "foliage")["sky"].sites for text in drawn_texts(sky_figure(site, 0))
    )
    assert "north is up" in english


HORIZON = [HorizonPoint(azimuth, edge) for azimuth, edge in ((0, 5), (90, 30), (150, 45), (200, 38), (270, 20))]
DAY = (np.datetime64("2031-05-03T00:00", "us"), np.datetime64("2031-05-04T00:00", "us"))


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize(("place", "readings"), [(None, None), ("indoors", None), ("street", None), (None, HORIZON)])
def test_the_plan_of_a_day_is_in_the_language(language, place, readings):
    constellation = load_packaged("demo-pair")
    stay = Stay(Site("yard", 41.2, -96.1, 300.0), None, place, readings, None)
    with speaking(language):
        plan = plan_day(stay, "x", DAY, constellation, orbits_of(constellation, {}))
        lines = [
            line
            for kind in ("street", "trees", "garage", "open")
            for line in expectation_text(day_expectation(plan, kind), lambda at: at[11:16]).splitlines()
        ]
    assert len(plan.advice) > 1
    assert faults([*plan.advice, *lines]) == []


def test_a_word_that_is_out_of_a_models_range_is_said_in_the_language():
    with speaking("es"), pytest.raises(OutsideDomain, match=r"una elevación de 2,5 deg está fuera de 7 a 60 deg"):
        p681.tree_fade_db(10.0, 2.5, 2.3)
    with pytest.raises(OutsideDomain, match=r"an elevation of 2\.5 deg is outside 7 to 60 deg"):
        p681.tree_fade_db(10.0, 2.5, 2.3)


def test_what_is_kept_of_a_mask_holds_no_sentence():
    """A mask that is kept from one language must not speak it in another."""
    kept = mask_site._Fitted(None, 31.0, "all-weak")
    assert mask_site._said(kept)[0].startswith(
        "all navigation satellites were weak there (a clear one would read 31 dB-Hz)"
    )
    with speaking("fr"):
        assert mask_site._said(kept)[0].startswith("tous les satellites de navigation y étaient faibles")


@pytest.mark.parametrize("language", OTHERS)
def test_what_to_expect_elsewhere_is_in_the_language(language):
    found = found_in(language, "indoors")["sky"].elsewhere
    first = found.places[0].paths[0]
    with speaking(language):
        parts = [
            expect._table(found),
            expect._sources_table(found),
            expect._figure([(one, one.paths[0]) for one in found.places], first, ()),
        ]
    texts = [*sentences(found), *(text for part in parts for text in drawn_texts(part))]
    assert len(texts) > 60
    assert faults(texts) == []
