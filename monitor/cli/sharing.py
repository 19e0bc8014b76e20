"""``send`` gives a site's closed lifts to a central store over MQTT; ``gather`` is that store's side."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.common import DONE, BadInputError, FailedError, login, made, positive, say, stopped_by_signal

if TYPE_CHECKING:
    from monitor.broker import BrokerClient

WITHIN_S = 60.0


def add(commands: Any) -> None:
    """Add the commands."""
    send = commands.add_parser(
        "send",
        help="send closed lifts to a central store",
        description="Send every closed lift the central store lacks, and end when it has them on its disk. Run it now and "
        "then: after days without a line it goes on where it stopped. The engine may go on working.",
    )
    send.add_argument("--data", metavar="DIR", type=Path, required=True, help="the site's data folder")
    send.add_argument("--traces", action="store_true", help="send the traces as well, after all lifts")
    send.add_argument("--within", metavar="S", type=positive, default=WITHIN_S, help="wait so long for each answer")
    send.set_defaults(act=_send)
    gather = commands.add_parser(
        "gather",
        help="keep the closed lifts that sites send",
        description="Keep what sites send as a data folder each under DIR/fleet, for the fleet page and for trends. Runs "
        "until it is stopped.",
    )
    gather.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder they are kept under")
    gather.set_defaults(act=_gather)
    for parser in (send, gather):
        parser.add_argument("--broker", metavar="URL", required=True, help="mqtt://HOST:PORT or mqtts://HOST:PORT")
        parser.add_argument("--root", metavar="TOPIC", default="holdwatch", help="first levels of the topics")
        parser.add_argument("--ca-file", metavar="FILE", default="", help="whose certificates are believed, for mqtts")


def _client(given: argparse.Namespace, name: str) -> "BrokerClient":
    from monitor.broker import BrokerClient, BrokerError

    user, password = login()
    client_id = f"holdwatch-{name}-{os.getpid()}"
    try:
        return BrokerClient(given.broker, client_id=client_id, ca_file=given.ca_file, username=user, password=password)
    except BrokerError as error:
        raise BadInputError(str(error)) from None


def _send(given: argparse.Namespace) -> int:
    from monitor.sharing import SharingError, send
    from monitor.store.errors import StoreError
    from monitor.store.sharing import Outgoing

    if not given.data.is_dir():
        raise BadInputError(f"--data is {given.data}, which is no folder. Name the data folder of `run` or `demo`.")
    client = _client(given, "send")
    store = Outgoing(given.data)
    client.start()
    try:
        with stopped_by_signal() as stop:
            sent_n = send(
                client,
                store,
                root=given.root,
                traces=given.traces,
                within_s=given.within,
                progress=say,
                stopped=stop.is_set,
            )
    except (SharingError, StoreError) as error:
        raise FailedError(f"{error}. What was sent before stays; run it again to go on.") from None
    finally:
        client.stop()
        store.close()
    say(f"the central store has every closed lift; {sent_n} were new")
    return DONE


def _gather(given: argparse.Namespace) -> int:
    from monitor.sharing import Gathering, gather

    gathering = Gathering(made(given.data), given.root)
    client = _client(given, "gather")
    client.start()
    try:
        with stopped_by_signal() as stop:
            gather(client, gathering, say, stop.is_set)
    finally:
        client.stop()
        gathering.close()
    return DONE
