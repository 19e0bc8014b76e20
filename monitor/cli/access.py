"""``pin`` and ``join``: who may act at the pages, and the link that lets a phone look."""

import argparse
import getpass
import sys
from pathlib import Path
from typing import Any

from monitor.cli.common import DONE, BadInputError, FailedError, made, say
from monitor.settings.access import PinError, Role, join_token, new_signing_key, set_pin, signing_key


def add(commands: Any) -> None:
    """Add both commands."""
    pin = commands.add_parser(
        "pin",
        help="set the PIN of a role that acts at the pages",
        description="Set, change or take away the PIN of a role. Once any is set, only signed-in people can act. The PIN is "
        "asked for twice; where standard input is no terminal its first line is taken. It counts at once.",
    )
    pin.add_argument("role", metavar="ROLE", choices=[*Role], help=", ".join(Role))
    pin.add_argument("--remove", action="store_true", help="the role can no longer sign in")
    _add_data(pin)
    pin.set_defaults(act=_pin)
    join = commands.add_parser(
        "join",
        help="show the path that lets a phone look",
        description="Print the path of the join link, to be put after the pages' address. Whoever has it may look.",
    )
    join.add_argument("--new", action="store_true", help="make a new one: older links and every sign-in end")
    _add_data(join)
    join.set_defaults(act=_join)


def _add_data(command: argparse.ArgumentParser) -> None:
    command.add_argument("--data", metavar="DIR", type=Path, required=True, help="the site's data folder")


def _pin(given: argparse.Namespace) -> int:
    role = Role(given.role)
    try:
        set_pin(made(given.data), role, None if given.remove else _asked())
    except PinError as error:
        raise BadInputError(f"{error} Nothing was changed.") from None
    except OSError as error:
        raise FailedError(f"the PIN could not be written ({error}). Nothing was changed.") from None
    say(
        f"the role {role} {'has no PIN any more' if given.remove else 'has its new PIN; its sign-ins so far have ended'}"
    )
    return DONE


def _asked() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("PIN: ")
    if getpass.getpass("again: ") != first:
        raise PinError("the two were not the same.")
    return first


def _join(given: argparse.Namespace) -> int:
    data = made(given.data)
    try:
        key = new_signing_key(data) if given.new else signing_key(data)
    except OSError as error:
        raise FailedError(f"the key of the join link cannot be read or written ({error}).") from None
    print(f"/join/{join_token(key)}")
    return DONE
