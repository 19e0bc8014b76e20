"""``listen``: what is arriving, what is missing, what does not fit; for connecting hardware. It judges no lift."""

import argparse
import logging
import os
import signal
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from monitor.cli.common import DONE, BadInputError, load, log_to_stderr, login, positive

EVERY_S: Final = 10.0


def add(commands: Any) -> None:
    """Add the command."""
    listen = commands.add_parser(
        "listen",
        help="show what arrives from the lifters and what does not fit, when connecting hardware",
        description="Listen to a site's broker and tell what arrives, what is missing and what does not fit.",
    )
    listen.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML)")
    listen.add_argument("--broker", metavar="URL", help="another broker than the site file's")
    listen.add_argument(
        "--every", metavar="S", type=positive, default=EVERY_S, help="seconds between summaries (default: %(default)g)"
    )
    listen.add_argument("--for", metavar="S", type=positive, dest="for_s", help="end after so many seconds")
    listen.set_defaults(act=_listen)


def _listen(given: argparse.Namespace) -> int:
    from monitor.broker import BrokerClient, BrokerError, LinkUp, Message
    from monitor.cli.arriving import Arriving
    from monitor.clock import monotonic_s, utc_s
    from monitor.wire.topics import Topics

    settings = load(given.site)
    url = given.broker or settings.broker.url or f"mqtt://{settings.broker.listen}"
    topics = Topics(settings.root, settings.site)
    user, password = login()
    log_to_stderr(logging.ERROR)  # the link's news is told on standard output here
    try:
        client = BrokerClient(
            url,
            client_id=f"holdwatch-listen-{settings.site}-{os.getpid()}",
            protocol=settings.broker.protocol,
            ca_file=settings.broker.ca_file,
            username=user,
            password=password,
        )
    except BrokerError as error:
        raise BadInputError(str(error)) from None
    stop = threading.Event()
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda *_: stop.set())
    arriving = Arriving(topics, settings.core)
    client.subscribe([f"{settings.root}/{settings.site}/#"])
    client.start()
    began_s = summed_s = monotonic_s()
    try:
        while not stop.is_set() and (given.for_s is None or monotonic_s() - began_s < given.for_s):
            for arrival in client.drain(0.2):
                if isinstance(arrival, Message):
                    for line in arriving.take(
                        arrival.topic,
                        arrival.payload,
                        retained=arrival.retained,
                        now_s=arrival.arrived_s,
                        now_utc_s=utc_s(),
                    ):
                        _tell(line)
                elif isinstance(arrival, LinkUp):
                    _tell(f"connected to {url} with MQTT {arrival.protocol}. {arrival.problem}".rstrip())
                else:
                    _tell(f"not connected: {arrival.reason}")
            if (over_s := monotonic_s() - summed_s) >= given.every:
                summed_s += over_s
                if client.connected:
                    for line in arriving.summary(summed_s, over_s):
                        _tell(line)
    finally:
        client.stop()
    return DONE


def _tell(line: str) -> None:
    at = datetime.now(UTC).strftime("%H:%M:%SZ")
    print(f"{at}  {''.join(char if char.isprintable() else '?' for char in line)}", flush=True)
