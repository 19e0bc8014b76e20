"""``listen``: what is arriving, what is missing, what does not fit; for connecting hardware. It judges no lift."""

import argparse
import contextlib
import logging
import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, BadInputError, load, log_to_stderr, login, positive, say, stopped_by_signal

if TYPE_CHECKING:
    from monitor.broker import BrokerClient, Message
    from monitor.cli.arriving import Arriving
    from monitor.cli.arriving_sources import ArrivingSources
    from monitor.cli.draft import Draft

EVERY_S: Final = 10.0
DRAFT_FOR_S: Final = 30.0


def add(commands: Any) -> None:
    """Add the command."""
    listen = commands.add_parser(
        "listen",
        help="show what arrives from the lifters and what does not fit, when connecting hardware",
        description="Listen to a site's broker and tell what arrives, what each value became, what is missing and what "
        "does not fit. With --draft also write a first draft of the sources for hardware with topics of its own.",
    )
    listen.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML)")
    listen.add_argument("--broker", metavar="URL", help="another broker than the site file's")
    listen.add_argument(
        "--every", metavar="S", type=positive, default=EVERY_S, help="seconds between summaries (default: %(default)g)"
    )
    listen.add_argument("--for", metavar="S", type=positive, dest="for_s", help="end after so many seconds")
    listen.add_argument(
        "--out", metavar="RECORDING", type=Path, help="write everything that arrives into this file, for replay"
    )
    listen.add_argument(
        "--draft",
        metavar="FILTER",
        nargs="?",
        const="#",
        help="listen to this MQTT filter too (default: all topics), and at the end, after 30 s unless --for says "
        "otherwise, print a draft of the site file's sources instead of the news",
    )
    listen.set_defaults(act=_listen)


@dataclass(slots=True)
class _Ears:
    """Who is told of every message."""

    arriving: "Arriving"
    sources: "ArrivingSources"
    draft: "Draft | None"
    recording: IO[bytes] | None

    def take(self, message: "Message", now_utc_s: float) -> Iterator[str]:
        from monitor.wire.recording import write_line

        topic, payload, retained = message.topic, message.payload, message.retained
        if self.recording is not None:
            self.recording.write(write_line(topic, payload, round(now_utc_s, 3), retained))
            self.recording.flush()
        if self.draft is not None:
            self.draft.take(topic, payload)
            return
        if self.sources.inbox.knows(topic):
            yield from self.sources.take(topic, payload, retained=retained, now_utc_s=now_utc_s)
        else:
            yield from self.arriving.take(
                topic, payload, retained=retained, now_s=message.arrived_s, now_utc_s=now_utc_s
            )

    def summary(self, now_s: float, now_utc_s: float, over_s: float) -> Iterator[str]:
        if self.draft is None:
            yield from self.arriving.summary(now_s, over_s)
            yield from self.sources.summary(now_utc_s, over_s)


def _listen(given: argparse.Namespace) -> int:
    from monitor.broker import BrokerClient, BrokerError
    from monitor.cli.arriving import Arriving
    from monitor.cli.arriving_sources import ArrivingSources
    from monitor.cli.draft import Draft
    from monitor.wire.topics import Topics

    settings = load(given.site)
    url = given.broker or settings.broker.url or f"mqtt://{settings.broker.listen}"
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
    sources = ArrivingSources(settings)
    arriving = Arriving(Topics(settings.root, settings.site), settings.core, elsewhere=frozenset(sources.lifters()))
    draft = Draft(settings) if given.draft is not None else None
    filters = [f"{settings.root}/{settings.site}/#", *sources.inbox.subscriptions()]
    client.subscribe([given.draft] if given.draft == "#" else filters if draft is None else [*filters, given.draft])
    for_s = given.for_s or (DRAFT_FOR_S if draft is not None else None)
    with contextlib.ExitStack() as held:
        recording = held.enter_context(_recording(given.out)) if given.out else None
        held.callback(client.stop)
        client.start()
        stop = held.enter_context(stopped_by_signal())
        if draft is not None:
            say(f"listening for {for_s:g} s (Ctrl-C ends it sooner), then the draft follows")
        _listen_until(stop, client, _Ears(arriving, sources, draft, recording), given.every, for_s)
    if draft is not None:
        print(draft.toml(), end="", flush=True)
    return DONE


def _recording(path: Path) -> IO[bytes]:
    try:
        return path.open("xb")
    except FileExistsError:
        raise BadInputError(
            f"--out is {path}; it is there already, and no recording is written over. Name another file."
        ) from None
    except OSError as error:
        raise BadInputError(f"--out is {path}, which cannot be written: {error.strerror}.") from None


def _listen_until(
    stop: threading.Event, client: "BrokerClient", ears: _Ears, every_s: float, for_s: float | None
) -> None:
    from monitor.broker import LinkDown, Message
    from monitor.clock import monotonic_s, utc_s

    tell = _tell if ears.draft is None else say
    began_s = summed_s = monotonic_s()
    while not stop.is_set() and (for_s is None or monotonic_s() - began_s < for_s):
        for arrival in client.drain(0.2):
            if isinstance(arrival, Message):
                for line in ears.take(arrival, utc_s() - (monotonic_s() - arrival.arrived_s)):
                    _tell(line)
            elif isinstance(arrival, LinkDown):
                tell(f"not connected: {arrival.reason}")
            else:
                tell(f"connected with MQTT {arrival.protocol}. {arrival.problem}".rstrip())
        ears.sources.due(utc_s())
        if (over_s := monotonic_s() - summed_s) >= every_s:
            summed_s += over_s
            if client.connected:
                for line in ears.summary(summed_s, utc_s(), over_s):
                    _tell(line)


def _tell(line: str) -> None:
    at = datetime.now(UTC).strftime("%H:%M:%SZ")
    print(f"{at}  {''.join(char if char.isprintable() else '?' for char in line)}", flush=True)
