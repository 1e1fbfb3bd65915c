"""Bring faults about, and count the requests that are lost.

    python -m tests.faults [--fault NAME] [--smallest]

Run it from the top of the repository with the service's dependencies installed, on Linux. Services listen on the loopback
address, on free ports, and are stopped again. What needs a mount of its own (unshare), or a C compiler, is left out where there
is none, and says so.

Exit status: 0 where every fault that was brought about cost no more requests than it may, otherwise 1.
"""

from __future__ import annotations

import argparse
import sys

from tests.benchmarks.report import progress, say, table
from tests.faults.faults import FAULTS, SMALLEST, NotPossibleError, Scale


def main() -> int:
    """Bring about what is asked for, and print a table."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description="Bring faults about.")
    parser.add_argument("--fault", choices=FAULTS, help="this one alone")
    parser.add_argument("--smallest", action="store_true", help="with few clients and few answers")
    arguments = parser.parse_args()
    scale = SMALLEST if arguments.smallest else Scale()
    rows, all_good = [], True
    for name in FAULTS if arguments.fault is None else (arguments.fault,):
        progress(name)
        try:
            outcome = FAULTS[name](scale)
        except NotPossibleError as reason:
            rows.append((f"not possible: {reason}", name, "", "", "", "", ""))
            continue
        counts, all_good = outcome.counts, all_good and outcome.is_good
        others = sum(number for what, number in counts.items() if what not in ("right", "wrong", "lost", "refused"))
        numbers = (counts["right"], counts["lost"], outcome.most_lost, counts["wrong"], counts["refused"] + others)
        rows.append(("good" if outcome.is_good else "BAD", name, *(f"{each:,}" for each in numbers)))
    heads = ("verdict", "fault", "right", "lost", "may be lost", "wrong", "refused")
    say(table(heads, rows, left=2))
    return 0 if all_good else 1


if __name__ == "__main__":
    sys.exit(main())
