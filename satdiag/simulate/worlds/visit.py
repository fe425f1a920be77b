"""A visit: what a person of a tier looks at, which depends on what was seen just before, and on who they are.

People leave off looking at what seems right: the better it plays, the less is measured, the more so the stronger a
setting's `looks_away` is. What is missing from a log is therefore not missing at random.
"""

from __future__ import annotations

from satdiag.simulate.headunit import listed
from satdiag.simulate.setup import Channel
from satdiag.simulate.worlds.person import Person
from satdiag.simulate.worlds.survey import survey

CHECKED_AT_ONCE = {"sparse": (2, 7), "typical": (6, 18), "rich": (8, 24)}
ROUND_PAUSE_S = {"sparse": (60, 400), "typical": (60, 300), "rich": (60, 240)}
SUSPECTED = 0.9


class Rounds:
    """Arrival, rounds of looking until it is time to leave, and a last look."""

    def __init__(self, person: Person) -> None:
        self.person, self.world, self.rng = person, person.world, person.rng
        self.tier, self.setup = person.plan.tier, person.world.setup
        self.rich = self.tier == "rich"

    # ---- the frame ----

    def run(self, ends_at_s: float) -> None:
        """The whole visit."""
        self.arrive()
        rounds = 0
        while self.world.now_s < ends_at_s:
            rounds += 1
            content = self.round(rounds)
            self.submit()
            if content and self.person.rng.random() < 0.7 * self.person.setting.looks_away and rounds >= 2:
                break
            if self.rng.random() < 0.5 * self.setup.crank_likely and not self.world.place.roof_db[0]:
                self.world.crank()
            self.person.spend(*ROUND_PAUSE_S[self.tier])
        survey(self.person)
        self.leave()

    def arrive(self) -> None:
        """The complaint, where the vehicle stands, whether it is on."""
        person, typical = self.person, self.tier != "sparse"
        if self.setup.customer_words and person.maybe(0.75):
            person.note(self.setup.customer_words)
        if person.maybe(0.85 if typical else 0.3):
            person.put("site", "vehicle", self.world.place.site)
        if person.maybe(1.0 if typical else 0.45):
            person.put("place", "vehicle", person.place_word())
        if person.maybe(0.9 if typical else 0.4):
            person.power_row()
        if self.rich and person.maybe(0.5):
            person.supply()
        if self.rich and person.maybe(0.3) and not self.world.place.moving:
            person.put("heading", "vehicle", str(int(self.rng.uniform(0, 36)) * 10), "deg")
        if self.setup.confirmed_before_s and person.kit.logs_account and person.maybe(0.5):
            person.put("account", "service", "confirmed", note="from the order papers")

    def leave(self) -> None:
        """A last look at the head unit."""
        person = self.person
        if person.maybe(0.75) and not person.look_at_source():
            return
        if listed(self.world):
            if person.kit.level_paths and person.maybe(0.5):
                person.levels()
            person.check(self.some(0.6))
            if person.maybe(0.6):
                person.listen()

    def submit(self) -> None:
        """Ask for an activation, if that is what the person came for."""
        person = self.person
        if person.memory.submitted or not self.setup.activates:
            return
        person.memory.submitted = True
        person.spend(60, 240)
        if person.kit.logs_account:
            person.put("account", "service", "submitted")
        self.world.account.submit(self.world.now_s)

    # ---- one round ----

    def round(self, number: int) -> bool:
        """Look, and go where it points. True if everything looked at seemed right."""
        person = self.person
        if number == 1 or not person.source_seen or person.maybe(0.25):
            person.look_at_source()
        if not person.source_seen:
            self.no_source()
            return False
        share = person.watch(self.rng.uniform(10, 25))
        person.memory.received_share = share
        suspects = share < SUSPECTED
        first = number == 1 and self.tier != "sparse"
        if suspects or person.maybe(0.95 if first else 1.0 - person.setting.looks_away):
            self.readouts()
        person.check(self.some(1.0))
        heard = person.listen() if person.maybe(0.75) else ""
        if self.tier != "sparse" and person.maybe(0.5 if self.rich else 0.25) and person.playing():
            self.timed()
        if person.resets_noted and self.tier != "sparse":
            self.restarts()
        if suspects:
            self.reception(share)
            return False
        marks = [person.seen.get(c.number) for c in self.lineup_closed() if c.number in person.seen]
        if len(marks) >= 2 and marks.count("refused") >= 0.8 * len(marks):
            self.refusals()
            return False
        if heard == "muted" and person.playing():
            self.silent()
            return False
        if person.maybe((1.0 - person.setting.looks_away) * (0.5 if self.rich else 0.2)):
            self.routine()
        return bool(person.playing()) and heard in ("playing", "")

    def readouts(self) -> None:
        """Levels and lamps."""
        person = self.person
        if person.kit.level_paths and person.maybe(0.85):
            person.levels()
        if person.kit.lock_paths and person.maybe(0.75):
            person.locks()
        if person.maybe(0.4):
            person.errors()
        if person.kit.noise_readout and person.can_read() and person.maybe(0.35):
            person.noise()

    def timed(self) -> None:
        """A few channel changes by the stopwatch, of channels that play."""
        for channel in self.rng.sample(
            self.person.playing(), min(len(self.person.playing()), self.rng.randint(1, 4))
        ):
            self.person.tune(channel, self.rng.uniform(15, 30))

    def some(self, share: float) -> list[Channel]:
        """Channels to look at: those refused come to mind first; open ones now and then; in the package mostly."""
        person, rng = self.person, self.rng
        low, high = CHECKED_AT_ONCE[self.tier]
        most = max(1, round(share * rng.uniform(low, high) * (0.5 + person.plan.slow_person)))
        pool = person.pool()
        if rng.random() < 0.25 and self.setup.package == "all":
            pool = person.lineup
        if person.world.other == "channel-moved" and rng.random() < 0.6:
            pool = [c for c in person.lineup if not c.shown] + list(pool)[: most // 2]
        refused = [c for c in pool if person.seen.get(c.number) == "refused" and rng.random() < 0.5]
        fresh = [c for c in pool if c not in refused]
        chosen = {c.number: c for c in refused[: most // 2] + rng.sample(fresh, min(len(fresh), most))}
        for channel in person.lineup:
            if channel.is_open and rng.random() < 0.25:
                chosen[channel.number] = channel
        return [chosen[number] for number in sorted(chosen)]

    def lineup_closed(self) -> list[Channel]:
        """Channels that need an account."""
        return [c for c in self.person.lineup if not c.is_open]

    # ---- what a finding leads to ----

    def no_source(self) -> None:
        """Other sources, ring, nodes, stored equipment, supply: as far as the person can."""
        person, turn = self.person, self.person.times("no-source")
        if person.maybe(0.8 if turn == 1 else 0.35):
            person.times("others")
            person.other_sources()
        if self.tier == "sparse":
            return
        if person.kit.ring_test and person.maybe(0.85 if turn <= 2 else 0.3):
            person.times("ring")
            person.times("node")
            person.ring_bus()
            if self.world.ring.closed:
                person.node()
                for name in ("amplifier", "telephone", "changer"):
                    if person.maybe(0.6):
                        person.node(name)
            if person.maybe(0.45):
                person.positions()
        if person.maybe((0.8 if self.rich else 0.35) if turn <= 2 else 0.2):
            person.times("readback")
            person.readback()
        if person.maybe(0.6 if turn == 1 else 0.2):
            person.supply()
        if person.maybe(0.3):
            person.power_row()
        if self.rich and person.maybe(0.3):
            person.bias()
        if person.kit.direct and self.world.awake and person.maybe(0.6):
            self.readouts()

    def reception(self, share: float) -> None:
        """Feed, noise, known-good parts, another place."""
        person, turn = self.person, self.person.times("reception")
        if self.tier == "sparse":
            if turn >= 2 and not self.world.place.moving and person.maybe(0.25):
                person.look_elsewhere()
            return
        if turn == 1 and person.maybe(0.9):
            person.times("bias")
            person.bias()
        if turn == 1 and person.maybe(0.7):
            person.times("noise-rise")
            person.noise_rise()
        if 0.05 < share < SUSPECTED and person.kit.bias_meter and turn <= 2 and person.maybe(0.4):
            for _ in range(self.rng.randint(2, 4)):
                self.world.advance(self.rng.uniform(10, 30))
                person.bias("while moving the lead")
        placed = self.world.place.name == self.world.home
        likely = 0.7 if self.world.place.word != "open-sky" else 0.4
        if placed and not person.did("elsewhere") and person.maybe(likely if turn > 1 else 0.4 * likely):
            person.times("elsewhere")
            person.look_elsewhere()
        if not self.world.place.moving and turn >= 2:
            self.parts(turn)

    def parts(self, turn: int) -> None:
        """One known-good part a round until one helps."""
        person = self.person
        if person.did("helped"):
            return
        what = ("antenna", "lead", "receiver")[(turn - 2) % 3]
        likely = {"antenna": 0.75, "lead": 0.5, "receiver": 0.8 if person.kit.spare_receiver else 0.0}[what]
        if not person.maybe(likely if self.rich else 0.3 * likely):
            return
        person.times(f"part-{what}")
        if person.swap(what) == "better":
            person.times("helped")

    def refusals(self) -> None:
        """Wait a while after an activation; then compare numbers and ask the provider."""
        person, account = self.person, self.world.account
        if self.setup.activates and not person.memory.submitted:
            return
        confirmed = account.confirmed_at_s
        waits = person.memory.submitted and (confirmed is None or self.world.now_s - confirmed < 600.0)
        if waits and account.state != "rejected":
            return
        turn = person.times("refusals")
        reach = {"sparse": 0.15, "typical": 0.55, "rich": 0.8}[self.tier]
        if not person.did("identity") and person.maybe(reach if turn == 1 else 0.5 * reach):
            person.times("identity")
            person.identifier()
        if not person.did("asked") and person.maybe(reach if turn <= 2 else 0.3):
            person.times("asked")
            person.ask_provider()

    def silent(self) -> None:
        """Others, routing, ring."""
        person = self.person
        if person.times("silent") > 2:
            return
        if person.maybe(0.7):
            person.times("others")
            person.other_sources()
        if self.tier != "sparse" and person.maybe(0.7 if self.rich else 0.35):
            person.times("readback")
            person.readback()
        if person.kit.ring_test and person.maybe(0.4):
            person.ring_bus()

    def restarts(self) -> None:
        """The supply, while starting too."""
        person = self.person
        if person.times("restarts") > 2:
            return
        person.supply()
        if person.maybe(0.35) and not self.world.place.roof_db[0]:
            self.world.crank()
            person.spend(4, 10)
            person.supply()

    def routine(self) -> None:
        """What a tidy person measures although nothing seems wrong."""
        person = self.person
        act = self.rng.choice((person.bias, person.readback, person.ring_bus, person.identifier, person.supply))
        if act == person.ring_bus and not person.kit.ring_test:
            return
        act()
