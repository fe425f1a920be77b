"""What further tests would show: each is done in the world as it stands, takes its time, leaves rows in the log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from satdiag.simulate.headunit import listed
from satdiag.simulate.setup import Channel
from satdiag.simulate.worlds.person import Person
from satdiag.simulate.worlds.vehicle import start_carousel

Act = Callable[[Person], None]
FEW_REFUSED = 6


def measure_bias(person: Person) -> None:
    """Voltage and current of the feed."""
    person.bias()


def read_levels(person: Person) -> None:
    """Levels and locks for two minutes."""
    for _ in range(4):
        person.levels()
        person.locks()
        person.world.advance(20.0)


def check_satellites(person: Person) -> None:
    """Levels and locks of the satellites alone."""
    for _ in range(4):
        for path in [path for path in person.kit.level_paths if path.startswith("satellite")]:
            person.spend(1, 4)
            if person.can_read():
                cn_db, locked = person.reading(path)
                person.put("signal", path, person.kit.scale.read(cn_db, locked, person.rng), person.kit.scale.unit)
                person.put("lock", path, "yes" if locked else "no")
            else:
                person.put("signal", path, "unreadable")
        person.world.advance(20.0)


def check_listing(person: Person) -> None:
    """Is the source offered?"""
    person.look_at_source()


def read_configuration(person: Person) -> None:
    """Stored equipment, every module."""
    person.spend(60, 240)
    person.put("configuration", "readback", "matches" if person.world.setup.configured else "differs")
    person.put("configuration", "readback:audio-module", person.world.audio_state())


def check_ring(person: Person) -> None:
    """The ring's light, and the others' sound."""
    person.ring_bus()
    person.other_sources()


def check_node(person: Person) -> None:
    """Our node, and the others while one is at it."""
    for name in ("receiver", "amplifier", "telephone", "changer"):
        person.node(name)


def try_other_sources(person: Person) -> None:
    """Another source of the ring."""
    person.other_sources()


def listen(person: Person) -> None:
    """A channel that plays, and its sound; without one, what a few channels show."""
    if not listed(person.world):
        person.look_at_source()
        return
    if not person.playing():
        person.check([c for c in person.lineup if c.is_open][:1] + person.pool()[:4])
    if person.playing():
        person.check(person.playing()[:1])
    person.spend(3, 8)
    person.listen()
    if person.rng.random() < 0.02 or not person.seen:
        person.look_at_source()


def play_open_channel(person: Person) -> None:
    """A channel that needs no account."""
    _look(person, [c for c in person.lineup if c.is_open][:2])


def _look(person: Person, channels: list[Channel]) -> None:
    before = len(person.book.rows)
    person.check(channels)
    if len(person.book.rows) == before:
        person.look_at_source()


def check_channels(person: Person) -> None:
    """Every channel that should play, and once more those few that do not."""
    _look(person, person.pool())
    silent = [c for c in person.pool() if person.seen.get(c.number) == "refused"]
    if len(silent) <= FEW_REFUSED:
        person.check(silent)


def check_account(person: Person) -> None:
    """Ask the provider."""
    person.ask_provider()


def compare_identifier(person: Person) -> None:
    """Label, screen, account."""
    person.identifier()


def wait_and_recheck(person: Person) -> None:
    """A quarter of an hour awake under open sky, then the channels."""
    world = person.world
    inside = world.place.roof_db[0] > 0.0
    if inside:
        person.go("elsewhere")
    person.power_row()
    world.advance(900.0)
    pool = person.pool()
    _look(person, sorted(person.rng.sample(pool, min(14, len(pool))), key=lambda channel: channel.number))
    if inside:
        person.go(world.home)


def ask_resend(person: Person) -> None:
    """The provider sends the activation once more, if there is one, to the receiver that it has on record."""
    world, account = person.world, person.world.account
    if account.state != "confirmed":
        person.ask_provider()
        return
    person.spend(120, 420)
    person.put("account", "service", "resend-requested", note="asked the provider to send the activation again")
    if not world.setup.provider.broadcast:  # the order was lost once; it is given anew
        world.setup.provider = replace(world.setup.provider, broadcast=True)
        account.provider = world.setup.provider
        world.end("entitlement-not-received")
    if world.setup.provider.addressed_to_us:
        start_carousel(world, world.setup.provider.first_air_delay_s)
    wait_and_recheck(person)


def watch_restarts(person: Person) -> None:
    """Start twice and watch."""
    person.power_row()
    for _ in range(2):
        if not person.world.place.roof_db[0]:
            person.world.crank()
        person.spend(110, 150)
    person.power_row()


def measure_supply(person: Person) -> None:
    """At rest and while starting."""
    person.supply()
    if not person.world.place.roof_db[0]:
        person.world.crank()
    person.spend(20, 40)
    person.supply()


def swap_antenna(person: Person) -> None:
    """A known-good antenna at the receiver."""
    person.swap("antenna")


def swap_lead(person: Person) -> None:
    """A known-good lead."""
    person.swap("lead")


def swap_receiver(person: Person) -> None:
    """A known-good receiver."""
    person.swap("receiver")


def move_outdoors(person: Person) -> None:
    """The same looks under open sky."""
    person.look_elsewhere()


def noise_rise(person: Person) -> None:
    """The feed off and on, and the noise."""
    if person.can_read():
        person.noise_rise()
    else:
        person.put("noise", "receiver", "unreadable")


def read_horizon(person: Person) -> None:
    """Clinometer readings: they go into their own file."""
    person.spend(300, 480)
    person.horizon_read = True
    person.note("clinometer readings of the skyline taken")


def time_changes(person: Person) -> None:
    """Ten channel changes by the stopwatch."""
    pool = person.playing() or [c for c in person.lineup if c.is_open]
    before = len(person.book.rows)
    for number in range(10):
        person.tune(pool[number % len(pool)], 25.0)
    if len(person.book.rows) == before:
        person.look_at_source()


def read_positions(person: Person) -> None:
    """A break test."""
    person.positions()


def wiggle_lead(person: Person) -> None:
    """The meter on the feed while the lead is moved."""
    for _ in range(4):
        person.world.advance(20.0)
        person.bias("while moving the lead")


BESIDE = "stand-beside"  # answered with a second job, see `beside`

ACTS: dict[str, Act] = {
    "measure-bias": measure_bias,
    "read-levels": read_levels,
    "check-satellites": check_satellites,
    "check-listing": check_listing,
    "read-configuration": read_configuration,
    "check-ring": check_ring,
    "check-node": check_node,
    "try-other-sources": try_other_sources,
    "listen": listen,
    "play-open-channel": play_open_channel,
    "check-channels": check_channels,
    "check-account": check_account,
    "compare-identifier": compare_identifier,
    "ask-resend": ask_resend,
    "wait-and-recheck": wait_and_recheck,
    "watch-restarts": watch_restarts,
    "measure-supply": measure_supply,
    "swap-antenna": swap_antenna,
    "swap-lead": swap_lead,
    "swap-receiver": swap_receiver,
    "move-outdoors": move_outdoors,
    "noise-rise": noise_rise,
    "read-horizon": read_horizon,
    "time-changes": time_changes,
    "read-positions": read_positions,
    "wiggle-lead": wiggle_lead,
}


def known_tests() -> tuple[str, ...]:
    """The tests a world can answer."""
    return (*ACTS, BESIDE)
