"""Speed of whole jobs: analysis and report of an hour, analysis of weeks, import and export, and a fleet, each
beside its floor.

Times are processor time of a process of its own, from its very start to its end, the interpreter and every import
counted; memory is the most that it held, less what it held after its imports. The jobs are made by
`bench_speed_jobs.py`. The floor of an hour is what Python needs to import every library that the analysis can call
and to read the CSV: one that is imported only where a job asks for it counts too, or each import that is saved would
raise the ratio; beside it stands the floor with the imports of that very run alone. Only the fleet is measured by the
wall clock, because there is no other way, and beside it what two bare processes reach that do nothing but count: on a
machine with two threads of one core that is far from twice.
"""

import ast
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from multiprocessing import Process
from pathlib import Path

import bench_speed_jobs
from bench_figures import Line, exponent

HOUR = (1.0, 20.0)
LOG_HOURS = (24.0, 80.0, 240.0)
QUICK_HOURS = (2.4, 8.0, 24.0)
LOG_RATE = 5.8
MONTH_H = 240.0
"""Thirty days of eight hours awake, some five million rows."""
SOME_ROWS = 4096
LIBRARIES = ("numpy", "pandas", "scipy", "sgp4")
"""What the estimators are made with; none of the extras."""
FLEET_JOBS = 160
COUNT_TO = 20_000_000


def in_a_process(task, *words):
    """What a piece of work costs in a process of its own: the figures that it prints."""
    command = [sys.executable, str(Path(__file__).resolve()), task, *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=quiet_environment())
    if done.returncode:
        raise RuntimeError(f"{' '.join(command[1:])} failed: {done.stderr.strip()[-500:]}")
    return json.loads(done.stdout)


