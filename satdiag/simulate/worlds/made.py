"""From a setting, a seed and a number to a job folder in memory, what is true of it, and answers to further tests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from zlib import crc32

from satdiag.simulate import job_files
from satdiag.simulate.kit import Kit
from satdiag.simulate.lineup import csv_text
from satdiag.simulate.logger import Logger
from satdiag.simulate.notebook import Notebook, Row
from satdiag.simulate.setup import Channel
from satdiag.simulate.truth import will_come
from satdiag.simulate.worlds.answers import ACTS, BESIDE, known_tests
from satdiag.simulate.worlds.beside import Neighbour, stand_beside
from satdiag.simulate.worlds.gnss_talk import sentences
from satdiag.simulate.worlds.person import Person
from satdiag.simulate.worlds.plan import OF_THE_ACCOUNT, Plan, class_named, draw_plan, leading, share_table
from satdiag.simulate.worlds.settings import DRAW_SETTINGS, DrawSetting
from satdiag.simulate.worlds.tools import draw_tools, everything
from satdiag.simulate.worlds.vehicle import build
from satdiag.simulate.worlds.visit import Rounds

VISIT_MINUTES = {"sparse": (5, 20), "typical": (14, 45), "rich": (25, 70)}
DRAWS = 12
FEWEST_ROWS = 6
HIDDEN = 1 / 20


@dataclass(frozen=True)
class Truth:
    """What is true at the last row. `fault` is the one to name ('none', 'other'), `present` all that hold.

    `state`: works | filling | explained | fault. `spans` are (fault, seconds since the first row, seconds or None).
    `entitled` are the channels that will ever come as things stand.
    """

    state: str
    class_: str
    fault: str
    present: tuple[str, ...]
    tier: str
    reason: str
    severity: float
    other: str
    when: str
    spans: tuple[tuple[str, float, float | None], ...]
    entitled: tuple[int, ...]
    wrong_rows: int
    could_be_wrong: int

    @property
    def classes(self) -> tuple[str, ...]:
        """Classes of all that is present; ('none',) when nothing is."""
        return tuple(dict.fromkeys(class_named(fault) for fault in self.present)) or ("none",)


@dataclass
class MadeWorld:
    """A job as it stands, and the world behind it, which goes on when a test is asked for."""

    setting: DrawSetting
    seed: int
    number: int
    plan: Plan
    person: Person
    kit: Kit
    fixed: dict[str, bytes] = field(default_factory=dict)
    asked: int = 0
    neighbour: Neighbour | None = None

    @property
    def rows(self) -> list[tuple[str, ...]]:
        """The log so far as texts: time, kind, subject, value, unit, source, note."""
        book = self.person.book
        return [_texts(book, row) for row in book.ordered(self.kit.hand_last)]

    def files(self) -> dict[str, bytes]:
        """The job folder as it stands."""
        kept = dict(self.fixed)
        if self.person.horizon_read:
            kept["horizon.csv"] = job_files.horizon_csv(self.person.world.place, self._rng("horizon")).encode()
        kept["observations.csv"] = self.person.book.text(self.kit.hand_last).encode()
        return dict(sorted(kept.items()))

    def reference(self) -> tuple[dict[str, bytes], list[tuple[str, ...]]] | None:
        """Files and rows of the known-good vehicle that stood beside this one; None where none did."""
        if self.neighbour is None:
            return None
        book = self.neighbour.book
        return {"job.toml": self.neighbour.sheet}, [_texts(book, row) for row in book.ordered(False)]

    def answer(self, test: str) -> list[tuple[str, ...]]:
        """Do a test in the world as it stands and write down what it shows; the new rows, oldest first.

        The vehicle, the account and the clock go on from where they are. The same tests in the same order give the
        same rows. Raises KeyError for a test that no world knows.
        """
        person = self.person
        if test not in known_tests():
            raise KeyError(test)
        self.asked += 1
        before = {id(row) for row in person.book.rows}
        own, person.kit = person.kit, everything(person.kit)
        person.rng.seed(f"{self.key}/{test}/{self.asked}")
        person.spend(20, 60)
        if test == BESIDE:
            self.neighbour = stand_beside(person, self.key)
        else:
            ACTS[test](person)
        person.kit = own
        fresh = [row for row in person.book.rows if id(row) not in before]
        return [_texts(person.book, row) for row in sorted(fresh, key=lambda row: row.at_s)]

    @property
    def key(self) -> str:
        """What all chance of this world hangs on."""
        return f"{self.setting.name}/{self.seed}/{self.number}"

    def _rng(self, purpose: str) -> Random:
        return Random(f"{self.key}/{purpose}")

    @property
    def truth(self) -> Truth:
        """What is true now."""
        return truth_of(self)

    def write(self, folder: Path | str) -> Path:
        """Write the job folder (made if needed); truth stays out of it."""
        path = Path(folder)
        path.mkdir(parents=True, exist_ok=True)
        for name, data in self.files().items():
            (path / name).write_bytes(data)
        return path


def _texts(book: Notebook, row: Row) -> tuple[str, ...]:
    return (book.time_text(row), row.kind, row.subject, row.value, row.unit, row.source, row.note)


def truth_of(made: MadeWorld) -> Truth:
    world, plan = made.person.world, made.plan
    holding = {span.fault for span in world.spans if span.to_s is None}
    first = leading(holding)
    if holding == {"partial-package"}:
        state = "explained"
    elif holding:
        state = "fault"
    else:
        coming = set(will_come(world))
        state = "works" if coming <= world.authorised else "filling"
    start = min(row.at_s for row in made.person.book.rows)
    named = next((trouble for trouble in plan.troubles if trouble.fault == first), None)
    return Truth(
        state=state,
        class_=class_named(first),
        fault=first,
        present=tuple(sorted(holding)),
        tier=plan.tier,
        reason=plan.reason,
        severity=named.severity if named else 0.0,
        other=plan.other,
        when=(named or plan.troubles[0]).when if plan.troubles else "steady",
        spans=tuple((s.fault, s.from_s - start, None if s.to_s is None else s.to_s - start) for s in world.spans),
        entitled=tuple(sorted(will_come(world))),
        wrong_rows=made.person.wrong,
        could_be_wrong=made.person.could_slip,
    )


@cache
def _shop(name: str, shop: int) -> tuple[DrawSetting, dict[str, dict[str, float]]]:
    """A workshop's way of drawing, and its shares of faults."""
    setting = DRAW_SETTINGS[name]
    draw = setting.of_shop(shop) if setting.shops else setting
    return draw, share_table(draw)


