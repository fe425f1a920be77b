"""What each fault changes in the vehicle, as far as its severity goes: parts, never symptoms.

A cause draws its particulars once and can be laid on a healthy vehicle and taken off again as often as it likes.
Severity 0 is hardly there, 1 as bad as it gets; what the two mean is said beside each number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from satdiag.simulate.feed import BiasLoad
from satdiag.simulate.setup import Setup

NODES = ("amplifier", "telephone", "receiver", "changer")
WEAKNESSES = ("element", "stage", "wet")


@dataclass(frozen=True)
class Cause:
    """A fault of the vehicle with its particulars: severity, a word for its kind, and a few shares (0..1)."""

    fault: str
    severity: float
    kind: str
    a: float
    b: float
    node: str


KINDS = {
    "antenna-open": ("lead", "unit"),
    "antenna-short": ("lead", "unit"),
    "antenna-weak": WEAKNESSES,
    "feed-swapped": ("crossed", "crossed", "adaptor", "adaptor", "other-service"),
    "feed-lossy": ("loose", "constant"),
    "ring-order": ("places", "places", "two-rings"),
    "node-unpowered": ("fuse", "fuse", "inside"),
    "audio-path": ("module", "module", "muted"),
    "receiver-defective": ("input", "input", "input", "decoder", "restarts"),
    "not-activated": ("none", "none", "rejected", "submitted"),
}
"""The words for the kinds of a fault; one that stands twice comes twice as often."""


def kind_weights(fault: str, kinds_seed: int) -> list[float]:
    """The weight of each word of a fault's list: one factor a kind, log-uniform between 1/3 and 3."""
    words = KINDS.get(fault, ("",))
    factors = {word: 3.0 ** Random(f"kinds/{kinds_seed}/{fault}/{word}").uniform(-1.0, 1.0) for word in words}
    return [factors[word] for word in words]


def draw_cause(rng: Random, fault: str, severity: float, kinds_seed: int | None = None) -> Cause:
    """The particulars of a fault; `kinds_seed` as in `DrawSetting`."""
    words = KINDS.get(fault, ("",))
    kind = rng.choice(words) if kinds_seed is None else rng.choices(words, kind_weights(fault, kinds_seed))[0]
    return Cause(fault, severity, kind, rng.random(), rng.random(), rng.choice(NODES))


@dataclass
class Extra:
    """What a vehicle may have beyond `Setup`: a failing decoder, restarts of its own, a mute, a dark ring."""

    decoder_loss: float = 0.0
    own_resets_per_h: float = 0.0
    muted: bool = False
    ring_dark_at: str | None = None
    loose_per_s: tuple[float, float] = (1 / 55.0, 1 / 14.0)


Change = Callable[[Setup, Extra, Cause], None]


def antenna_open(setup: Setup, extra: Extra, cause: Cause) -> None:
    """From a contact of some 80 ohm, which starves the amplifier, to a dry break."""
    setup.dc_fault_in = cause.kind
    setup.rf_open_db += (12.0 + 22.0 * cause.severity) if cause.kind == "lead" else 8.0 + 8.0 * cause.severity
    if cause.severity < 0.12:
        setup.bias_load = replace(setup.bias_load, contact_ohm=60.0 + 90.0 * cause.a)
    else:
        leak = 10 ** (3.0 + 3.0 * cause.severity)
        setup.bias_load = replace(setup.bias_load, kind="open", leak_ohm=leak)


def antenna_short(setup: Setup, extra: Extra, cause: Cause) -> None:
    """From some ohms of water to a crushed lead."""
    if setup.bias_load.kind == "open":  # behind a break nothing is shorted that the feed could see
        return
    setup.dc_fault_in = cause.kind
    setup.rf_open_db += 10.0 + 20.0 * cause.severity
    setup.bias_load = replace(setup.bias_load, kind="short", short_ohm=0.2 + 9.0 * (1.0 - cause.severity) ** 2)


def antenna_weak(setup: Setup, extra: Extra, cause: Cause) -> None:
    """A corroded element (4-15 dB), a stage that dies, or water: loss and more current."""
    s, antenna = cause.severity, setup.antenna
    if cause.kind == "element":
        loss = 4.0 + 11.0 * s
        setup.antenna = replace(antenna, element_loss_db=loss, repeater_gain_db=antenna.repeater_gain_db - loss)
        return
    if cause.kind == "stage":
        setup.antenna = replace(
            antenna,
            amplifier_gain_db=antenna.amplifier_gain_db - 10.0 - 15.0 * s,
            amplifier_noise_db=4.0 + 7.5 * s,
            amplifier_ma=antenna.amplifier_ma * (0.9 - 0.7 * s * cause.a),
        )
    else:
        setup.antenna = replace(
            antenna,
            element_loss_db=3.0 + 7.0 * s,
            repeater_gain_db=antenna.repeater_gain_db - 2.0 - 6.0 * s,
            amplifier_noise_db=antenna.amplifier_noise_db + 1.0 + 3.0 * s,
            amplifier_ma=antenna.amplifier_ma * (1.1 + 1.4 * s * cause.a),
        )
    setup.bias_load = replace(setup.bias_load, amplifier_ma=setup.antenna.amplifier_ma)


