"""What the commands share: bad input as an exception, the site file, the data folder, the broker's login."""

import argparse
import contextlib
import logging
import os
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.settings.site import SiteSettings

DONE, FAILED, MISUSED = 0, 1, 2


class BadInputError(Exception):
    """What was given cannot be used; the text says where, what was found, what is allowed, what to do. Exit code 2."""


class FailedError(Exception):
    """What was asked for could not be done, though the input was good. Exit code 1."""


def say(words: str) -> None:
    """One line to the person at the terminal; standard output is for data."""
    print(f"holdwatch: {words}", file=sys.stderr, flush=True)


def log_to_stderr(level: int = logging.WARNING) -> None:
    """Let the modules' own logs be seen."""
    logging.basicConfig(level=level, format="holdwatch: %(message)s", stream=sys.stderr)


def load(path: Path) -> "SiteSettings":
    """Read a site file and say what is worth knowing about it.

    Raises:
        BadInputError: Naming every fault in it.
    """
    from monitor.settings.site import SiteError, load_site

    try:
        settings = load_site(path)
    except SiteError as error:
        raise BadInputError(str(error)) from None
    for note in settings.notes:
        say(note)
    return settings


def default_data(name: str) -> Path:
    """The user's state folder (XDG Base Directory Specification 0.8) and in it this product's folder for ``name``."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    else:
        base = os.environ.get("XDG_STATE_HOME") or ""
    # The specification: a relative path there is invalid and to be ignored.
    root = Path(base) if Path(base).is_absolute() else Path.home() / ".local" / "state"
    return root / "holdwatch" / name


def made(data: Path) -> Path:
    """The data folder, made for this user alone where it is not there yet.

    Raises:
        BadInputError: It cannot be made or written to.
    """
    try:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BadInputError(
            f"--data is {data}, which cannot be made ({error.strerror}). Nothing was started. Name a folder you may write to."
        ) from None
    if not os.access(data, os.W_OK | os.X_OK):
        raise BadInputError(f"--data is {data}, which this user may not write to. Nothing was started.")
    return data.resolve()


def login() -> tuple[str | None, str | None]:
    """User and password for the broker, from the environment alone."""
    user = os.environ.get("HOLDWATCH_BROKER_USER") or None
    return user, os.environ.get("HOLDWATCH_BROKER_PASSWORD") if user else None


@contextlib.contextmanager
def stopped_by_signal() -> Iterator[threading.Event]:
    """An event that Ctrl-C or SIGTERM sets, for commands that go on until then."""
    stop = threading.Event()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def positive(text: str) -> float:
    """A number above 0, for argparse."""
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0 < number < float("inf"):
        raise argparse.ArgumentTypeError(f"{text} is no number above 0")
    return number
