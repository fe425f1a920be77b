"""The person with the log book: single acts of looking, measuring, trying, and writing down."""

from __future__ import annotations

from random import Random

from satdiag.simulate.headunit import change_channel, channel_state, heard, listed
from satdiag.simulate.kit import Kit
from satdiag.simulate.notebook import Notebook, Row
from satdiag.simulate.readout import number
from satdiag.simulate.setup import Channel
from satdiag.simulate.swaps import compare
from satdiag.simulate.world import World


class Technician:
    """Acts in the world, sees what can be seen, writes rows. Each act takes the time it would take."""

    def __init__(self, world: World, kit: Kit, book: Notebook, rng: Random) -> None:
        self.world, self.kit, self.book, self.rng = world, kit, book, rng
        self.lineup = world.setup.lineup
        self.seen: dict[int, str] = {}
        self.source_seen = True
        self.resets_known = 0
        self.news_known = 0
        self.resets_noted = 0
        self.noise_zero_db = rng.uniform(18.0, 40.0)
        self.batch: list[Row] | None = None

    # ---- writing ----

    def put(self, kind: str, subject: str, value: str, unit: str = "", note: str = "", fine: bool = False) -> Row:
        """Write a row now."""
        source = "page" if self.kit.page else "hand"
        row = Row(self.world.now_s, kind, subject, value, unit, source, note, fine=fine)
        if self.batch is not None:
            self.batch.append(row)
            return row
        return self.book.add(row)

    def note(self, text: str) -> None:
        """A free note."""
        self.put("note", "", text)

    def maybe(self, share: float) -> bool:
        """Whether the person gets round to it, more likely the more careful they are."""
        return self.rng.random() < share * self.kit.diligence

    def spend(self, shortest_s: float, longest_s: float) -> None:
        """Let time pass, and notice what draws attention to itself."""
        self.world.advance(self.rng.uniform(shortest_s, longest_s))
        self._notice_resets()
        self._notice_news()

    def _notice_resets(self) -> None:
        resets = self.world.resets
        for at_s in resets[self.resets_known :]:
            if self.maybe(0.92):
                source = "page" if self.kit.page else "hand"
                self.book.add(Row(at_s + self.rng.uniform(1, 4), "reset", "receiver", "seen", source=source))
                self.resets_noted += 1
        self.resets_known = len(resets)

    def _notice_news(self) -> None:
        news = self.world.account.news
        for at_s, state in news[self.news_known :]:
            if self.kit.logs_account:
                source = "page" if self.kit.page else "hand"
                self.book.add(Row(at_s + self.rng.uniform(0, 30), "account", "service", state, source=source))
        self.news_known = len(news)

    # ---- looking ----

    def look_at_source(self) -> bool:
        """Is the satellite source offered?"""
        self.spend(2, 6)
        self.source_seen = listed(self.world)
        self.put("listing", "source", "yes" if self.source_seen else "no")
        return self.source_seen

    def can_read(self) -> bool:
        """Readouts come through the head unit, or from the receiver itself with the right lead."""
        return self.world.awake and (self.kit.direct or listed(self.world))

    def reading(self, path: str) -> tuple[float, bool]:
        """C/N [dB] and lock of a path as the readout groups them."""
        cn, locked = self.world.cn_db, self.world.locked
        members = {
            "satellite:east": (0,),
            "satellite:west": (1,),
            "satellite": (0, 1),
            "repeater": (2,),
            "any": (0, 1, 2),
        }[path]
        return max(cn[i] for i in members), any(locked[i] for i in members)

    def levels(self) -> None:
        """Write the level of each path down."""
        for path in self.kit.level_paths:
            self.spend(1, 4)
            if not self.can_read() or self.rng.random() < 0.01:
                self.put("signal", path, "unreadable")
                continue
            value = self.kit.scale.read(*self.reading(path), self.rng)
            self.put("signal", path, value, self.kit.scale.unit)

    def locks(self) -> None:
        """Write the lock lamps down."""
        for path in self.kit.lock_paths:
            self.spend(0.5, 2)
            if self.can_read():
                self.put("lock", path, "yes" if self.reading(path)[1] else "no")

    def errors(self) -> None:
        """Block errors, where the readout shows them."""
        if not (self.kit.errors_readout and self.can_read()):
            return
        path = self.kit.level_paths[0]
        self.spend(2, 5)
        if self.reading(path)[1]:
            share = 100.0 * min(1.0, self.world.loss + 0.02 * self.rng.random())
            self.put("errors", path, number(share, 0.1), "percent")
        else:
            self.put("errors", path, "unreadable")

    def watch(self, seconds: float) -> float:
        """Watch the reception for a while: share of the time with lock on something."""
        good = 0
        whole = int(seconds)
        for _ in range(whole):
            self.world.advance(1.0)
            good += self.world.awake and any(self.world.locked)
        self.spend(0.1, 0.5)
        return good / whole

    def listen(self) -> str:
        """What is heard with a channel chosen that plays, if there is one."""
        self.spend(3, 8)
        state = heard(self.world)
        playable = [c for c in self.lineup if self.seen.get(c.number) == "authorised"]
        if not playable and state != "muted":
            return "unknown"
        self.put("audio", "output", state)
        return state

    # ---- measuring ----

    def bias(self, note: str = "") -> None:
        """Voltage and current of the antenna feed, at the receiver's end."""
        if not self.kit.bias_meter:
            return
        self.spend(40, 120)
        setup = self.world.setup
        both = setup.dual_lead and setup.adaptor == "none"
        for suffix, crossed in ((":satellite", False), (":repeater", True)) if both else (("", False),):
            point = self.world.feed_point(crossed)
            volts = max(0.0, point.volts + self.rng.gauss(0, 0.02))
            milliamps = max(0.0, point.milliamps * self.rng.gauss(1, 0.015) + self.rng.gauss(0, 0.3))
            self.put("bias", "voltage" + suffix, number(volts, 0.01), "V", note)
            self.put("bias", "current" + suffix, number(milliamps, 1.0), "mA")

    def noise(self) -> None:
        """Noise or gain-control readout."""
        value = self.world.noise_db() + self.noise_zero_db + self.rng.gauss(0, 0.25)
        self.put("noise", "receiver", number(value, 0.1), "dB")

    def noise_rise(self) -> None:
        """The feed test: noise with the antenna's supply on, off, on."""
        if not (self.kit.noise_readout and self.can_read()):
            return
        self.noise()
        for on in (False, True):
            self.spend(4, 10)
            self.put("feed", "bias", "on" if on else "off")
            self.world.set_bias(on)
            self.spend(4, 10)
            self.noise()

    def supply(self) -> None:
        """Supply at the receiver, and the lowest value where the meter holds it."""
        if self.kit.supply_meter == "none":
            return
        self.spend(5, 25)
        volts = self.world.supply.steady_v() + self.rng.gauss(0, 0.03)
        self.put("supply", "receiver", number(max(0.0, volts), 0.01), "V")
        if self.kit.supply_meter == "peak":
            self.put("supply", "receiver-minimum", number(self.world.supply.read_minimum(volts, self.rng), 0.1), "V")

    def swap(self, what: str, note: str = "") -> str:
        """Substitution with a known-good part; the old part goes back afterwards."""
        self.spend(150, 420)
        result = compare(self.world, what, self.kit.own_lead)
        if self.rng.random() < 0.03:
            result = "same"
        self.put("swap", what, result, note=note)
        return result

    # ---- channels ----

    def check(self, channels: list[Channel]) -> None:
        """Go through channels and mark what is seen; now and then one is misread, now and then skipped.

        With a habit of marking from memory the marks of one pass are written at its end, over its span.
        """
        from_memory = self.kit.memory_rows and self.rng.random() < 0.5 and len(channels) > 3
        started = self.world.now_s
        if from_memory:
            self.batch = []
        for channel in channels:
            self.spend(1.5, 4.5)
            if not listed(self.world) or self.rng.random() < 0.02:
                continue
            state = channel_state(self.world, channel)
            seen = state
            if state in ("authorised", "refused") and self.rng.random() < self.kit.misread:
                seen = "refused" if state == "authorised" else "authorised"
            self.put("channel", str(channel.number), seen)
            self.seen[channel.number] = seen
            self.world.tuned = channel.number
        if from_memory and self.batch is not None:
            rows, self.batch = self.batch, None
            for row in rows:
                row.at_s, row.span_s = self.world.now_s, max(1.0, round(self.world.now_s - started))
                self.book.add(row)

    def tune(self, channel: Channel, patience_s: float) -> None:
        """Time one channel change with a stopwatch."""
        if not listed(self.world):
            return
        started = self.world.now_s
        change = change_channel(self.world, channel, patience_s)
        source = "page" if self.kit.page else "hand"
        for offset_s, mark in change.marks:
            self.book.add(Row(started + offset_s, "tune", str(channel.number), mark, source=source, fine=True))
        self.world.advance(max(0.0, started + change.marks[-1][0] + 1.0 - self.world.now_s))
        words = [mark for _, mark in change.marks]
        if "audio" in words:
            self.seen[channel.number] = "authorised"
        elif "refused" in words:
            self.seen[channel.number] = "refused"
        self.spend(1, 4)
