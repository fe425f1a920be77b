"""What a person does when something is wrong: the questions a workshop asks, in a sensible order."""

from __future__ import annotations

from satdiag.simulate.headunit import listed
from satdiag.simulate.technician import Technician

SUBMITTED_ENOUGH_S = 900.0  # the person gives a confirmation a quarter of an hour before asking questions


class Troubles:
    """Each trouble is looked into once in depth, then only glanced at."""

    def __init__(self, technician: Technician) -> None:
        self.tech, self.world = technician, technician.world
        self.setup, self.rng = technician.world.setup, technician.rng
        self.times: dict[str, int] = {}
        self.mended = False

    def _turn(self, name: str) -> int:
        self.times[name] = self.times.get(name, 0) + 1
        return self.times[name]

    # ---- the source is not offered ----

    def source_missing(self) -> None:
        """Other sources, ring, nodes, supply, stored equipment."""
        tech, turn = self.tech, self._turn("source")
        if turn > 1 and not tech.maybe(0.4):
            self.mend_ring()
            return
        if turn <= 2 or tech.maybe(0.3):
            self.ring_rows()
        if not self.world.ring.closed:
            self.mend_ring()
            return
        if tech.maybe(0.85 if turn == 1 else 0.2):
            tech.supply()
        if not self.world.powered and tech.maybe(0.7):
            tech.put("power", "receiver", "off", note="no sign of life at the receiver")
        if tech.maybe(0.9 if turn <= 2 else 0.3):
            self.readback()
        if tech.maybe(0.5 if turn == 1 else 0.2):
            tech.bias()
        if tech.kit.direct and self.world.awake:
            tech.locks()
            tech.levels()

    def ring_rows(self) -> None:
        """Do the others play, does light go round, who answers."""
        tech, ring = self.tech, self.world.ring
        tech.spend(5, 25)
        if tech.maybe(0.95):
            tech.put("ring", "other-sources", "working" if ring.other_sources_work() else "lost")
        if not tech.kit.ring_test:
            return
        tech.spend(20, 90)
        tech.put("ring", "bus", "closed" if ring.closed else "open")
        if ring.closed:
            for node in ring.expected[1:]:
                if node == "receiver" or tech.maybe(0.75):
                    tech.spend(2, 8)
                    tech.put("ring", f"node:{node}", "present" if ring.answers(node) else "absent")
        order_doubtful = ring.closed and (ring.answers("receiver") or not ring.other_sources_work())
        if (not ring.closed or order_doubtful) and tech.maybe(0.85):
            self.positions()

    def positions(self) -> None:
        """A break test, and what the plan of the ring says beside it."""
        tech, ring = self.tech, self.world.ring
        tech.spend(20, 60)
        for node, place in ring.positions().items():
            if tech.maybe(0.95):
                tech.put("ring", f"position:{node}", str(place))
        if ring.closed and not all(ring.in_place(node) for node in ring.expected):
            tech.note("vehicle's ring plan: " + ", ".join(ring.expected))

    def mend_ring(self) -> None:
        """Reseat the plug, if the person finds it and is minded to."""
        ring, tech = self.world.ring, self.tech
        if ring.closed or not self.setup.ring_can_be_mended:
            return
        tech.spend(120, 420)
        if self.rng.random() < 0.45:  # not found at the first attempt
            return
        self.world.close_ring()
        tech.note("fibre plug at the block was not home; pushed in until it snapped")
        tech.spend(15, 40)
        tech.put("ring", "bus", "closed")
        tech.put("ring", "other-sources", "working" if ring.other_sources_work() else "lost")
        tech.look_at_source()

    def readback(self) -> None:
        """Read the vehicle's stored equipment back."""
        tech = self.tech
        tech.spend(30, 120)
        if not self.setup.configured:
            tech.put("configuration", "readback", "differs")
            if tech.maybe(0.6):
                tech.put("configuration", "readback:equipment-list", "differs")
        else:
            tech.put("configuration", "readback", "matches" if self.setup.audio_module_set else "differs")
        if tech.maybe(0.5) or not self.setup.audio_module_set:
            tech.put(
                "configuration", "readback:audio-module", "matches" if self.setup.audio_module_set else "differs"
            )

    # ---- the source is offered, reception is not good ----

    def reception(self, share: float) -> None:
        """Sky, feed, noise, then known-good parts and a better place."""
        tech, turn = self.tech, self._turn("reception")
        if turn == 1 or tech.maybe(0.25):
            if tech.maybe(0.7):
                tech.put("place", "vehicle", self.world.place.word)
            tech.locks()
            tech.levels()
            tech.errors()
        if turn == 1 or (turn == 3 and tech.maybe(0.5)):
            tech.bias()
            if 0.05 < share < 0.93 and tech.kit.bias_meter and tech.maybe(0.5):
                self.wiggle()
            if tech.maybe(0.85):
                tech.noise_rise()
        if turn in (2, 3, 4):
            self.try_elsewhere(turn)
        if turn in (2, 3, 4, 5) and not self.world.place.moving:
            self.try_parts(turn)
        if share < 0.3 and turn % 3 == 0 and tech.maybe(0.5):
            tech.supply()

    def wiggle(self) -> None:
        """Hold the meter on the feed and move the lead about."""
        for _ in range(self.rng.randint(2, 4)):
            self.world.advance(self.rng.uniform(10, 30))
            self.tech.bias("while moving the lead")

    def try_elsewhere(self, turn: int) -> None:
        """Drive or push the vehicle to a better place and look there, then go back."""
        tech = self.tech
        if "elsewhere" not in self.setup.places or self.world.place.name != self.setup.start:
            return
        likely = 0.85 if self.world.place.word != "open-sky" else 0.5
        if self.times.get("elsewhere", 0) or not tech.maybe(likely if turn == 2 else 0.6):
            return
        self._turn("elsewhere")
        before = tech.watch(20)
        self.go("elsewhere")
        tech.spend(25, 60)
        after = tech.watch(30)
        tech.locks()
        tech.levels()
        tech.listen()
        step = after - before
        tech.put("swap", "place", "better" if step > 0.15 else "worse" if step < -0.15 else "same")
        tech.check(self.rng.sample(tech.lineup, min(8, len(tech.lineup))))
        if tech.maybe(0.6):
            tech.noise_rise()
        tech.spend(30, 150)
        self.go(self.setup.start)

    def go(self, name: str) -> None:
        """Move the vehicle and write the new place down."""
        tech, old = self.tech, self.world.place
        tech.spend(60, 200)
        self.world.move(name)
        place = self.world.place
        if place.site != old.site or tech.maybe(0.3):
            tech.put("site", "vehicle", place.site)
        tech.put("place", "vehicle", place.word)

    def try_parts(self, turn: int) -> None:
        """Known-good antenna, lead and receiver, one a round, stopping at the first that helps."""
        tech = self.tech
        if self.times.get("helped", 0):
            return
        what = ("antenna", "lead", "receiver", "antenna")[turn - 2]
        likely = {"antenna": 0.75, "lead": 0.6, "receiver": 0.75 if tech.kit.spare_receiver else 0.0}[what]
        if turn == 5:
            likely = 0.3
        if not tech.maybe(likely):
            return
        note = "test antenna on its own lead, at the receiver" if what == "antenna" and tech.kit.own_lead else ""
        result = tech.swap(what, note)
        if what != "antenna" and result == "better":
            self._turn("helped")

    # ---- the receiver restarts ----

    def restarts(self) -> None:
        """Look at the supply, start the engine, look again."""
        tech = self.tech
        tech.resets_noted = 0
        if self._turn("restarts") > 4:
            return
        tech.supply()
        if tech.maybe(0.35):
            self.world.crank()
            tech.spend(4, 10)
            tech.supply()

    # ---- channels are refused, or nothing is heard ----

    def refusals(self, submitted: bool) -> None:
        """Compare the identifier, ask for the state of the account, wait."""
        tech, account = self.tech, self.world.account
        if self.setup.activates and not submitted:  # not asked for yet: nothing to wonder at
            return
        confirmed = account.confirmed_at_s
        if (
            submitted
            and (confirmed is None or self.world.now_s - confirmed < SUBMITTED_ENOUGH_S)
            and account.state != "rejected"
        ):
            return
        if self._turn("refusals") > 3:
            return
        if (self.times["refusals"] == 1 or "identity" not in self.times) and tech.maybe(0.8):
            self._turn("identity")
            tech.spend(30, 120)
            tech.put("identity", "receiver-id", "match" if self.setup.identifier_ok else "mismatch")
        asked = "asked" in self.times
        if not asked and account.state in ("none", "lapsed") and tech.maybe(0.85):
            self._turn("asked")
            tech.spend(120, 400)
            if tech.kit.logs_account:
                tech.put("account", "service", account.state, note="telephoned the provider")

    def silent(self) -> None:
        """Authorised, received, nothing heard: is the source set in the audio module, do others play?"""
        tech = self.tech
        if not listed(self.world) or self._turn("silent") > 2:
            return
        tech.spend(5, 20)
        tech.put("ring", "other-sources", "working" if self.world.ring.other_sources_work() else "lost")
        if self.times["silent"] == 1 and tech.kit.ring_test and tech.maybe(0.5):
            tech.put("ring", "bus", "closed" if self.world.ring.closed else "open")
        if tech.maybe(0.75):
            self.readback()
