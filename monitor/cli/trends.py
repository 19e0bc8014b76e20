"""``trends`` tells what to look at on each lifter, in order, and the trends it follows from."""

import argparse
import sys
from pathlib import Path
from typing import Any, Final

from monitor.cli.common import DONE, BadInputError, FailedError

TABLES: Final = ("figures", "list", "steps", "services")


def add(commands: Any) -> None:
    """Add the command."""
    trends = commands.add_parser(
        "trends",
        help="what to look at first, and the leak trends it follows from",
        description="Follow leak, pump, battery and gauges over all closed lifts of a data folder. Without --json or --csv "
        "everything is told in words; it is the same in all three.",
    )
    trends.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    how = trends.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="everything, as JSON")
    how.add_argument(
        "--csv",
        metavar="TABLE",
        nargs="?",
        const="figures",
        choices=TABLES,
        help="a table as CSV: figures (one row a figure; the default), list (what to look at), steps, services",
    )
    trends.set_defaults(act=_trends)


def _trends(given: argparse.Namespace) -> int:
    import msgspec

    from monitor.care import CAUTION, Carer, care_dict
    from monitor.care_tables import care_csv, care_text
    from monitor.clock import utc_s
    from monitor.fleet import kept_in
    from monitor.settings.site import read_site
    from monitor.store.errors import StoreError
    from monitor.store.records import open_reader
    from monitor.words.say import say

    if not given.data.is_dir():
        raise BadInputError(f"--data is {given.data}, which is no folder. Name the data folder of `run` or `demo`.")
    reader = open_reader(given.data)
    try:
        text = reader.settings_in_force()
        if text is None:
            raise FailedError(
                f"{given.data}: no engine has worked here yet: there are no lifts and no site file.{kept_in(given.data)}"
            )
        site = read_site(text, name="the site file kept in the data folder")
        carer = Carer(reader)
        cares = [carer.care(config, site.time_zone, utc_s()) for config in site.core.lifters.values()]
    except StoreError as error:
        raise FailedError(str(error)) from None
    finally:
        reader.close()
    if given.json:
        told = {"site": site.site, "lifters": [care_dict(care, say) for care in cares], "caution": say(CAUTION)}
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(told), indent=2).decode() + "\n")
    else:
        sys.stdout.write(care_csv(cares, say, given.csv) if given.csv else care_text(cares, say))
    return DONE