def make_world(setting: str, seed: int, number: int, tier: str = "") -> MadeWorld:
    """World `number` of a set; `tier` blank draws that too. Raises KeyError for an unknown setting.

    A fault that nobody would have felt brings nobody: such a world is played again, a little worse each time. One in
    twenty stays as it is; routine finds those, or nobody does.
    """
    key = f"{setting}/{seed}/{number}"
    shops = DRAW_SETTINGS[setting].shops
    draw, shares = _shop(setting, Random(f"{key}/shop").randrange(shops) if shops else 0)
    rng = Random(f"{key}/plan/{tier}")
    plan = draw_plan(rng, draw, shares, tier)
    hidden = rng.random() < HIDDEN
    made = play(draw, seed, number, plan, f"{key}/{tier}/0")
    for attempt in range(1, DRAWS):
        if len(made.person.book.rows) >= FEWEST_ROWS and (hidden or felt(made)):
            break
        made = play(draw, seed, number, worse(plan, attempt), f"{key}/{tier}/{attempt}")
    return made


def worse(plan: Plan, attempt: int) -> Plan:
    """The same plan with every trouble a step nearer to as bad as it gets."""
    keep = 0.85**attempt
    return replace(
        plan, troubles=tuple(replace(one, severity=1.0 - keep * (1.0 - one.severity)) for one in plan.troubles)
    )


def felt(made: MadeWorld) -> bool:
    """Whether what is wrong cost something: an account always does, the rest a thirtieth of the time or a restart."""
    names, world = made.plan.names, made.person.world
    if not names or set(names) & {*OF_THE_ACCOUNT, "partial-package"} or world.resets:
        return True
    return world.felt_s > world.now_s / 30.0


def play(draw: DrawSetting, seed: int, number: int, plan: Plan, key: str) -> MadeWorld:
    """Let one visit happen."""
    rng = Random(key)
    duration_s = 60.0 * rng.uniform(*VISIT_MINUTES[plan.tier]) * (0.6 + 0.8 * plan.slow_person)
    vehicle = build(rng, plan, duration_s)
    world = vehicle.world
    kit = draw_tools(rng, draw, plan.tier, plan.slow_person)
    offset_h = world.setup.sites[0].utc_offset_h
    local = datetime(2031, rng.randint(4, 9), rng.randint(1, 28), rng.randint(8, 17), rng.randint(0, 59))
    book = Notebook((local - timedelta(hours=offset_h)).replace(tzinfo=UTC), kit.time_style, offset_h)
    person = Person(world, kit, book, rng, plan, draw)
    logger = Logger(person, rng) if kit.logger_step_s else None
    world.advance(rng.uniform(30, 120))
    if logger:
        logger.plug(True)
    Rounds(person).run(world.now_s + duration_s)
    if logger:
        logger.plug(False)
    if not book.rows:
        person.look_at_source()
    made = MadeWorld(draw, seed, number, plan, person, kit)
    made.fixed = _papers(made, vehicle.lineup_file, rng)
    return made


def _papers(made: MadeWorld, lineup_file: list[Channel], rng: Random) -> dict[str, bytes]:
    """Everything of the folder but the log."""
    setup, kit, person, tier = made.person.world.setup, made.kit, made.person, made.plan.tier
    setup.has_lineup_file = kit.sheet_has_lineup or ("partial-package" in made.plan.names and rng.random() < 0.7)
    setup.steady_fault = "partial-package" if "partial-package" in made.plan.names else None
    job_id = f"world-{crc32(made.key.encode()):08x}"  # says nothing of what is wrong
    sheet = job_files.job_toml(setup, kit, job_id, person.book.opened, False, rng)
    out = {"job.toml": sheet.encode()}
    if setup.has_lineup_file:
        out["lineup.csv"] = csv_text(lineup_file).encode()
    place = person.world.place
    parked = not place.moving and place.roof_db[0] == 0.0
    if tier == "rich" and parked and rng.random() < (0.6 if place.walls else 0.2) * (0.5 + made.plan.slow_person):
        person.horizon_read = True
    if tier == "rich" and not place.moving and rng.random() < 0.3:
        site = next(site for site in setup.sites if site.name == place.site)
        begin = person.book.opened + timedelta(seconds=person.world.now_s - 300.0)
        out["gnss.nmea"] = sentences(rng, site, place, begin).encode("ascii")
    return out


def worlds(
    count: int, seed: int, setting: str = "tune", tier: str = "", start: int = 0
) -> Iterator[tuple[dict[str, bytes], Truth]]:
    """Job folders (file name to bytes) and what is true of them, one after the other."""
    for number in range(start, start + count):
        made = make_world(setting, seed, number, tier)
        yield made.files(), made.truth
