"""``collect`` takes backups of other sites into one place, for the fleet page and for trends."""

import argparse
from pathlib import Path
from typing import Any

from monitor.cli.common import DONE, FAILED, made, say


def add(commands: Any) -> None:
    """Add the command."""
    collect = commands.add_parser(
        "collect",
        help="take backups of other sites in, for the fleet page",
        description="Keep the newest backup of each site as a data folder under DIR/fleet. Backups may come in any order and "
        "more than once. Every file and the chain of records are checked first.",
    )
    collect.add_argument("backups", metavar="FILE", type=Path, nargs="+", help="what `backup` wrote on a site")
    collect.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder they are kept under")
    collect.set_defaults(act=_collect)


def _collect(given: argparse.Namespace) -> int:
    from monitor.fleet import collect
    from monitor.store.errors import StoreError

    data = made(given.data)
    code = DONE
    for backup in given.backups:
        try:
            found = collect(data, backup)
        except StoreError as error:
            say(str(error))
            code = FAILED
        else:
            say(f"site {found.site}: {found.new_n} new lifts of {found.lifts_n} in {backup}")
    return code
