"""What is wrong with a vehicle, why somebody comes to it, and how closely they look: drawn before anything happens.

The shares of faults are a workshop's, by the reason of the visit: common practice, no source. Each setting multiplies
every one of them by its own factor between 1/3 and 3 and lets none fall below 0.6 %, then brings their sum down where
hardly a healthy vehicle would be left.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from satdiag.simulate.truth import CLASS_OF
from satdiag.simulate.worlds.settings import TIERS, DrawSetting

VISIT_REASONS = (("just-installed", 0.42), ("complaint", 0.40), ("check", 0.11), ("unknown", 0.07))
# Out of 1000 visits of a kind, in the order just-installed, complaint, check: how many have this wrong. What is
# left over has nothing wrong.
SHARES: dict[str, tuple[float, float, float]] = {
    "antenna-open": (38, 45, 8),
    "antenna-short": (14, 18, 4),
    "antenna-weak": (16, 60, 16),
    "feed-swapped": (52, 16, 5),
    "feed-lossy": (22, 52, 12),
    "supply-dropout": (26, 42, 6),
    "ring-broken": (42, 24, 3),
    "ring-order": (34, 8, 2),
    "node-unpowered": (32, 26, 3),
    "not-configured": (76, 16, 4),
    "audio-path": (24, 28, 4),
    "not-activated": (58, 34, 14),
    "account-lapsed": (10, 80, 12),
    "id-mismatch": (42, 26, 4),
    "entitlement-not-received": (52, 42, 12),
    "partial-package": (70, 105, 90),
    "indoors": (66, 30, 36),
    "obstructed": (24, 50, 26),
    "foliage": (8, 52, 20),
    "out-of-coverage": (5, 18, 8),
    "receiver-defective": (28, 40, 4),
    "feed-absent": (15, 15, 3),
    "interference": (6, 26, 8),
}
NAMES_OF_FAULTS = tuple(SHARES)
LEAST_SHARE = 0.006
# From what stops everything to what only leaves out a little: the first that holds is the one to name. Among equals
# the part of the vehicle stands before the place where it stands, since the place can be changed at once.
FIRST_TO_NAME = (
    "node-unpowered", "ring-broken", "ring-order", "not-configured", "feed-absent", "antenna-open", "antenna-short",
    "receiver-defective", "feed-swapped", "out-of-coverage", "supply-dropout", "antenna-weak", "feed-lossy",
    "indoors", "interference", "obstructed", "foliage", "audio-path", "not-activated", "account-lapsed",
    "id-mismatch", "entitlement-not-received", "other", "partial-package",
)  # fmt: skip
# Pairs that work of this kind throws up, or that hide one another.
PAIRS = (
    ("indoors", "not-activated"), ("indoors", "id-mismatch"), ("indoors", "entitlement-not-received"),
    ("indoors", "antenna-open"), ("indoors", "feed-swapped"), ("indoors", "partial-package"),
    ("obstructed", "feed-lossy"), ("obstructed", "partial-package"), ("foliage", "account-lapsed"),
    ("foliage", "antenna-weak"), ("antenna-open", "not-activated"), ("antenna-open", "feed-absent"),
    ("antenna-short", "receiver-defective"), ("antenna-weak", "feed-lossy"), ("antenna-weak", "id-mismatch"),
    ("antenna-weak", "partial-package"), ("feed-swapped", "not-activated"), ("feed-swapped", "not-configured"),
    ("feed-lossy", "supply-dropout"), ("ring-order", "not-configured"), ("ring-broken", "not-configured"),
    ("ring-broken", "not-activated"), ("node-unpowered", "not-activated"), ("not-configured", "not-activated"),
    ("audio-path", "not-activated"), ("audio-path", "partial-package"), ("supply-dropout", "not-activated"),
    ("receiver-defective", "id-mismatch"), ("interference", "partial-package"), ("feed-absent", "not-activated"),
    ("entitlement-not-received", "feed-lossy"), ("not-configured", "antenna-open"),
)  # fmt: skip
AT_A_PLACE = ("indoors", "obstructed", "foliage", "out-of-coverage", "interference")
OF_THE_ACCOUNT = ("not-activated", "account-lapsed", "id-mismatch", "entitlement-not-received")
COMES_AND_GOES = (
    "antenna-open", "feed-lossy", "ring-broken", "node-unpowered", "feed-absent", "audio-path", "receiver-defective",
)  # fmt: skip
NEVER_BEGINS_MIDWAY = ("not-configured", "ring-order", "out-of-coverage", "partial-package", "not-activated",
                       "id-mismatch", "entitlement-not-received", "feed-swapped")  # fmt: skip
NEVER_MENDED = ("out-of-coverage", "partial-package", "foliage")
OTHER_THINGS = ("head-unit-hangs", "speakers-dead", "service-down", "channel-moved")


@dataclass(frozen=True)
class Trouble:
    """One thing wrong: what, how badly (0..1), and when. `when`: steady | began | mended | comes-and-goes."""

    fault: str
    severity: float
    when: str = "steady"


@dataclass(frozen=True)
class Plan:
    """A world before it is played."""

    reason: str
    tier: str
    troubles: tuple[Trouble, ...] = ()
    other: str = ""
    filling: bool = False
    moving: bool = False
    swapped_labels: bool = False
    second_hand: bool = False
    dual_lead: bool = False
    slow_person: float = 0.5  # 0 hardly checks anything, 1 checks all
    kinds_seed: int | None = None
    notes: dict[str, str] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, ...]:
        """The faults of the plan."""
        return tuple(trouble.fault for trouble in self.troubles)


def share_table(setting: DrawSetting) -> dict[str, dict[str, float]]:
    """P(fault) by reason under a setting: shares times a factor between 1/3 and 3, log-uniform."""
    rng = Random(f"prevalence/{setting.prevalence_seed}")
    factors = {name: 3.0 ** rng.uniform(-1.0, 1.0) for name in SHARES}
    table: dict[str, dict[str, float]] = {}
    for number, reason in enumerate(("just-installed", "complaint", "check")):
        table[reason] = {
            name: max(LEAST_SHARE, share[number] / 1000.0 * factors[name]) for name, share in SHARES.items()
        }
        total = sum(table[reason].values())
        most = {"just-installed": 0.78, "complaint": 0.90, "check": 0.40}[reason]
        if total > most:
            table[reason] = {name: share * most / total for name, share in table[reason].items()}
    mixed = {name: sum(table[reason][name] for reason in table) / 3.0 for name in SHARES}
    return {**table, "unknown": mixed}


def draw_plan(rng: Random, setting: DrawSetting, shares: dict[str, dict[str, float]], tier: str = "") -> Plan:
    """Draw one world's plan; `tier` blank draws it too."""
    reason = rng.choices([name for name, _ in VISIT_REASONS], [share for _, share in VISIT_REASONS])[0]
    tier = tier or rng.choice(TIERS)
    other = rng.choice(OTHER_THINGS) if rng.random() < setting.other else ""
    faults = () if other else draw_faults(rng, setting, shares[reason])
    troubles = tuple(draw_trouble(rng, setting, fault, number) for number, fault in enumerate(faults))
    used = 0.7 if "id-mismatch" in faults else 0.4
    dual = 0.85 if "feed-swapped" in faults else 0.3
    return Plan(
        reason=reason,
        tier=tier,
        troubles=troubles,
        other=other,
        filling=not troubles and not other and reason != "complaint" and rng.random() < 0.6,
        moving="foliage" in faults or (not set(faults) & set(AT_A_PLACE) and rng.random() < 0.12),
        swapped_labels=rng.random() < setting.swapped_labels,
        second_hand=rng.random() < used,
        dual_lead=rng.random() < dual,
        slow_person=rng.betavariate(2.0, 2.0),
        kinds_seed=setting.kinds_seed,
    )


