"""The program's first moment: Ctrl-C counts before anything is loaded."""

import os
import signal
import sys


def main() -> int:
    """Load the commands and do what the command line asks; returns the exit code.

    Until a command has begun something that must be ended in order, Ctrl-C ends the program at once, and as done. As an
    exception it could come in the middle of an import, where it is shown as a fault or, worse, lost.
    """
    if sys.platform != "win32" and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _end_at_once)  # on Windows the parts are ended by the exception
    from monitor.cli.main import main as act

    return act()


def let_ctrl_c_raise() -> None:
    """From now on Ctrl-C is an exception again: what has begun is tidied up on the way out."""
    if signal.getsignal(signal.SIGINT) is _end_at_once:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _end_at_once(*_: object) -> None:
    os._exit(0)
