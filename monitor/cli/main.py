"""The one program, ``holdwatch``: its commands, their words and their exit codes."""

import argparse
import contextlib
import sys
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from monitor.begin import let_ctrl_c_raise
from monitor.cli import (
    access,
    alarms,
    collect,
    history,
    keeping,
    listen,
    plan,
    reanalyse,
    records,
    replay,
    run,
    security,
    sharing,
    simulate,
    trends,
)
from monitor.cli.common import DONE, FAILED, MISUSED, BadInputError, FailedError, say

DESCRIPTION = """\
Says in plain words whether a vacuum lifter still holds its panel, and for how long.

Holdwatch watches and tells. It never controls the lifter, and it is not the warning device, gauge or interlock that
standards require on the lifter. Keep clear of a raised load. The lifter's own gauge and alarm, the lift plan, local
codes and a competent person decide.
"""
EPILOG = """\
Data goes to standard output, words to standard error.
Exit codes: 0 done (also after Ctrl-C), 1 failed, 2 misused or bad input.
The broker's user and password come from HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD.
"""


class _Parser(argparse.ArgumentParser):
    """No option can be abbreviated: a script's ``--sit`` must not change its meaning when an option joins."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**{"allow_abbrev": False} | settings)


def parser() -> argparse.ArgumentParser:
    """All commands; each adds its own arguments and sets ``act``, the function that does it."""
    top = _Parser(
        prog="holdwatch",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"holdwatch {_version()}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for group in (
        run,
        simulate,
        replay,
        plan,
        records,
        trends,
        keeping,
        listen,
        access,
        security,
        history,
        reanalyse,
        collect,
        sharing,
        alarms,
    ):
        group.add(commands)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Do what the command line asks and return the exit code."""
    given = parser().parse_args(argv)
    if not getattr(given, "ends_its_parts", False):
        let_ctrl_c_raise()
    try:
        code: int = given.act(given)
        sys.stdout.flush()
    except BadInputError as error:
        say(str(error))
        return MISUSED
    except FailedError as error:
        say(str(error))
        return FAILED
    except KeyboardInterrupt:
        return DONE
    except BrokenPipeError:  # whoever read standard output has seen enough
        with contextlib.suppress(OSError):
            sys.stdout.close()
        return DONE
    return code


def _version() -> str:
    try:
        return version("holdwatch")
    except PackageNotFoundError:
        return "(not installed)"
