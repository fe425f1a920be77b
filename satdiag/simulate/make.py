"""From a scenario and a seed to the files of a job folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from zlib import crc32

from satdiag.simulate import account_scenarios, job_files, sky_scenarios, wiring_scenarios
from satdiag.simulate.kit import Kit, draw_kit
from satdiag.simulate.lineup import csv_text
from satdiag.simulate.logger import Logger
from satdiag.simulate.notebook import Notebook, Row
from satdiag.simulate.procedure import Visit
from satdiag.simulate.setup import Setup
from satdiag.simulate.technician import Technician
from satdiag.simulate.truth import state_and_fault, truth_toml
from satdiag.simulate.world import World

SCENARIOS: dict[str, Callable[[Random], Setup]] = {
    "complete": account_scenarios.complete,
    "filling": account_scenarios.filling,
    "partial-package": account_scenarios.partial_package,
    "not-activated": account_scenarios.not_activated,
    "wrong-id": account_scenarios.wrong_id,
    "resend-due": account_scenarios.resend_due,
    "account-lapsed": account_scenarios.account_lapsed,
    "indoors": sky_scenarios.indoors,
    "obstructed": sky_scenarios.obstructed,
    "foliage": sky_scenarios.foliage,
    "out-of-coverage": sky_scenarios.out_of_coverage,
    "interference": sky_scenarios.interference,
    "antenna-open": wiring_scenarios.antenna_open,
    "antenna-short": wiring_scenarios.antenna_short,
    "antenna-weak": wiring_scenarios.antenna_weak,
    "feed-swapped": wiring_scenarios.feed_swapped,
    "feed-lossy": wiring_scenarios.feed_lossy,
    "supply-dropout": wiring_scenarios.supply_dropout,
    "ring-broken": wiring_scenarios.ring_broken,
    "ring-broken-open": wiring_scenarios.ring_broken_open,
    "ring-order": wiring_scenarios.ring_order,
    "node-unpowered": wiring_scenarios.node_unpowered,
    "not-configured": wiring_scenarios.not_configured,
    "audio-path": wiring_scenarios.audio_path,
    "receiver-defective": wiring_scenarios.receiver_defective,
    "feed-absent": wiring_scenarios.feed_absent,
}
ATTEMPTS = 40
ROWS = (40, 600)


@dataclass(frozen=True)
class MadeJob:
    """A job folder in memory: file names and their bytes."""

    scenario: str
    seed: int
    files: dict[str, bytes]


def scenarios() -> list[str]:
    """Names of all scenarios."""
    return list(SCENARIOS)


def make_job(scenario: str, seed: int, time_style: str | None = None) -> MadeJob:
    """One job, the same bytes for the same scenario and seed.

    A draw in which the scenario did not come about (a 'filling' that was complete before the person left, an
    obstacle that obstructed nothing) is drawn again. Raises KeyError for an unknown scenario.
    """
    make_setup = SCENARIOS[scenario]
    for attempt in range(ATTEMPTS):
        rng = Random(f"{scenario}/{seed}/{attempt}")
        setup = make_setup(rng)
        kit = draw_kit(rng)
        if time_style:
            kit = replace(kit, time_style=time_style)
        world, book = play(setup, kit, rng)
        if came_about(world, book):
            return MadeJob(scenario, seed, _files(world, book, kit, seed, rng))
    raise RuntimeError(f"scenario {scenario!r} did not come about in {ATTEMPTS} draws from seed {seed}")


def play(setup: Setup, kit: Kit, rng: Random) -> tuple[World, Notebook]:
    """Let the visits happen; the world and the log as they stand at the end."""
    world = World(setup, rng)
    offset_h = setup.sites[0].utc_offset_h
    local = datetime(2031, rng.randint(4, 9), rng.randint(1, 28), rng.randint(8, 17), rng.randint(0, 59))
    opened = (local - timedelta(hours=offset_h)).replace(tzinfo=UTC)
    book = Notebook(opened, kit.time_style, offset_h, _extra(kit))
    technician = Technician(world, kit, book, rng)
    logger = Logger(technician, rng) if kit.logger_step_s else None
    world.advance(rng.uniform(20, 120))
    _earlier_account(world, technician)
    if setup.second_visit_after_s:
        Visit(technician, logger).run(world.now_s + rng.uniform(6, 14) * 60)
        technician.put("power", "receiver", "off")
        world.switch(False)
        world.skip(setup.second_visit_after_s)
        world.lapse()
        world.begin("account-lapsed")
        world.switch(True)
        world.advance(rng.uniform(30, 90))
        technician.seen.clear()
        setup.customer_words = "customer: it used to play, now every channel is locked"
    Visit(technician, logger).run(world.now_s + setup.duration_s)
    _number(book, rng)
    return world, book


def _extra(kit: Kit) -> tuple[str, ...]:
    """Optional columns of this person's log."""
    wanted = (
        ("span_s", kit.memory_rows),
        ("run", kit.run_clock),
        ("elapsed_s", kit.run_clock),
        ("id", kit.identifiers),
    )
    return tuple(name for name, there in wanted if there)


