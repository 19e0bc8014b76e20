"""``listen``: what is arriving, what is missing, what does not fit; for connecting hardware. It judges no lift."""

import argparse
import logging
import os
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, BadInputError, load, log_to_stderr, login, positive, stopped_by_signal

if TYPE_CHECKING:
    from monitor.broker import BrokerClient
    from monitor.cli.arriving import Arriving

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
    from monitor.broker import BrokerClient, BrokerError
    from monitor.cli.arriving import Arriving
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
    arriving = Arriving(topics, settings.core)
    client.subscribe([f"{settings.root}/{settings.site}/#"])
    client.start()
    try:
        with stopped_by_signal() as stop:
            _listen_until(stop, client, arriving, given.every, given.for_s)
    finally:
        client.stop()
    return DONE


def _listen_until(
    stop: threading.Event, client: "BrokerClient", arriving: "Arriving", every_s: float, for_s: float | None
) -> None:
    from monitor.broker import LinkDown, Message
    from monitor.clock import monotonic_s, utc_s

    began_s = summed_s = monotonic_s()
    while not stop.is_set() and (for_s is None or monotonic_s() - began_s < for_s):
        for arrival in client.drain(0.2):
            if isinstance(arrival, Message):
                topic, payload, arrived_s = arrival.topic, arrival.payload, arrival.arrived_s
                lines = arriving.take(topic, payload, retained=arrival.retained, now_s=arrived_s, now_utc_s=utc_s())
                for line in lines:
                    _tell(line)
            elif isinstance(arrival, LinkDown):
                _tell(f"not connected: {arrival.reason}")
            else:
                _tell(f"connected with MQTT {arrival.protocol}. {arrival.problem}".rstrip())
        if (over_s := monotonic_s() - summed_s) >= every_s:
            summed_s += over_s
            if client.connected:
                for line in arriving.summary(summed_s, over_s):
                    _tell(line)


def _tell(line: str) -> None:
    at = datetime.now(UTC).strftime("%H:%M:%SZ")
    print(f"{at}  {''.join(char if char.isprintable() else '?' for char in line)}", flush=True)
