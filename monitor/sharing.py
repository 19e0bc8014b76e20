"""Closed lifts from many sites to one central store over MQTT.

A site sends on ``ROOT/SITE/fleet/records`` and ``ROOT/SITE/fleet/trace``; the central store answers on
``ROOT/SITE/fleet/have`` once a batch is on its disk. A batch that is not answered is sent again, so it does not matter what
a broker forgets, and after days without a line a site goes on where the central store says it stands.
"""

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import msgspec

from monitor.broker import BrokerClient, LinkDown, Message
from monitor.clock import monotonic_s
from monitor.fleet import FLEET
from monitor.store.errors import StoreError
from monitor.store.sharing import Batch, Have, Incoming, Outgoing, Trace
from monitor.wire.topics import ID

AGAIN_S: Final = 5.0
TRACE_MOST_BYTES: Final = 8_000_000
WAIT_S: Final = 0.2


class SharingError(Exception):
    """The central store did not answer, or did not take something; what it took stays."""


def send(
    client: BrokerClient,
    store: Outgoing,
    *,
    root: str,
    traces: bool,
    within_s: float,
    progress: Callable[[str], None],
    stopped: Callable[[], bool],
) -> int:
    """Send what the central store lacks, and end when it has everything.

    Args:
        client: Started; its link may be down.
        store: The site's store.
        root: First levels of the topics.
        traces: Whether to send traces as well.
        within_s: How long to wait for an answer before giving up.
        progress: Told what was done.
        stopped: Whether to give up.

    Returns:
        How many lifts were new to the central store.

    Raises:
        SharingError: No answer came in time, or the central store refused something.
        StoreError: The site's store cannot be read.
    """
    site = store.site()
    if site is None:
        return 0
    topic = f"{root}/{site}/fleet"
    client.subscribe([f"{topic}/have"])
    numbers = (f"{monotonic_s():.6f}-{n}" for n in itertools.count())  # no two tries have the same

    def ask(batch: str, leaf: str, payload: bytes) -> Have:
        return _ask(client, f"{topic}/{leaf}", payload, batch, within_s, stopped)

    began = next(numbers)
    have = ask(began, "records", msgspec.json.encode(store.beginning(began)))
    new_n = 0
    while True:
        if store.hash_at(have.n) != have.hash:
            raise SharingError(
                f"the central store has lift {have.n} of site {site} with another hash than here: one of the two was "
                "changed, or two sites have one name. Nothing was sent. Look at both with verify."
            )
        batch = store.after(have.n, next(numbers))
        if not batch.lifts:
            break
        have = ask(batch.id, "records", msgspec.json.encode(batch))
        new_n += len(batch.lifts)
        progress(f"{new_n} lifts sent")
    not_yet: set[str] = set()
    while traces and (wanted := [lift for lift in have.wanted if lift not in not_yet]):
        made = store.trace(wanted[0], TRACE_MOST_BYTES)
        if made is None:
            not_yet.add(wanted[0])
            continue
        head, content = made
        have = ask(head.id, "trace", msgspec.json.encode(head) + b"\n" + content)
        progress(f"trace of {head.lift} sent")
    return new_n


def _ask(
    client: BrokerClient, topic: str, payload: bytes, batch: str, within_s: float, stopped: Callable[[], bool]
) -> Have:
    """Send until the answer to this batch comes."""
    began_s, sent_s, why = monotonic_s(), -AGAIN_S, "no answer from a central store"
    while not stopped() and monotonic_s() - began_s < within_s:
        if client.connected and monotonic_s() - sent_s >= AGAIN_S:
            client.publish(topic, payload)
            sent_s = monotonic_s()
        for arrival in client.drain(WAIT_S):
            if isinstance(arrival, LinkDown):
                why, sent_s = f"no link to the broker: {arrival.reason}", -AGAIN_S
            elif isinstance(arrival, Message) and (have := _read_have(arrival.payload)) and have.batch == batch:
                if have.refused:
                    raise SharingError(f"the central store did not take it: {have.refused}")
                return have
    raise SharingError("stopped" if stopped() else f"{why} within {within_s:g} s")


def _read_have(payload: bytes) -> Have | None:
    try:
        return msgspec.json.decode(payload, type=Have)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None


class Gathering:
    """The central store's side: keeps what sites send and answers."""

    def __init__(self, data: Path, root: str) -> None:
        """``data`` is the folder under which the sites are kept, beside what ``collect`` puts there."""
        self._fleet = data / FLEET
        self._beginning = f"{root}/"
        self._sites: dict[str, Incoming] = {}

    @property
    def topics(self) -> list[str]:
        """What to subscribe to."""
        return [f"{self._beginning}+/fleet/{leaf}" for leaf in ("records", "trace")]

    def take(self, topic: str, payload: bytes) -> Iterator[tuple[str, bytes, str]]:
        """Answers to one message: topic, payload, and words for a log. What cannot be read has none.

        Raises:
            StoreError: It cannot be written; nothing is answered, so the site sends it again.
        """
        site, _, leaf = topic.removeprefix(self._beginning).partition("/fleet/")
        if not topic.startswith(self._beginning) or not ID.fullmatch(site):
            return
        try:
            if leaf == "records":
                batch = msgspec.json.decode(payload, type=Batch)
                have, what = self._of(site).take(batch), f"{len(batch.lifts)} lifts"
            elif leaf == "trace":
                head, _, content = payload.partition(b"\n")
                trace = msgspec.json.decode(head, type=Trace)
                have, what = self._of(site).take_trace(trace, content), f"trace of {trace.lift}"
            else:
                return
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            yield "", b"", f"site {site}: a message that cannot be read ({error})"
            return
        words = f"site {site}: {what}, {f'refused: {have.refused}' if have.refused else f'now at lift {have.n}'}"
        yield f"{self._beginning}{site}/fleet/have", msgspec.json.encode(have), words

    def close(self) -> None:
        for one in self._sites.values():
            one.close()

    def _of(self, site: str) -> Incoming:
        if site not in self._sites:
            self._sites[site] = Incoming(self._fleet / site, site)
        return self._sites[site]


def gather(
    client: BrokerClient, gathering: Gathering, tell: Callable[[str], None], stopped: Callable[[], bool]
) -> None:
    """Take what comes until stopped; a store that can't be written is said, and the site will send again."""
    client.subscribe(gathering.topics)
    while not stopped():
        for arrival in client.drain(WAIT_S):
            if not isinstance(arrival, Message):
                tell(f"not connected: {arrival.reason}" if isinstance(arrival, LinkDown) else "connected")
                continue
            try:
                for topic, payload, words in gathering.take(arrival.topic, arrival.payload):
                    if topic:
                        client.publish(topic, payload)
                    tell(words)
            except StoreError as error:
                tell(str(error))
