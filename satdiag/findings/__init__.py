"""What the estimators return and `analyse --json` prints: frozen dataclasses, ready for JSON.

A field's name is its key in the document; a trailing underscore (from_, class_, for_) is dropped there. Units stand
in the names. None means unknown, and `could_not` says why.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from satdiag.findings.common import Instant, Interval, Quantiles, instant_text, instant_texts
from satdiag.findings.diagnosis import (
    Answer,
    BesideFindings,
    BesidePath,
    DiagnosisFindings,
    Earlier,
    Evidence,
    Explanation,
    NextTest,
    OddReading,
    PlanStep,
    Repair,
    Swing,
    Verdict,
)
from satdiag.findings.entitlement import ChannelFinding, EntitlementFindings, FillCurve, SilenceCurve, StepFinding
from satdiag.findings.feed import (
    AdaptorFindings,
    AdaptorReason,
    BiasFindings,
    FeedReading,
    FeedWindows,
    LeadFindings,
    LearntNormal,
    NoiseBlock,
    NoiseRiseFindings,
    RiseInput,
)
from satdiag.findings.feedline import FeedlineFindings, LeadProfile, Reflection
from satdiag.findings.ring import RingBlock, RingBreak, RingFindings, RingLink, RingPosition
from satdiag.findings.sky import (
    ElsewhereFindings,
    ExpectedInput,
    HighestChange,
    Mask,
    ModelSource,
    MoveGain,
    NavigationSky,
    PathElsewhere,
    PathSignal,
    PlaceElsewhere,
    SatelliteSky,
    SatelliteStay,
    Share,
    ShareIntervals,
    SignalFindings,
    SiteSky,
    SkyAgreement,
    SkyAt,
    SkyFindings,
    SkyPass,
    SkyPoint,
    Stretch,
    SwapGain,
)
from satdiag.findings.supply import (
    BatteryBudget,
    LoadDrop,
    Restart,
    RestartTie,
    RestingVoltage,
    SupplyEvent,
    SupplyFindings,
    SupplyPoint,
)
from satdiag.findings.tuning import ChangeFindings, DelayFindings, LevelLossFindings, StopFindings, TuningFindings
from satdiag.findings.wiring import WiringFindings

__all__ = [
    "SCHEMA",
    "AdaptorFindings",
    "AdaptorReason",
    "Answer",
    "BatteryBudget",
    "BesideFindings",
    "BesidePath",
    "BiasFindings",
    "ChangeFindings",
    "ChannelFinding",
    "DelayFindings",
    "DiagnosisFindings",
    "Earlier",
    "ElsewhereFindings",
    "EntitlementFindings",
    "Evidence",
    "ExpectedInput",
    "Explanation",
    "FeedReading",
    "FeedWindows",
    "FeedlineFindings",
    "FillCurve",
    "Findings",
    "HighestChange",
    "Instant",
    "Interval",
    "LeadFindings",
    "LeadProfile",
    "LearntNormal",
    "LevelLossFindings",
    "LoadDrop",
    "Mask",
    "ModelSource",
    "MoveGain",
    "NavigationSky",
    "NextTest",
    "NoiseBlock",
    "NoiseRiseFindings",
    "OddReading",
    "PathElsewhere",
    "PathSignal",
    "PlaceElsewhere",
    "PlanStep",
    "Quantiles",
    "Reflection",
    "Repair",
    "Restart",
    "RestartTie",
    "RestingVoltage",
    "RingBlock",
    "RingBreak",
    "RingFindings",
    "RingLink",
    "RingPosition",
    "RiseInput",
    "SatelliteSky",
    "SatelliteStay",
    "Share",
    "ShareIntervals",
    "SignalFindings",
    "SilenceCurve",
    "SiteSky",
    "SkyAgreement",
    "SkyAt",
    "SkyFindings",
    "SkyPass",
    "SkyPoint",
    "StepFinding",
    "StopFindings",
    "Stretch",
    "SupplyEvent",
    "SupplyFindings",
    "SupplyPoint",
    "SwapGain",
    "Swing",
    "TuningFindings",
    "Verdict",
    "WiringFindings",
    "instant_text",
    "instant_texts",
    "key_of",
]

SCHEMA = 1


@dataclass(frozen=True)
class Findings:
    """The whole findings document of one job."""

    satdiag: str
    job: str
    from_: Instant | None
    to: Instant | None
    visits: int
    verdict: Verdict
    diagnosis: DiagnosisFindings
    sky: SkyFindings
    signal: SignalFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    wiring: WiringFindings
    could_not: tuple[str, ...] = ()
    schema: int = SCHEMA

    def to_dict(self) -> dict[str, Any]:
        """The document as plain JSON values, `schema` first."""
        plain: dict[str, Any] = plain_values(self)
        return {"schema": plain.pop("schema"), **plain}


def plain_values(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {key_of(part.name): plain_values(getattr(value, part.name)) for part in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain_values(part) for key, part in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain_values(part) for part in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"a finding is {number}: unknown must be None")
    return _short(number)


def _short(number: float) -> float:
    """Six significant digits: more than any figure here is worth, and stable between machines."""
    return float(f"{number:.6g}")


def key_of(name: str) -> str:
    """The document's key of a field."""
    return name.removesuffix("_")
