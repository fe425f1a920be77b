"""How a sensible person goes about a visit: what is done next depends on what was just seen, never on the cause."""

from __future__ import annotations

from satdiag.simulate.headunit import listed
from satdiag.simulate.logger import Logger
from satdiag.simulate.setup import Channel
from satdiag.simulate.technician import Technician
from satdiag.simulate.troubles import Troubles


class Visit:
    """One visit from arrival to the last row."""

    def __init__(self, technician: Technician, logger: Logger | None) -> None:
        self.tech, self.logger = technician, logger
        self.world, self.setup, self.rng = technician.world, technician.world.setup, technician.rng
        self.troubles = Troubles(technician)
        self.submitted = False
        self.patchy_rounds = 0
        self.cycled = False
        self.rounds = 0

    # ---- beginning and end ----

    def arrive(self) -> None:
        """Put down where the vehicle stands and how it is powered."""
        tech, place = self.tech, self.world.place
        if self.setup.customer_words:
            tech.note(self.setup.customer_words)
        if len(self.setup.sites) > 1 or tech.maybe(0.5):
            tech.put("site", "vehicle", place.site)
        tech.spend(2, 10)
        if tech.maybe(0.97):
            tech.put("place", "vehicle", place.word)
        if tech.maybe(0.4) and not place.moving:
            tech.put("heading", "vehicle", str(int(self.rng.uniform(0, 36)) * 10), "deg")
        if tech.maybe(0.6):
            tech.supply()
        self.power_seen()

    def power_seen(self) -> None:
        """Is it on? A node without supply cannot be switched on."""
        self.tech.spend(3, 15)
        if self.world.powered:
            if self.tech.maybe(0.95):
                self.tech.put("power", "receiver", "awake")
        elif self.tech.maybe(0.8):
            self.tech.put("power", "receiver", "off")

    def close(self) -> None:
        """The reception check and a last pass through the list."""
        tech = self.tech
        if not tech.look_at_source():
            return
        tech.locks()
        tech.levels()
        tech.listen()
        share = tech.watch(12)
        if share > 0.3:
            tech.check(self.expected() if self.setup.waits_for_all else self.some(0.35))
            if self.setup.waits_for_all:  # whoever waits for all looks twice at one that seems locked
                for _ in range(2):
                    tech.check([c for c in self.expected() if tech.seen.get(c.number) == "refused"])
        if self.world.account.state == "confirmed" and self.nothing_plays() and tech.maybe(0.35):
            tech.put("account", "service", "resend-requested")

    # ---- channels ----

    def expected(self) -> list[Channel]:
        """Channels the person believes should play."""
        entitled = set(self.setup.entitled())
        return [c for c in self.tech.lineup if c.number in entitled and c.known]

    def some(self, share: float) -> list[Channel]:
        """A part of the list: those last seen refused come first to mind, then a few at random."""
        pool = self.expected() if self.setup.stays_in_package else list(self.tech.lineup)
        seen = self.tech.seen
        late = [c for c in pool if seen.get(c.number) == "refused" and self.rng.random() < 0.5 + share]
        rest = [c for c in pool if c not in late and self.rng.random() < share * (0.4 if c.number in seen else 1.0)]
        opened = [c for c in self.tech.lineup if c.is_open and self.rng.random() < 0.35]
        chosen = {c.number: c for c in late + rest + opened}
        most = 26
        numbers = sorted(chosen)
        if len(numbers) > most:
            numbers = sorted(self.rng.sample(numbers, most))
        return [chosen[n] for n in numbers]

    def nothing_plays(self) -> bool:
        """Every channel checked, but for open ones, was refused the last time."""
        closed = {c.number for c in self.tech.lineup if not c.is_open}
        marks = [state for number, state in self.tech.seen.items() if number in closed]
        return len(marks) >= 5 and marks.count("refused") >= 0.9 * len(marks)

    def time_changes(self) -> None:
        """A few channel changes with the stopwatch, mostly of channels known to play."""
        good = [c for c in self.tech.lineup if self.tech.seen.get(c.number) == "authorised"]
        pool = good if good and self.rng.random() < 0.85 else self.tech.lineup
        for channel in self.rng.sample(pool, min(len(pool), self.rng.randint(1, 4))):
            self.tech.tune(channel, self.rng.uniform(18, 35))

    # ---- one round ----

    def round(self) -> None:
        """Look at everything that draws attention; go deeper where something is wrong."""
        tech = self.tech
        was = tech.source_seen
        fresh = self.rounds == 0  # has just been looked at
        self.rounds += 1
        if listed(self.world) != was or (not fresh and (not was or tech.maybe(0.25))):
            tech.look_at_source()
        if not tech.source_seen and not fresh:
            self.troubles.source_missing()
            return
        if not tech.source_seen:
            return
        self.readouts()
        if fresh:
            self.routine()
        if tech.resets_noted and tech.maybe(0.9):
            self.troubles.restarts()
        share = tech.watch(self.rng.uniform(12, 25))
        if share < 0.93:
            self.patchy_rounds += 1
            self.troubles.reception(share)
        if share > 0.25:
            self.play()
        elif tech.maybe(0.45):
            self.try_anyway()

    def routine(self) -> None:
        """What a tidy person measures although nothing seems wrong, above all after fitting."""
        tech = self.tech
        likely = 0.4 if self.setup.reason == "just-installed" else 0.15
        if tech.maybe(likely):
            tech.bias()
        if tech.maybe(likely):
            self.troubles.readback()
        if tech.maybe(0.5 * likely):
            self.troubles.ring_rows()

    def readouts(self) -> None:
        """Levels and lamps, unless a logger already does it."""
        tech = self.tech
        logged = self.logger is not None and self.logger.on and self.logger.rows_left > 0
        if not logged and tech.maybe(0.8):
            tech.levels()
        if tech.maybe(0.7):
            tech.locks()
        if tech.maybe(0.3):
            tech.errors()
        if tech.maybe(0.2):
            tech.supply()

    def try_anyway(self) -> None:
        """Choose a channel or two although nothing is received."""
        tech = self.tech
        tech.check(self.rng.sample(tech.lineup, self.rng.randint(1, 4)))
        if tech.maybe(0.5):
            tech.tune(self.rng.choice(tech.lineup), self.rng.uniform(15, 30))

    def play(self) -> None:
        """Channels, sound, and what follows when they do not come."""
        tech = self.tech
        tech.check(self.some(self.rng.uniform(0.15, 0.5)))
        heard = tech.listen() if tech.maybe(0.7) else ""
        if tech.maybe(0.6):
            self.time_changes()
        plays = [number for number, state in tech.seen.items() if state == "authorised"]
        if heard == "muted" and len(plays) >= 2:
            self.troubles.silent()
        if self.nothing_plays():
            self.troubles.refusals(self.submitted)

    def activate(self) -> None:
        """Ask the provider for an activation."""
        if self.submitted or not self.setup.activates:
            return
        self.submitted = True
        self.tech.spend(90, 300)
        if self.tech.kit.logs_account:
            self.tech.put("account", "service", "submitted")
        self.world.account.submit(self.world.now_s)

    def off_and_on(self) -> None:
        """The customary switching off and on once after a confirmation."""
        self.cycled = True
        tech = self.tech
        if not self.world.powered:
            return
        tech.put("power", "receiver", "off")
        self.world.switch(False)
        tech.spend(12, 60)
        self.world.switch(True)
        tech.spend(8, 15)
        tech.put("power", "receiver", "awake")

    # ---- the whole ----

    def run(self, ends_at_s: float) -> None:
        """Rounds until it is time to leave, or until everything plays and has been shown to."""
        tech = self.tech
        self.arrive()
        if self.logger:
            self.logger.plug(True)
        if not tech.look_at_source() and tech.maybe(0.9):
            self.troubles.source_missing()
        while self.world.now_s < ends_at_s and not self._all_shown():
            self.round()
            self.activate()
            confirmed = self.world.account.confirmed_at_s
            if confirmed and not self.cycled and self.world.now_s - confirmed > 300 and tech.maybe(0.5):
                self.off_and_on()
            self.cycled = self.cycled or bool(confirmed and self.world.now_s - confirmed > 600)
            if self.rng.random() < self.setup.crank_likely and not self.world.place.roof_db[0]:
                self.world.crank()
            tech.spend(*self._pause_s())
        if self.world.place.name != self.setup.start:
            self.troubles.go(self.setup.start)
        self.close()
        if self.logger:
            self.logger.plug(False)

    def _pause_s(self) -> tuple[float, float]:
        """Waiting between rounds: long while channels come in, short while driving or hunting for the source."""
        if self.world.place.moving:
            return 40, 150
        return (60, 300) if self.tech.source_seen else (30, 120)

    def _all_shown(self) -> bool:
        if not self.setup.waits_for_all:
            return False
        return all(self.tech.seen.get(c.number) == "authorised" for c in self.expected())
