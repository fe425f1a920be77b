"""A recorder in a process of its own, to be killed: `python -m tests.store.writer PLACE LARGEST_BATCH PAUSE_S PAGES`.

Waits for a line on standard input, records batches without end, and says after each how many rows the file holds. The
log is folded into the file when it holds so many pages; 0: as ever.
"""

import random
import sys
import time

from satdiag.store import open_live
from tests.store.files import batch


def main():
    """Record until killed."""
    place, largest, pause_s, pages = sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])
    sys.stdin.readline()
    with open_live(place) as live:
        count = sum(row.run == "r1" for row in live.job.rows)
        rng = random.Random(count)
        live.release()
        if pages:
            live._connection.execute(f"PRAGMA wal_autocheckpoint={pages}")
        live.begin("r1", "2031-05-03T14:00:00Z")
        while True:
            rows, parts = batch(count + 1, rng.randint(1, largest))
            live.append(rows, parts)
            count += len(rows)
            sys.stdout.write(f"{count}\n")
            sys.stdout.flush()
            time.sleep(pause_s)


if __name__ == "__main__":
    main()
