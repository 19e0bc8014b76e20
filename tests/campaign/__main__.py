"""Hurts the real processes in every way of the table and says what they survived.

    python -m tests.campaign [--full] [--only WORDS] [--seed N]

The short run does each fault once or twice, the full one as often as the table says. Needs root for the small disks.
"""

import argparse
import platform
import sys
import tempfile
import time
from pathlib import Path

from tests.campaign.faults import FAULTS, RIGHT_WITHIN_S, Outcome

LINE = "{:44} {:>6} {:>9} {:>9} {:>5} {:>6} {:>11} {:>22}"


def main() -> int:
    """0 when everything was survived and nothing lost, else 1."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign", description=__doc__)
    parser.add_argument("--full", action="store_true", help="the counts of a full run")
    parser.add_argument("--only", metavar="WORDS", default="", help="only faults whose name has these words")
    parser.add_argument("--seed", metavar="N", type=int, default=1)
    given = parser.parse_args()
    print(f"{platform.platform()}, CPython {platform.python_version()}, seed {given.seed}")
    print(
        LINE.format("fault", "tried", "survived", "answered", "lost", "wrong", "by readings", "by the clock, over 2 s")
    )
    bad = False
    for name, (fault, few_n, many_n) in FAULTS.items():
        if given.only not in name:
            continue
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            began_s = time.monotonic()
            outcome = fault(Path(folder), many_n if given.full else few_n, given.seed)
        bad |= not is_good(outcome)
        print(row(name, outcome), f" {time.monotonic() - began_s:.0f} s", flush=True)
        for line in (outcome.note, *outcome.lost[:5]):
            if line:
                print(f"    {line}")
    return 1 if bad else 0


def is_good(outcome: Outcome) -> bool:
    """Whether every instance was survived, nothing was lost, nothing wrong was said and every right call came in time."""
    in_time = all(after_s <= RIGHT_WITHIN_S for after_s in outcome.right_by_readings_s)
    return outcome.survived_n == outcome.tried_n and not outcome.lost and not outcome.wrong_n and in_time


def row(name: str, outcome: Outcome) -> str:
    """One line of the table.

    Right again after the first reading: by the readings' own times the most, s, which is judged; by the clock median and
    most, s, and how many took over 2 s, which are this machine's figures.
    """
    took = sorted(outcome.right_again_s)
    most = f"{max(outcome.right_by_readings_s):.2f}" if took else "-"
    over_n = sum(one_s > RIGHT_WITHIN_S for one_s in took)
    again = f"{took[len(took) // 2]:.2f} / {took[-1]:.2f}, {over_n}" if took else "-"
    counts = (outcome.tried_n, outcome.survived_n, outcome.answered_n, len(outcome.lost), outcome.wrong_n)
    return LINE.format(name, *counts, most, again)


if __name__ == "__main__":
    sys.exit(main())