def draw_faults(rng: Random, setting: DrawSetting, share: dict[str, float]) -> tuple[str, ...]:
    """None, one, two or three faults."""
    place = rng.random()
    first = ""
    for name, part in share.items():
        place -= part
        if place < 0.0:
            first = name
            break
    if not first:
        return ()
    faults = [first]
    if rng.random() < setting.several:
        partners = [a if b == first else b for a, b in PAIRS if first in (a, b)]
        faults.append(
            rng.choice(partners) if partners and rng.random() < setting.related else rng.choice(NAMES_OF_FAULTS)
        )
        if rng.random() < 0.1:
            faults.append(rng.choice(NAMES_OF_FAULTS))
    return go_together(faults)


def go_together(faults: list[str]) -> tuple[str, ...]:
    """Without repeats; one place and one trouble with the account at most."""
    kept: list[str] = []
    for fault in faults:
        group = next((names for names in (AT_A_PLACE, OF_THE_ACCOUNT) if fault in names), (fault,))
        if not set(group) & set(kept):
            kept.append(fault)
    return tuple(kept)


def draw_trouble(rng: Random, setting: DrawSetting, fault: str, number: int) -> Trouble:
    """How badly, and when."""
    severity = rng.betavariate(*setting.severity)
    began, mended, goes = setting.midway
    place = rng.random()
    if number or place >= began + mended + goes:
        return Trouble(fault, severity)
    if place < began:
        return Trouble(fault, severity, "steady" if fault in NEVER_BEGINS_MIDWAY else "began")
    if place < began + mended:
        return Trouble(fault, severity, "steady" if fault in NEVER_MENDED else "mended")
    return Trouble(fault, severity, "comes-and-goes" if fault in COMES_AND_GOES else "steady")


def leading(faults: set[str]) -> str:
    """The one to name first; 'none' of none."""
    return next((fault for fault in FIRST_TO_NAME if fault in faults), "none")


def class_named(fault: str) -> str:
    """Class of a fault, 'none' and 'other' being their own."""
    return next((name for name, faults in CLASS_OF.items() if fault in faults), fault)
