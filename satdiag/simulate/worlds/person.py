"""A person with a log: acts of looking and trying in a living world, with the slips and habits of its setting."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from satdiag.simulate.headunit import change_channel, channel_state, heard, listed
from satdiag.simulate.kit import Kit
from satdiag.simulate.notebook import Notebook, Row
from satdiag.simulate.setup import Channel
from satdiag.simulate.technician import Technician
from satdiag.simulate.worlds.living import LivingWorld
from satdiag.simulate.worlds.plan import Plan
from satdiag.simulate.worlds.settings import DrawSetting
from satdiag.simulate.worlds.slips import EXCHANGED, can_slip, slip

GIVEN_BACK = ("antenna", "lead")
OTHER_WAY = {"better": "worse", "worse": "better", "same": "same"}
COPYABLE = ("signal", "lock", "bias", "noise", "supply")


@dataclass
class Memory:
    """What the person has done and found."""

    done: dict[str, int] = field(default_factory=dict)
    last: dict[tuple[str, str], str] = field(default_factory=dict)
    sound: str = ""
    submitted: bool = False
    received_share: float = 1.0


class Person(Technician):
    """Acts in a living world. `wrong` counts the slips made, `could_slip` the rows in which one could be."""

    world: LivingWorld

    def __init__(
        self, world: LivingWorld, kit: Kit, book: Notebook, rng: Random, plan: Plan, setting: DrawSetting
    ) -> None:
        super().__init__(world, kit, book, rng)
        self.plan, self.setting = plan, setting
        self.memory = Memory()
        self.wrong = self.could_slip = 0
        self.horizon_read = False
        self.spare_plays = rng.random() < 0.5

    # ---- writing ----

    def put(self, kind: str, subject: str, value: str, unit: str = "", note: str = "", fine: bool = False) -> Row:
        """Write a row now: perhaps copied from the last one, perhaps with a slip in it."""
        key = (kind, subject)
        if value != "unreadable":
            if kind in COPYABLE and key in self.memory.last and self.rng.random() < self.setting.copied:
                value = self.memory.last[key]
            self.memory.last[key] = value
        if self.plan.swapped_labels:
            subject = EXCHANGED.get(subject, subject)
        source = "page" if self.kit.page else "hand"
        row = Row(self.world.now_s, kind, subject, value, unit, source, note, fine=fine)
        if can_slip(row):
            self.could_slip += 1
            if self.rng.random() < self.setting.wrong_entry:
                slip(row, self.rng)
                self.wrong += 1
        return self.book.add(row)

    def times(self, name: str) -> int:
        """How often something was done, this time included."""
        self.memory.done[name] = self.memory.done.get(name, 0) + 1
        return self.memory.done[name]

    def did(self, name: str) -> bool:
        """Whether something was done."""
        return name in self.memory.done

    # ---- the head unit ----

    def power_row(self) -> None:
        """On or off, as it seems."""
        self.spend(2, 8)
        self.put("power", "receiver", "awake" if self.world.powered and self.world.switched_on else "off")

    def other_sources(self) -> None:
        """Do the ring's other audio sources play?"""
        self.spend(6, 25)
        self.put("ring", "other-sources", "working" if self.world.others_play() else "lost")

    def state_of(self, channel: Channel) -> str:
        """What one channel shows."""
        if self.world.other == "head-unit-hangs":
            return "no-signal"
        return channel_state(self.world, channel)

    def check(self, channels: list[Channel]) -> None:
        """Go through channels and mark what is seen."""
        for channel in channels:
            self.spend(1.5, 4.5)
            if not listed(self.world) or self.rng.random() < 0.02:
                continue
            seen = self.state_of(channel)
            if seen in ("authorised", "refused") and self.rng.random() < self.kit.misread:
                seen = "refused" if seen == "authorised" else "authorised"
            self.put("channel", str(channel.number), seen)
            self.seen[channel.number] = seen
            self.world.tuned = channel.number

    def listen(self) -> str:
        """What is heard, with a channel chosen that plays if there is one."""
        self.spend(3, 8)
        world = self.world
        state = heard(world)
        if world.extra.muted or world.other in ("head-unit-hangs", "speakers-dead"):
            state = "muted"
        playable = [c for c in self.lineup if self.seen.get(c.number) == "authorised"]
        self.memory.sound = state
        if not listed(world) or (not playable and self.rng.random() < 0.6):
            return "unknown"
        self.put("audio", "output", state if playable or state == "muted" else "muted")
        return state

    def tune(self, channel: Channel, patience_s: float) -> None:
        """Time one channel change with a stopwatch."""
        world = self.world
        if not listed(world):
            return
        started = world.now_s
        change = change_channel(world, channel, patience_s)
        silent = world.extra.muted or world.other in ("head-unit-hangs", "speakers-dead")
        marks = [mark for mark in change.marks if not (silent and mark[1] == "audio")]
        if silent and not any(word in ("refused", "abandoned") for _, word in marks):
            marks.append((marks[-1][0] + self.rng.uniform(3, 8), "abandoned"))
        source = "page" if self.kit.page else "hand"
        for offset_s, mark in marks:
            self.book.add(Row(started + offset_s, "tune", str(channel.number), mark, source=source, fine=True))
        world.advance(max(0.0, started + marks[-1][0] + 1.0 - world.now_s))
        words = [mark for _, mark in marks]
        if "audio" in words:
            self.seen[channel.number] = "authorised"
        elif "refused" in words:
            self.seen[channel.number] = "refused"
        self.spend(1, 4)

    def pool(self) -> list[Channel]:
        """Channels that the person thinks should play; all of them where somebody misses some."""
        if not self.world.setup.stays_in_package:
            return self.lineup
        entitled = set(self.world.setup.entitled())
        return [c for c in self.lineup if c.number in entitled]

    def playing(self) -> list[Channel]:
        """Channels last seen to play."""
        return [c for c in self.lineup if self.seen.get(c.number) == "authorised"]

    # ---- ring and configuration ----

    def ring_bus(self) -> None:
        """Does light go round?"""
        self.spend(20, 90)
        self.put("ring", "bus", "closed" if self.world.ring.closed else "open")

    def node(self, name: str = "receiver") -> None:
        """Does a node answer?"""
        self.spend(3, 10)
        self.put("ring", f"node:{name}", "present" if self.world.ring.answers(name) else "absent")

    def positions(self) -> None:
        """A break test's relative positions."""
        self.spend(20, 60)
        for node, place in self.world.ring.positions().items():
            self.put("ring", f"position:{node}", str(place))

    def readback(self) -> None:
        """The vehicle's stored equipment and its audio routing, read back."""
        self.spend(40, 150)
        self.put("configuration", "readback", "matches" if self.world.setup.configured else "differs")
        if self.rng.random() < 0.6:
            self.spend(5, 20)
            self.put("configuration", "readback:audio-module", self.world.audio_state())

    # ---- account ----

    def ask_provider(self) -> None:
        """How the account stands, by telephone; one answer in twelve is a wrong one."""
        self.spend(120, 420)
        state = self.world.account.state
        if self.rng.random() < 1 / 12:
            state = self.rng.choice(("confirmed", "submitted", "none"))
        self.put("account", "service", state, note="telephoned the provider")

    def identifier(self) -> None:
        """Label and screen against the papers; a slip of typing at the provider's end is often not on the papers."""
        self.spend(30, 120)
        wrong = not self.world.setup.identifier_ok
        seen = wrong and self.rng.random() < 0.88
        self.put("identity", "receiver-id", "mismatch" if seen else "match")

    # ---- parts and places ----

    def swap(self, what: str, note: str = "") -> str:
        """A known-good part; three judgements in a hundred miss the difference."""
        self.spend(150, 420)
        result = self.world.compare(what, self.kit.own_lead, self.spare_plays)
        if self.rng.random() < 0.03:
            result = self.rng.choice(("same", "same", "worse"))
        chance = self.setting.put_back if what in GIVEN_BACK else 0.0
        puts_back = bool(chance) and self.rng.random() < chance
        if puts_back:
            self.world.lend(what, self.kit.own_lead)
        self.put("swap", what, result, note=note)
        if puts_back:
            self._old_part_back(what, result)
        return result

    def _old_part_back(self, what: str, result: str) -> None:
        """Read with the known-good part in place, put the old one back, and read again."""
        self._read_again()
        self.world.give_back()
        self.spend(60, 200)
        self.put("swap", what, OTHER_WAY[result], note="old part back in")
        self._read_again()

    def _read_again(self) -> None:
        for _ in range(self.rng.randint(1, 3)):
            self.watch(15)
            self.levels()
            self.locks()

    def leaves_it(self, trouble: str) -> bool:
        """Whether the person has had enough of a trouble after one more thing looked at."""
        chance = self.setting.gives_up
        return bool(trouble and chance) and self.rng.random() < chance

    def go(self, name: str) -> None:
        """Drive somewhere and write the place down."""
        self.spend(60, 200)
        old = self.world.place
        self.world.move(name)
        place = self.world.place
        if place.site != old.site:
            self.put("site", "vehicle", place.site)
        self.put("place", "vehicle", self.place_word())

    def place_word(self) -> str:
        """What the person calls the place: one in fifteen says it wrongly."""
        word = self.world.place.word
        if self.rng.random() < 1 / 15:
            return {"street": "open-sky", "open-sky": "street", "canopy": "street"}.get(word, word)
        return word

    def look_elsewhere(self) -> str:
        """The same looks at a better place, then back again."""
        before = self.watch(20)
        self.go("elsewhere")
        self.spend(20, 60)
        after = self.watch(30)
        if self.rng.random() < 0.8:
            self.locks()
            self.levels()
        step = after - before
        word = "better" if step > 0.15 else "worse" if step < -0.15 else "same"
        self.put("swap", "place", word)
        if self.rng.random() < 0.6:
            pool = self.pool()
            self.check(self.rng.sample(pool, min(6, len(pool))))
        self.go(self.world.home)
        return word
