"""Everything about the antenna's feed: bias, noise rise, and which conductor the receiver sits on."""

from __future__ import annotations

from typing import NamedTuple

from satdiag.findings import AdaptorFindings, BiasFindings, NoiseRiseFindings
from satdiag.job import Job
from satdiag.wiring.adaptor import adaptor_findings
from satdiag.wiring.bias import bias_findings
from satdiag.wiring.noise_rise import noise_rise_findings


class FeedFindings(NamedTuple):
    """What is known of the feed, None where nothing is, and what could not be told."""

    bias: BiasFindings | None
    noise_rise: NoiseRiseFindings | None
    adaptor: AdaptorFindings | None
    could_not: tuple[str, ...]


def feed_findings(job: Job) -> FeedFindings:
    """The feed at the last row."""
    bias, of_bias = bias_findings(job)
    rise, of_rise = noise_rise_findings(job, bias)
    return FeedFindings(bias, rise, adaptor_findings(job, bias, rise), (*of_bias, *of_rise))
