"""How often the diagnosis is right on worlds drawn at random, how well it knows how sure it may be, and how soon.

Each world (`satdiag.simulate.worlds`) is analysed as a job that somebody brings. Results go as JSON lines into a file
(`--json FILE`, one world a line, a head line first); the same command with the same file goes on where it was
stopped. Every so many worlds (`--minutes-every`) people go on testing until the verdict is sure: by the
tests that the diagnosis plans for either aim, and by a fixed checklist; see `bench_diagnosis_minutes.py`. Figures are
about these worlds only; they say nothing about real vehicles.
"""

import json
import os
import signal
import sys
import time
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from contextlib import nullcontext
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

FORMAT = 1
JUDGED_ONCE = ("final", "later", "unseen", "afresh", "untried", "unmet")


@dataclass(frozen=True)
class Order:
    """What to run: worlds 0..count-1 of a set, and every how many of them the minutes are measured (0: never)."""

    count: int
    seed: int
    setting: str
    tier: str
    minutes_every: int

    @property
    def head(self):
        """The head line of a results file: a file with another head is another run."""
        return {"format": FORMAT, "setting": self.setting, "seed": self.seed, "tier": self.tier or "all"}


def job_of(made):
    """A world's job as satdiag reads it, without touching the disk."""
    from satdiag.job import build_job
    from satdiag.rows import Row

    documents = {name: data for name, data in made.files().items() if name != "observations.csv"}
    return build_job(documents, [Row(*texts) for texts in made.rows])


def job_and_reference(made):
    """A world's job, and that of the known-good vehicle beside it if one stood there, else None."""
    from satdiag.job import build_job
    from satdiag.rows import Row

    job, beside = job_of(made), made.reference()
    if beside is None:
        return job, None
    documents, rows = beside
    return job, build_job(documents, [Row(*texts) for texts in rows])


def analysed(made, aim="repair"):
    """The findings on a world as it stands, and its job."""
    import satdiag

    job, reference = job_and_reference(made)
    return satdiag.analyse(job, reference=reference, aim=aim), job


def short(table):
    """Probabilities to six digits: a line stays readable."""
    return {name: round(float(p), 6) for name, p in table.items()}


def judge(order, number):
    """Make one world, analyse it, and put truth and findings side by side as one flat record."""
    from satdiag.simulate.worlds import make_world

    made = make_world(order.setting, order.seed, number, order.tier)
    truth = made.truth
    record = {
        "number": number,
        "tier": truth.tier,
        "reason": truth.reason,
        "state": truth.state,
        "class": truth.class_,
        "fault": truth.fault,
        "present": list(truth.present),
        "classes_present": list(truth.classes),
        "when": truth.when,
        "other": truth.other,
        "severity": round(truth.severity, 3),
        "was": sorted({fault for fault, _, end in truth.spans if end is not None} - set(truth.present)),
        "rows": len(made.rows),
    }
    began = time.perf_counter()
    try:
        findings, job = analysed(made)
    except Exception as error:  # noqa: BLE001 - a crash is a result: it is counted and named
        return {**record, "error": f"{type(error).__name__}: {error}"[:300]}
    record["spent_s"] = round(time.perf_counter() - began, 4)
    verdict, diagnosis = findings.verdict, findings.diagnosis
    receiver = job.sheet.receiver
    record |= {
        "found": {
            "state": verdict.state,
            "class": verdict.class_,
            "fault": verdict.fault,
            "p": round(float(verdict.probability), 6),
            "sure": bool(verdict.sure),
        },
        "classes": short(diagnosis.classes),
        "faults": short(diagnosis.faults),
        "evidence": {one.item: one.state for one in diagnosis.evidence},
        "sheet": {"second_hand": str(receiver.second_hand), "lead": receiver.antenna_lead},
        "earlier": sorted({one.fault for one in diagnosis.earlier}),
        "conflict": round(float(diagnosis.conflict_bits), 3),
        "next": [test.test for test in diagnosis.next_tests],
    }
    if order.minutes_every and number % order.minutes_every == 0:
        from bench_diagnosis_minutes import both

        record["minutes"] = both(order, number)
    return record


