"""Every figure of speed in one table: `python scripts/benchmark.py all [--quick] [--json FILE] [--markdown FILE]`.

Each line is a ratio against a named library or a physical floor that was measured in the same run; what each means is
said in the module that measures it. Some twenty minutes on an idle machine; with --quick a tenth of the sizes.
"""

import os
import sys
import warnings
from pathlib import Path

from bench_figures import circumstances, table, write_json


def say(text):
    """Progress, beside the table."""
    print(text, file=sys.stderr, flush=True)


def parts():
    """The modules that measure something, by name, each with `lines(quick, say)`."""
    import bench_cable
    import bench_entitlement
    import bench_look_angles
    import bench_signal
    import bench_speed

    found = {"whole jobs": bench_speed.lines, "fill-in": bench_entitlement.lines}
    found |= {"look angles": bench_look_angles.lines, "segmentation": bench_signal.lines}
    found["antenna lead"] = bench_cable.lines
    if sys.platform != "win32":
        import bench_record

        found["recording"] = bench_record.lines
    return found


def main(quick, json_file=None, markdown_file=None):
    """Measure everything, print the table; the exit code: 1 if a part could not be measured."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy is first imported
    warnings.simplefilter("ignore")
    on, lines, failed = circumstances(), [], []
    for name, measure in parts().items():
        say(f"{name} ...")
        try:
            lines += measure(quick, say)
        except KeyboardInterrupt:
            say("stopped")
            return 130
        except (ImportError, OSError, RuntimeError) as error:
            failed.append(f"{name}: no figures ({error})")
            say(failed[-1])
    words = ", ".join(f"{key} {value}" for key, value in on.items())
    text = "\n".join([table(lines), "", *failed, f"Measured on {words}{', quick' if quick else ''}.", ""])
    print(text)
    if markdown_file is not None:
        Path(markdown_file).write_text(text, "utf-8")
    if json_file is not None:
        write_json(json_file, {**on, "quick": quick, "failed": failed}, lines)
    return 1 if failed else 0
