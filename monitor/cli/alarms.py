"""``alarms`` tells how the alarms of a site behaved, by the figures of the standards."""

import argparse
import sys
from pathlib import Path
from typing import Any

import msgspec

from monitor import clock
from monitor.cli.common import DONE, BadInputError, FailedError

HOURS: float = 24.0
HOURS_MOST: float = 100_000.0


def add(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "alarms",
        help="how the alarms behaved, by the figures of the standards",
        description=(
            "Count alarms by ten minutes, floods, chattering, standing and unacknowledged ones over the last hours, by the "
            "figures of ISA-18.2 / IEC 62682 and EEMUA 191."
        ),
    )
    parser.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    parser.add_argument("--lifter", metavar="ID", default=None, help="only this one's alarms")
    parser.add_argument(
        "--hours", metavar="H", type=float, default=HOURS, help="the last so many hours; 24 when left out"
    )
    parser.add_argument(
        "--until",
        metavar="TIME",
        default=None,
        help="the end of the span, such as 2026-11-25 (that day's end) or 2026-11-25T14:00+01:00; now when left out",
    )
    parser.add_argument("--json", action="store_true", help="as JSON instead of lines")
    parser.set_defaults(act=_alarms)


def _alarms(given: argparse.Namespace) -> int:
    from monitor.core.alarm_stats import statistics
    from monitor.store.errors import StoreError
    from monitor.store.records import open_reader
    from monitor.words.alarm_figures import figures

    if not 0.0 < given.hours <= HOURS_MOST:
        raise BadInputError(f"--hours is {given.hours}; it must lie above 0 and at {HOURS_MOST:.0f} at most.")
    if not given.data.is_dir():
        raise BadInputError(f"--data is {given.data}, which is no folder. Name the data folder of `run` or `demo`.")
    try:
        until_s = clock.utc_s() if given.until is None else clock.utc_of(given.until)
    except (ValueError, OverflowError):
        raise BadInputError(
            f"--until is {given.until!r}; it must be a day or a time, such as 2026-11-25 or 2026-11-25T14:00+01:00."
        ) from None
    reader = open_reader(given.data)
    try:
        moves = reader.alarm_moves(until=until_s, lifter=given.lifter)
    except StoreError as error:
        raise FailedError(str(error)) from None
    finally:
        reader.close()
    said = statistics(moves, until_s - 3600.0 * given.hours, until_s)
    if given.json:
        sys.stdout.write(msgspec.json.encode(said).decode() + "\n")
    else:
        for name, value, wanted in figures(said):
            sys.stdout.write(f"{name:24s} {value}" + (f"  (wanted: {wanted})\n" if wanted else "\n"))
    return DONE