def read_results(path, head):
    """The records of a results file by number, and whether its head fits. A half line at the end is dropped."""
    records = {}
    lines = Path(path).read_text("utf-8").splitlines() if path and Path(path).exists() else []
    if not lines:
        return records
    first = json.loads(lines[0])
    if first != head:
        sys.exit(f"{path} holds another run ({first}); give another file, or move this one away")
    for line in lines[1:]:
        try:
            record = json.loads(line)
        except ValueError:
            continue
        records[record["number"]] = record
    return records


def quiet_worker():
    """A worker leaves Ctrl-C to the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def results(order, numbers, workers):
    """Records as they come."""
    if workers <= 1:
        for number in numbers:
            yield judge(order, number)
        return
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=quiet_worker)
    try:
        left, running = iter(numbers), set()
        while True:
            for number in left:
                running.add(pool.submit(judge, order, number))
                if len(running) >= 3 * workers:
                    break
            if not running:
                return
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def collect(order, path, workers):
    """All records of an order, those of an earlier run among them; what was won is kept when Ctrl-C comes."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    records = read_results(path, order.head)
    numbers = [number for number in range(order.count) if number not in records]
    if path:
        _mend_end(path, order.head)
    bar = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    stopped = False
    try:
        with Progress(*bar, console=Console(stderr=True)) as progress, _opened(path) as file:
            task = progress.add_task("worlds", total=order.count, completed=order.count - len(numbers))
            for record in results(order, numbers, workers):
                records[record["number"]] = record
                if file:
                    file.write(json.dumps(record) + "\n")
                    file.flush()
                progress.advance(task)
    except KeyboardInterrupt:
        stopped = True
    return [records[number] for number in sorted(records) if number < order.count], stopped


def _opened(path):
    """The results file to append to, or nothing."""
    return Path(path).open("a", encoding="utf-8") if path else nullcontext()


def _mend_end(path, head):
    """A new file gets its head; one that ends in the middle of a line gets its line end."""
    place = Path(path)
    if not place.exists() or not place.stat().st_size:
        place.write_text(json.dumps(head) + "\n", "utf-8")
    elif not place.read_bytes().endswith(b"\n"):
        with place.open("a", encoding="utf-8") as file:
            file.write("\n")


def write_worlds(options, folder):
    """Write the job folders of some worlds, to look into: what is true of each goes to the screen only."""
    from satdiag.simulate.worlds import make_world

    for number in (int(part) for part in options.only.split(",")):
        made = make_world(options.setting, options.seed, number, "" if options.tier == "all" else options.tier)
        made.write(Path(folder) / f"{options.setting}-{options.seed}-{number}")
        print(number, made.truth)


def main(options):
    """Run, print, and write what was asked for."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy is first imported, here and in the workers
    if options.write:
        write_worlds(options, options.write)
        return 0
    if options.setting in JUDGED_ONCE and not options.once:
        print(
            f"the set '{options.setting}' is for the one run that counts: add --once if this is that run",
            file=sys.stderr,
        )
        return 2
    tier = "" if options.tier == "all" else options.tier
    order = Order(options.worlds, options.seed, options.setting, tier, options.minutes_every)
    records, stopped = collect(order, options.json, options.workers)
    if not records:
        print("no world was judged")
        return 130 if stopped else 1
    from bench_diagnosis_ceiling import ceilings
    from bench_diagnosis_report import html, text

    best = ceilings(records, options.setting, options.train or ())
    said = text(order, records, best)
    print(said)
    if options.report:
        Path(options.report).write_text(html(order, records, said), "utf-8")
    if stopped:
        print(f"stopped after {len(records)} worlds", file=sys.stderr)
    return 130 if stopped else 0
