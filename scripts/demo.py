"""The main job on a sample log: makes the environment, prints the verdict, writes the report.

python scripts/demo.py [SAMPLE]      SAMPLE: a folder of sample_logs, by default 'filling'
python scripts/demo.py --live        the page, on a simulated receiver that is still filling in
        --offline DIR                with a folder of wheels that `scripts/wheelhouse.py` made, and no network
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from _boot import ROOT, inside, run, without_network


def live(wheels):
    """Serve the page, with a simulated receiver as its source, until Ctrl-C."""
    satdiag = [inside(["page"], wheels), "-m", "satdiag"]
    receiver = [*satdiag, "simulate", "filling", "--serve", "socket://127.0.0.1:0", "--speed", "10"]
    with (
        tempfile.TemporaryDirectory(prefix="satdiag-demo-") as folder,
        subprocess.Popen(receiver, stdout=subprocess.PIPE, text=True) as simulated,
    ):
        try:
            where = simulated.stdout.readline().split()[-1]
            print("A simulated receiver: nothing is measured. The job is thrown away at the end.", flush=True)
            source = f"serial:{where}?profile=bench-lines"
            return run([*satdiag, "live", str(Path(folder) / "demo.satjob"), "--from", source])
        finally:
            simulated.terminate()


def main():
    """Analyse one sample."""
    words, wheels = without_network(sys.argv[1:])
    if words == ["--live"]:
        return live(wheels)
    samples = sorted(path.name for path in (ROOT / "sample_logs").iterdir() if path.is_dir())
    name = words[0] if words else "filling"
    if name not in samples:
        sys.exit(f"no sample '{name}'; there are: {', '.join(samples)}")
    report = ROOT / f"satdiag-report-{name}.html"
    command = [
        inside(wheels=wheels),
        "-m",
        "satdiag",
        "analyse",
        str(ROOT / "sample_logs" / name),
        "--report",
        str(report),
    ]
    code = run(command)
    if code == 0:
        print(f"\nThe report is {report}: open it in a browser.")
    return code


if __name__ == "__main__":
    sys.exit(main())