def quiet_environment():
    """The environment, with libraries on one thread each."""
    return {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


# --- the pieces of work, each in a process of its own --------------------------------------------------------------


def most_held_mb():
    """The most memory that this process held so far; NaN on Windows."""
    try:
        import resource
    except ImportError:
        return float("nan")
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def analyse(folder):
    """Open and analyse a job as `satdiag` does; the modules of libraries that it took are told too."""
    import satdiag
    import satdiag.analysis

    imported_s, held = time.process_time(), most_held_mb()
    job = satdiag.open_job(folder)
    opened_s = time.process_time()
    satdiag.analyse(job)
    spent_s = time.process_time()
    places = (sys.prefix, sys.base_prefix)
    files = {name: getattr(module, "__file__", None) for name, module in list(sys.modules.items())}
    modules = [n for n, file in files.items() if file and file.startswith(places) and not n.startswith("satdiag")]
    parts = {"imported_s": imported_s, "opened_s": opened_s - imported_s, "analysed_s": spent_s - opened_s}
    parts["could"] = sorted({*modules, *could_import(files)})
    return {"s": spent_s, "mb": most_held_mb() - held, "modules": modules, "rows": len(job.rows), **parts}


def could_import(files):
    """The modules of `LIBRARIES` that satdiag's own loaded modules name, at the top or inside a function."""
    named = set()
    for file in (file for name, file in files.items() if name.startswith("satdiag") and file):
        for node in ast.walk(ast.parse(Path(file).read_text("utf-8"))):
            if isinstance(node, ast.Import):
                named |= {one.name for one in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                named |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
    return {name for name in named if name.startswith(LIBRARIES)}


def read(folder, modules):
    """Import the modules and read the observations with pandas, as texts; the frame's own size is told too."""
    import importlib

    for name in json.loads(Path(modules).read_text("utf-8")):
        try:
            importlib.import_module(name)
        except ImportError:  # a module that its package makes while it is imported
            continue
    import pandas as pd

    imported_s = time.process_time()
    frame = pd.read_csv(Path(folder) / "observations.csv", dtype=str, keep_default_na=False)
    spent_s = time.process_time()
    return {
        "s": spent_s,
        "read_s": spent_s - imported_s,
        "mb": float(frame.memory_usage(deep=True).sum()) / 1e6,
    }


def store(folder, place):
    """Import a job folder into a job file and export it again, beside the bare insert and read of its rows."""
    from satdiag.folder import export_files, read_folder, write_folder
    from satdiag.store import create_job_file, read_job_file

    place = Path(place)
    spent = _bare_store(place / "bare.db", Path(folder))
    spent["import_s"] = _spent(lambda: create_job_file(place / "job.satjob", read_folder(Path(folder))))
    files = place / "exported"
    spent["export_s"] = _spent(lambda: write_folder(export_files(read_job_file(place / "job.satjob")), files))
    same = (files / "observations.csv").read_bytes() == (Path(folder) / "observations.csv").read_bytes()
    if not same:
        raise RuntimeError("what was exported is not what was imported")
    return spent


def report(folder):
    """The page of an analysed job, beside plotly's own script and the rows as JSON, without which there is none."""
    import satdiag
    from satdiag.report import report_html

    job = satdiag.open_job(folder)
    found, made = satdiag.analyse(job), {}

    def bare():
        from plotly.offline import get_plotlyjs

        made["bare"] = get_plotlyjs() + json.dumps([row[:-1] for row in job.rows])

    bare()  # the import of the library is nobody's
    ours_s = min(_spent(lambda: made.update(page=report_html(job, found))) for _ in range(3))
    return {"report_s": ours_s, "bare_s": min(_spent(bare) for _ in range(3)), "page_mb": len(made["page"]) / 1e6}


def _bare_store(place, folder):
    """The same rows, made beforehand, into the same table with the same care for the medium, and read again.

    Neither floor pays for what is none of SQLite's: `raw`, which no row has, is not handed over as None, which costs
    as much as four texts; and the rows that were read are let go, many at a time, not kept all at once.
    """
    from satdiag.folder import read_folder

    rows = read_folder(folder).rows
    if any(row.raw is not None for row in rows):
        raise RuntimeError("the bare insert is made for rows in canonical form")
    fields = [(number, *row[:-1]) for number, row in enumerate(rows, 1)]
    del rows
    return {"insert_s": _spent(lambda: _insert(place, fields)), "select_s": _spent(lambda: _select(place))}


def _spent(work):
    began = time.process_time()
    work()
    return time.process_time() - began


def _insert(place, fields):
    from satdiag.store.format import SCHEMAS, USER_VERSION

    with closing(sqlite3.connect(place, isolation_level=None)) as file:
        for pragma in ("journal_mode=MEMORY", "synchronous=OFF"):
            file.execute(f"PRAGMA {pragma}")
        file.execute(SCHEMAS[USER_VERSION]["observations"])
        file.execute("BEGIN")
        file.executemany(f"INSERT INTO observations VALUES ({', '.join('?' * 12)}, NULL)", fields)
        file.execute("COMMIT")


def _select(place):
    with closing(sqlite3.connect(place)) as file:
        found = file.execute("SELECT * FROM observations ORDER BY number")
        while found.fetchmany(SOME_ROWS):
            pass


# --- the figures ---------------------------------------------------------------------------------------------------


def lines(quick=False, say=print):
    """Every figure of whole jobs."""
    with tempfile.TemporaryDirectory(prefix="satdiag-speed-") as place:
        place = Path(place)
        say("one hour ...")
        found = [*hour_lines(place)]
        say("long logs ...")
        found += long_lines(place, QUICK_HOURS if quick else LOG_HOURS)
        say("a fleet ...")
        found += fleet_lines(place, FLEET_JOBS // 4 if quick else FLEET_JOBS)
    return found


def _both(place, hours, rows_per_s):
    """Ours and the floor for a log of so many hours, and its folder."""
    folder = place / f"log-{hours:g}"
    bench_speed_jobs.write_job(folder, hours, rows_per_s)
    ours = in_a_process("analyse", folder)
    modules = place / "modules.json"
    modules.write_text(json.dumps(ours["modules"]), "utf-8")
    return folder, ours, in_a_process("read", folder, modules)


def hour_lines(place):
    """An hour at twenty rows a second; import and export of it."""
    folder, ours, bare = _both(place, *HOUR)
    modules = place / "modules.json"
    modules.write_text(json.dumps(ours["could"]), "utf-8")
    floor = in_a_process("read", folder, modules)
    size, what = f"{ours['rows']:,} rows", "analysis of one hour"
    yield Line(what, size, "s", ours["s"], floor["s"], "importing all that it can call, pandas read of the CSV", 1.5)
    yield Line(f"{what}, own imports", size, "s", ours["s"], bare["s"], "the imports of this run, the same read")
    page = in_a_process("report", folder)
    yield Line("report of it", size, "s", page["report_s"], page["bare_s"], "plotly's script and the rows as JSON")
    yield from _store_lines(place, folder, size)


def _store_lines(place, folder, size):
    scratch = place / f"store-{folder.name}"
    scratch.mkdir()
    spent = in_a_process("store", folder, scratch)
    shutil.rmtree(scratch)
    yield Line("import into a job file", size, "s", spent["import_s"], spent["insert_s"], "bare SQLite insert", 1.5)
    yield Line("export to a folder", size, "s", spent["export_s"], spent["select_s"], "bare SQLite read", 1.5)


def long_lines(place, hours):
    """Logs of three lengths: time, memory, growth; import and export of the middle one."""
    sizes, spent, stored = [], [], []
    for number, length in enumerate(hours):
        folder, ours, floor = _both(place, length, LOG_RATE)
        size = f"{ours['rows']:,} rows"
        own, bare = ours["opened_s"] + ours["analysed_s"], floor["read_s"]
        aim = 4.0 if length >= MONTH_H else None  # below, what does not grow with the log weighs more
        yield Line("analysis of a long log, imports apart", size, "s", own, bare, "pandas read of the CSV", aim)
        yield Line("memory for it", size, "MB", ours["mb"], floor["mb"], "the CSV's texts as a pandas frame", 3.0)
        sizes.append(ours["rows"])
        spent.append(own)
        if number == 1:
            stored = [*_store_lines(place, folder, size)]
        shutil.rmtree(folder)
    grows = exponent(sizes, spent)
    yield Line("growth of the analysis, exponent", f"{len(sizes)} sizes", "", grows, 1.0, "linear growth", 1.1)
    yield from stored


def fleet_lines(place, count):
    """Jobs a second with one and with two processes, beside two that only count."""
    folder = place / "fleet"
    for number in range(count):
        bench_speed_jobs.write_job(folder / f"job-{number}", 0.1, 5.0, seed=number + 1)
    spent = []
    for workers in (1, 2):
        command = [sys.executable, "-m", "satdiag", "fleet", str(folder), "--to", str(place / f"set-{workers}")]
        command += ["--workers", str(workers)]
        began = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=False, env=quiet_environment())
        spent.append(time.perf_counter() - began)
        if done.returncode:
            raise RuntimeError(f"satdiag fleet failed: {done.stderr.strip()[-500:]}")
    bare = 2.0 * _counting_s(1) / _counting_s(2)
    size, is_bare = f"{count} jobs", "two bare processes that count, over one"
    yield Line("fleet, two processes over one", size, "times", spent[0] / spent[1], bare, is_bare, 0.9, True)


def _count(upto):
    number = 0
    while number < upto:
        number += 1


def _counting_s(processes):
    """How long so many processes take that each count to a number."""
    began = time.perf_counter()
    running = [Process(target=_count, args=(COUNT_TO,)) for _ in range(processes)]
    for one in running:
        one.start()
    for one in running:
        one.join()
    return time.perf_counter() - began


if __name__ == "__main__":
    print(
        json.dumps({"analyse": analyse, "read": read, "report": report, "store": store}[sys.argv[1]](*sys.argv[2:]))
    )