def _earlier_account(world: World, technician: Technician) -> None:
    """A confirmation some days before the visit, copied from the paperwork."""
    before = world.setup.confirmed_before_s
    if before is None:
        return
    world.account.confirmed_at_s = world.now_s - before
    if technician.kit.logs_account:
        for at_s, state in ((-before - 240.0, "submitted"), (-before, "confirmed")):
            row = Row(world.now_s + at_s, "account", "service", state, note="from the order papers")
            technician.book.add(row)


def _number(book: Notebook, rng: Random) -> None:
    """Give rows their identifiers, and take one slip of the pen back where that is possible."""
    if "id" not in book.extra:
        return
    rows = book.ordered(False)
    for count, row in enumerate(rows, 1):
        row.row_id = f"o{count:04d}"
    marks = [row for row in rows if row.kind == "channel" and row.span_s is None]
    if marks and rng.random() < 0.5:
        slip = rng.choice(marks[: max(1, len(marks) - 8)])
        wrong = "refused" if slip.value == "authorised" else "authorised"
        extra = Row(slip.at_s - 1.0, slip.kind, slip.subject, wrong, source=slip.source, row_id="o9001")
        book.add(extra)
        note = "pressed the wrong box"
        book.add(Row(slip.at_s, "withdraw", "row", "o9001", source=slip.source, note=note, row_id="o9002"))


def came_about(world: World, book: Notebook) -> bool:
    """Whether this draw is an example of its scenario at all; judged on causes and size, never on a diagnosis."""
    setup = world.setup
    state, fault = state_and_fault(world)
    if not ROWS[0] <= len(book.rows) <= ROWS[1]:
        return False
    if setup.scenario == "complete":
        return state == "works"
    if setup.scenario == "filling":
        share = len(world.authorised) / max(1, len(setup.entitled()))
        return state == "filling" and 0.15 <= share <= 0.9 and len(set(world.arrival_tick.values())) >= 4
    if setup.scenario == "ring-broken":
        return state in ("works", "filling") and any(span.fault == "ring-broken" for span in world.spans)
    if fault is None:
        return False
    return _complaint_is_real(world, fault)


def _complaint_is_real(world: World, fault: str) -> bool:
    """A fault of the radio path must cost reception: received less than 93 % of the time where it holds."""
    radio = ("antenna-weak", "feed-lossy", "indoors", "obstructed", "foliage", "interference")
    if fault not in radio:
        return True
    spans = [span for span in world.spans if span.fault == fault]
    total = sum((world.now_s if span.to_s is None else span.to_s) - span.from_s for span in spans)
    good = sum(world.exposure_s(span.from_s, world.now_s if span.to_s is None else span.to_s) for span in spans)
    return good < 0.93 * total


def _files(world: World, book: Notebook, kit: Kit, seed: int, rng: Random) -> dict[str, bytes]:
    setup = world.setup
    plays_without = setup.steady_fault == "partial-package" or kit.sheet_has_lineup
    setup.has_lineup_file = plays_without
    own = rng.random() < 0.1
    job_id = f"demo-{crc32(f'{setup.scenario}/{seed}'.encode()) % 10000:04d}"  # says nothing of what is wrong
    texts = {
        "job.toml": job_files.job_toml(setup, kit, job_id, book.opened, own, rng),
        "observations.csv": book.text(kit.hand_last),
        "truth.toml": truth_toml(world, book, seed),
    }
    if plays_without:
        texts["lineup.csv"] = csv_text(setup.lineup)
    if own:
        texts["constellation.toml"] = job_files.constellation_toml()
    texts.update(_skyline(setup, rng))
    return {name: text.encode("utf-8") for name, text in sorted(texts.items())}


def _skyline(setup: Setup, rng: Random) -> dict[str, str]:
    """Clinometer readings or paced-out obstacles of the place where the vehicle stands."""
    place = setup.places[setup.start]
    if place.moving or place.roof_db[0] > 0.0:
        return {}
    kinds = (
        rng.choice(("h", "o", "ho"))
        if place.fault == "obstructed"
        else rng.choices(("", "h", "o"), (0.6, 0.25, 0.15))[0]
    )
    out = {}
    if "h" in kinds:
        out["horizon.csv"] = job_files.horizon_csv(place, rng)
    if "o" in kinds and place.walls:
        out["obstacles.csv"] = job_files.obstacles_csv(place, rng)
    return out


def write_job(made: MadeJob, folder: Path | str) -> Path:
    """Write a job folder (made if needed) and return its path."""
    path = Path(folder)
    path.mkdir(parents=True, exist_ok=True)
    for name, data in made.files.items():
        (path / name).write_bytes(data)
    return path