def feed_swapped(setup: Setup, extra: Extra, cause: Cause) -> None:
    """On the other conductor of a dual lead, or on another service's antenna."""
    terrestrial = BiasLoad(amplifier_ma=16.0 + 14.0 * cause.a)
    if cause.kind == "other-service":
        setup.lead = replace(setup.lead, conductor="other-service")
        setup.bias_load = BiasLoad(amplifier_ma=7.0 + 20.0 * cause.a)
        setup.adaptor = "satellite-only" if setup.dual_lead else "unknown"
        return
    setup.dual_lead = True
    setup.lead = replace(setup.lead, conductor="terrestrial-only")
    setup.other_load, setup.bias_load = setup.bias_load, terrestrial
    setup.adaptor = "none" if cause.kind == "crossed" else "satellite-only"
    if cause.kind == "crossed":
        setup.antenna = replace(setup.antenna, repeater_gain_db=setup.antenna.repeater_gain_db - 12.0)


def feed_lossy(setup: Setup, extra: Extra, cause: Cause) -> None:
    """A fretting contact, open a fifth of the time to half of it; or a joint that takes 17-33 dB."""
    s = cause.severity
    if setup.dc_fault_in == "none":
        setup.dc_fault_in = "lead"
    if cause.kind == "loose":
        setup.lead = replace(setup.lead, loose=True, fault_loss_db=2.0 + 12.0 * s)
        setup.bias_load = replace(setup.bias_load, contact_ohm=setup.bias_load.contact_ohm + 1.0 + 7.0 * cause.a)
        extra.loose_per_s = (1.0 / (90.0 - 60.0 * s), 1.0 / (10.0 + 20.0 * s))
    else:
        setup.lead = replace(setup.lead, fault_loss_db=17.0 + 16.0 * s)
        setup.bias_load = replace(setup.bias_load, contact_ohm=setup.bias_load.contact_ohm + 2.0 + 22.0 * cause.a)


def supply_dropout(setup: Setup, extra: Extra, cause: Cause) -> None:
    """An opening of the contact every quarter of an hour, to one in a minute and a quarter."""
    setup.supply.bad_contact_per_h = 4.0 * 12.0**cause.severity
    setup.crank_likely = 0.25


def ring_broken(setup: Setup, extra: Extra, cause: Cause) -> None:
    """The input of a node is dark."""
    extra.ring_dark_at = cause.node


def ring_order(setup: Setup, extra: Extra, cause: Cause) -> None:
    """Nodes in wrong places, or a second ring of its own; head units are mostly strict about it."""
    setup.ring.strict = cause.b < 0.85
    if cause.kind == "two-rings":
        setup.ring.outside = {"amplifier" if cause.a < 0.5 else "telephone"}
        return
    order = setup.ring.expected[1:]
    turn = 1 + int(cause.a * 2.999)  # a turn leaves no node in its place
    setup.ring.order = ["head-unit", *order[turn:], *order[:turn]]


def node_unpowered(setup: Setup, extra: Extra, cause: Cause) -> None:
    """No supply at the plug, or a receiver that is dead with it; one ring in five goes dark with its node."""
    setup.receiver_powered = False
    setup.supply.cut = cause.kind == "fuse"
    setup.ring.silent = {"receiver"}
    if cause.b < 0.2:
        extra.ring_dark_at = "changer"


def not_configured(setup: Setup, extra: Extra, cause: Cause) -> None:
    """The vehicle's stored equipment does not hold the receiver."""
    setup.configured = False


def audio_path(setup: Setup, extra: Extra, cause: Cause) -> None:
    """The audio module does not have the receiver as a source, or something mutes it."""
    if cause.kind == "module":
        setup.audio_module_set = False
    else:
        extra.muted = True


def receiver_defective(setup: Setup, extra: Extra, cause: Cause) -> None:
    """The input stage loses 14-54 dB, the decoder drops 30-98 % of blocks, or it restarts by itself."""
    s = cause.severity
    if cause.kind == "input":
        setup.front_end = replace(setup.front_end, dead_loss_db=14.0 + 40.0 * s)
    elif cause.kind == "decoder":
        extra.decoder_loss = 0.3 + 0.68 * s
    else:
        extra.own_resets_per_h = 6.0 + 30.0 * s
        setup.front_end = replace(setup.front_end, dead_loss_db=10.0 * s)


def feed_absent(setup: Setup, extra: Extra, cause: Cause) -> None:
    """A feed that has sagged to 2.4 V, down to none at all."""
    setup.bias_source = replace(setup.bias_source, volts=2.4 * (1.0 - cause.severity) * cause.a)


CHANGES: dict[str, Change] = {
    "feed-absent": feed_absent,
    "receiver-defective": receiver_defective,
    "antenna-weak": antenna_weak,
    "feed-lossy": feed_lossy,
    "feed-swapped": feed_swapped,
    "antenna-open": antenna_open,
    "antenna-short": antenna_short,
    "supply-dropout": supply_dropout,
    "ring-broken": ring_broken,
    "ring-order": ring_order,
    "node-unpowered": node_unpowered,
    "not-configured": not_configured,
    "audio-path": audio_path,
}
