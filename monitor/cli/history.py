"""``history`` writes years of invented lifts into an empty data folder, and what is true of them beside it."""

import argparse
from pathlib import Path
from typing import Any, Final

from monitor.cli.common import DONE, BadInputError, FailedError, load, made, positive, say

DEMO_SITE: Final = Path(__file__).parents[2] / "configs" / "demo.toml"
TRUTH_FILE: Final = "history-truth.json"
NO_TRACE: Final = "an invented history: no reading was ever sent"


def add(commands: Any) -> None:
    """Add the command."""
    history = commands.add_parser(
        "history",
        help="years of invented lifts in a data folder, with the truth beside them",
        description="Write the closed lifts of years, with known wear, steps and services, into an empty data folder: for "
        f"demonstration and tests. What is true of them is written to DIR/{TRUTH_FILE}. The same as `simulate history`.",
    )
    history.add_argument("--data", metavar="DIR", type=Path, required=True, help="an empty data folder")
    history.add_argument("--site", metavar="FILE", type=Path, default=DEMO_SITE, help="site file (default: the demo's)")
    history.add_argument(
        "--seed", metavar="N", type=int, default=0, help="same seed, same history (default: %(default)s)"
    )
    add_wishes(history)
    history.set_defaults(act=write)


def add_wishes(parser: argparse.ArgumentParser) -> None:
    """What `simulate history` has beside what `simulate` has already."""
    parser.add_argument("--lifts", metavar="N", type=int, default=20_000, help="history: lifts (default: %(default)s)")
    parser.add_argument(
        "--years", metavar="X", type=positive, default=5.0, help="history: years (default: %(default)s)"
    )
    if not any("--lifter" in action.option_strings for action in parser._actions):  # noqa: SLF001 - argparse has no other way to ask
        parser.add_argument("--lifter", metavar="ID", help="which lifter of the site file (default: its first)")


def write(given: argparse.Namespace) -> int:
    """Draw the history and put it into the folder."""
    import msgspec

    from monitor.clock import utc_s
    from monitor.judged_by import program_version, settings_sha256
    from monitor.store.errors import StoreError
    from monitor.store.importing import import_lifts
    from simulator.history import make

    if given.data is None:
        raise BadInputError("simulate history writes into a data folder: name one with --data. Nothing was written.")
    site = load(given.site or DEMO_SITE)
    data = made(given.data)
    if any(data.iterdir()):
        raise BadInputError(
            f"--data is {data}, which is not empty. Nothing was written: invented lifts never join real ones."
        )
    try:
        history = make(
            site,
            lifter_id=given.lifter,
            lifts_n=given.lifts,
            years=given.years,
            until_utc_s=utc_s(),
            seed=given.seed,
        )
    except ValueError as error:
        raise BadInputError(f"{error}. Nothing was written.") from None
    sha256 = settings_sha256(site)
    try:
        lifts_n = import_lifts(
            data,
            (record | {"site_file_sha256": sha256} for record in history.records()),
            history.notes,
            no_trace=NO_TRACE,
            settings=(sha256, site.text, (given.site or DEMO_SITE).name, program_version()),
        )
        (data / TRUTH_FILE).write_bytes(msgspec.json.format(msgspec.json.encode(history.truth()), indent=2))
    except StoreError as error:
        raise FailedError(str(error)) from None
    except OSError as error:
        raise FailedError(f"{data / TRUTH_FILE}: {error.strerror}") from None
    say(f"{lifts_n} invented lifts of {history.lifter.id} written to {data}, the truth to {data / TRUTH_FILE}")
    return DONE
