"""The receiver's own readout: what a scenario's receiver would say on its bench lead, second by second.

Nobody acts in this world: no one moves the vehicle, mends a ring or swaps a part. Lines are `KIND SUBJECT VALUE
[UNIT]`; `--` is a value that could not be read; a line that starts with `;` is a remark for people.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from random import Random

from satdiag.simulate.headunit import channel_state
from satdiag.simulate.kit import Kit, draw_kit
from satdiag.simulate.make import ATTEMPTS, SCENARIOS, came_about, play
from satdiag.simulate.readout import Scale, number
from satdiag.simulate.setup import Setup
from satdiag.simulate.world import PATHS, World

WARM_UP_S = 20  # it was switched on before anyone listened; it boots within 15 s
LEVELS_EVERY_S = 2
CHANNEL_EVERY_S = 4
METERS_EVERY_S = 10
POWER_EVERY_S = 60
MISSED = 0.004  # share of level readings that fail
BAUD = 115200
MADE_UP = "simulated receiver: made-up data, nothing was measured"


class Device:
    """A live receiver in the world of a scenario; the same lines for the same scenario and seed, however asked for.

    The world is the one that `make_job` draws for this scenario and seed: same sites, line-up and cause. Raises
    ValueError for an unknown scenario, or a seed for which it does not come about.
    """

    def __init__(self, scenario: str, seed: int) -> None:
        setup, kit = _draw(scenario, seed)
        self.scale: Scale = kit.scale
        self.world = World(setup, Random(f"{scenario}/{seed}/device world"))
        self._rng = Random(f"{scenario}/{seed}/device readout")
        self._pending: deque[tuple[float, str]] = deque()
        self._tick = 0
        self._power = ""  # as last said; blank: nothing said yet
        self._channel = 0
        self.world.advance(WARM_UP_S)
        self._resets_said = len(self.world.resets)
        _settle_account(self.world)

    @property
    def account(self) -> str:
        """In words, what the provider answered and when; a receiver cannot know. Blank if nobody asked."""
        setup, account = self.world.setup, self.world.account
        if setup.activates:
            answered = "confirmed at" if setup.provider.answer == "confirmed" else "rejected by"
            return f"account {answered} the provider {_ago(self._tick)}"
        if account.confirmed_at_s is None:
            return ""
        return f"account confirmed at the provider {_ago(self.world.now_s - account.confirmed_at_s)}"

    def lines_until(self, t_s: float) -> list[tuple[float, str]]:
        """Lines (no line end) said after the last call and up to `t_s`, each with its time [s of the world]."""
        while self._tick <= t_s:
            self._pending.extend(self._timed(list(self._said())))
            self._tick += 1
            self.world.advance(1.0)
        said = []
        while self._pending and self._pending[0][0] <= t_s:
            said.append(self._pending.popleft())
        return said

    def _timed(self, lines: list[str]) -> Iterator[tuple[float, str]]:
        """One burst: a line ends when its last bit is through (10 bits a character, CR and LF included)."""
        at_s = self._tick + self._rng.uniform(0.0, 0.2)
        for line in lines:
            at_s += 10 * (len(line) + 2) / BAUD
            yield at_s, line

    def _said(self) -> Iterator[str]:
        """What is said in this second. Without power: nothing; until booted, or with the ring dark: no reception."""
        if not self.world.powered:
            self._power = ""
            return
        yield from self._state()
        if self._tick % METERS_EVERY_S == 5:
            yield from self._meters()
        if not self.world.awake:
            return
        if self._tick % LEVELS_EVERY_S == 0:
            yield from self._levels()
        if self._tick % CHANNEL_EVERY_S == 1:
            yield self._next_channel()

    def _state(self) -> Iterator[str]:
        """Restarts, and the power state when it changed and once a minute."""
        resets = len(self.world.resets)
        yield from ["reset receiver seen"] * (resets - self._resets_said)
        self._resets_said = resets
        power = "awake" if self.world.awake else "standby"
        if self._tick % POWER_EVERY_S == 0:
            yield f"; {MADE_UP}"
            if self.account:
                yield f"; {self.account}"
        if power != self._power or self._tick % POWER_EVERY_S == 0:
            yield f"power receiver {power}"
        self._power = power

    def _meters(self) -> Iterator[str]:
        """Supply and antenna feed as the bench's own meter shows them, at the receiver's end."""
        supply, setup = self.world.supply, self.world.setup
        volts = supply.steady_v() + self._rng.gauss(0, 0.03)
        yield f"supply receiver {number(max(0.0, volts), 0.01)} V"
        if self._tick % POWER_EVERY_S == 5:
            yield f"supply receiver-minimum {number(supply.read_minimum(volts, self._rng), 0.1)} V"
        both = setup.dual_lead and setup.adaptor == "none"
        for suffix, crossed in ((":satellite", False), (":repeater", True)) if both else (("", False),):
            point = self.world.feed_point(crossed)
            feed_v = max(0.0, point.volts + self._rng.gauss(0, 0.02))
            feed_ma = max(0.0, point.milliamps * self._rng.gauss(1, 0.015) + self._rng.gauss(0, 0.3))
            yield f"bias voltage{suffix} {number(feed_v, 0.01)} V"
            yield f"bias current{suffix} {number(feed_ma, 0.1)} mA"

    def _levels(self) -> Iterator[str]:
        for path, cn_db, locked in zip(PATHS, self.world.cn_db, self.world.locked, strict=True):
            value = self.scale.read(cn_db, locked, self._rng)
            if self._rng.random() < MISSED:
                yield f"signal {path} --"
            else:
                yield f"signal {path} {value} {self.scale.unit}"
            yield f"lock {path} {'yes' if locked else 'no'}"

    def _next_channel(self) -> str:
        lineup = self.world.setup.lineup
        channel = lineup[self._channel % len(lineup)]
        self._channel += 1
        return f"channel {channel.number} {channel_state(self.world, channel)}"


def _draw(scenario: str, seed: int) -> tuple[Setup, Kit]:
    """Causes and kit as `make_job` draws them; fresh ones, for playing a job through uses them up."""
    make_setup = SCENARIOS.get(scenario)
    if make_setup is None:
        raise ValueError(f"there is no scenario '{scenario}'")
    for attempt in range(ATTEMPTS):
        rng = Random(f"{scenario}/{seed}/{attempt}")
        setup, kit = make_setup(rng), draw_kit(rng)
        if came_about(*play(setup, kit, rng)):
            rng = Random(f"{scenario}/{seed}/{attempt}")
            return make_setup(rng), draw_kit(rng)
    raise ValueError(f"scenario '{scenario}' does not come about with seed {seed}; take another seed")


def _settle_account(world: World) -> None:
    """Let what a person would ask of the provider be answered now."""
    setup, account = world.setup, world.account
    if setup.second_visit_after_s:  # the device is that of the second visit
        world.lapse()
        world.begin("account-lapsed")
    elif setup.confirmed_before_s is not None:
        account.confirmed_at_s = world.now_s - setup.confirmed_before_s
    elif setup.activates:
        account.submit(world.now_s - setup.provider.answer_delay_s)


def _ago(seconds: float) -> str:
    if seconds < 1:
        return "just now"
    for size_s, unit in ((3600, "hours"), (60, "minutes")):
        if seconds >= 2 * size_s:
            return f"{seconds / size_s:.0f} {unit} ago"
    return f"{seconds:.0f} s ago"
