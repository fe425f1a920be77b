"""The main job on a sample log: makes the environment, prints the verdict, writes the report.

python scripts/demo.py [SAMPLE]      SAMPLE: a folder of sample_logs, by default 'filling'
"""

import sys

from _boot import ROOT, inside, run


def main():
    """Analyse one sample."""
    samples = sorted(path.name for path in (ROOT / "sample_logs").iterdir() if path.is_dir())
    name = sys.argv[1] if len(sys.argv) > 1 else "filling"
    if name not in samples:
        sys.exit(f"no sample '{name}'; there are: {', '.join(samples)}")
    report = ROOT / f"satdiag-report-{name}.html"
    command = [inside(), "-m", "satdiag", "analyse", str(ROOT / "sample_logs" / name), "--report", str(report)]
    code = run(command)
    if code == 0:
        print(f"\nThe report is {report}: open it in a browser.")
    return code


if __name__ == "__main__":
    sys.exit(main())
