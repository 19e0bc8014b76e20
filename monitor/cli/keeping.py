"""``backup`` writes the whole store as one file while the engine works; ``restore`` puts one into an empty folder."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.common import DONE, FailedError, say

if TYPE_CHECKING:
    from monitor.store.backup import Kept


def add(commands: Any) -> None:
    """Add the commands."""
    backup = commands.add_parser(
        "backup",
        help="the whole store as one file, while the engine works",
        description="Write records, alarms, actions, journal and traces to one new file. The engine may go on working.",
    )
    backup.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    backup.add_argument("--out", metavar="FILE", type=Path, required=True, help="the new file; keep it as safe as DIR")
    backup.set_defaults(act=_backup)
    restore = commands.add_parser(
        "restore",
        help="put a backup into an empty data folder",
        description="Put a backup into a data folder that has no store yet. Every file in it is checked first.",
    )
    restore.add_argument("backup", metavar="FILE", type=Path, help="what `backup` wrote")
    restore.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder, made if need be")
    restore.set_defaults(act=_restore)


def _backup(given: argparse.Namespace) -> int:
    from monitor.store.backup import backup
    from monitor.store.errors import StoreError

    try:
        kept = backup(given.data, given.out)
    except StoreError as error:
        raise FailedError(str(error)) from None
    say(f"{_words(kept)} written to {given.out}")
    return DONE


def _restore(given: argparse.Namespace) -> int:
    from monitor.store.backup import restore
    from monitor.store.errors import StoreError

    try:
        kept = restore(given.backup, given.data)
    except StoreError as error:
        raise FailedError(str(error)) from None
    say(f"{_words(kept)} put into {given.data}")
    return DONE


def _words(kept: "Kept") -> str:
    missing = f", {kept.traces_missing_n} traces were missing" if kept.traces_missing_n else ""
    return f"{kept.lifts_n} lifts and {kept.traces_n} traces ({kept.bytes_n / 1e6:.1f} MB{missing})"
