"""Sends a scenario over MQTT as a lifter would, or writes the same messages to a recording.

Time. A recording runs on scenario time from `RECORDING_EPOCH_UTC_S`; ``received`` is when the message arrived. Live,
``speed`` makes everything happen that many times faster: readings come that many times as often, a leak costs that many
times as much a minute, and each message is stamped with the wall clock at which it was made, so that its age is right.
What a person tells the monitor (``actions``) stands in recordings only: it is never sent over MQTT.
"""

import json
import logging
import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from monitor.broker import BrokerClient
from monitor.clock import monotonic_s, utc_s
from monitor.settings.site import SiteSettings
from monitor.wire.recording import write_line
from monitor.wire.status_json import encode_json
from monitor.wire.topics import Topics
from simulator.delivery import Sent
from simulator.lifters import BUILT_IN, Lifter, lifter_of
from simulator.play import timeline
from simulator.scenarios import Scenario, ScenarioError, load

RECORDING_EPOCH_UTC_S: Final = 1_764_019_200.0
"""Where a recording's scenario time begins: 2025-11-24T21:20:00Z."""
LOOP_PAUSE_S: Final = 20.0
"""How long the lifter hangs idle, still sending, before a looping scenario begins again."""

_DEFAULT_TOPICS = Topics("holdwatch", "quayside")
_CONNECT_WITHIN_S = 10.0
_BEHIND_S = 2.0

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Bound:
    """A scenario on the lifter of a site: what `bind` checked before anything is started."""

    scenario: Scenario
    lifter: Lifter
    topics: Topics


def bind(scenario: str | Path | Scenario, site: SiteSettings | None, *, lifter_id: str | None = None) -> Bound:
    """Put a scenario on a lifter: the one named, else the site file's first, else the built-in one.

    Raises:
        ScenarioError: The scenario cannot be used, the site has no such lifter, or the lifter no such circuit.
    """
    scenario = scenario if isinstance(scenario, Scenario) else load(scenario)
    if site is None:
        bound = Bound(scenario, BUILT_IN, _DEFAULT_TOPICS)
    else:
        configs = site.core.lifters
        if lifter_id is not None and lifter_id not in configs:
            raise ScenarioError(f"{site.site} has no lifter {lifter_id}; it has {', '.join(configs)}.")
        config = configs[lifter_id] if lifter_id is not None else next(iter(configs.values()))
        bound = Bound(scenario, lifter_of(config), Topics(site.root, site.site))
    next(timeline(bound.scenario, bound.lifter))  # says at once when they do not fit
    return bound


def write_recording(
    scenario: str | Path | Scenario,
    path: Path,
    *,
    site: SiteSettings | None = None,
    seed: int = 0,
    lifter_id: str | None = None,
    epoch_utc_s: float = RECORDING_EPOCH_UTC_S,
) -> int:
    """Write a scenario as a recording; the same seed gives the same bytes. Returns the number of lines.

    Raises:
        ScenarioError: See `bind`; nothing is written.
        OSError: The file cannot be written.
    """
    bound = bind(scenario, site, lifter_id=lifter_id)
    lines_n = 0
    with path.open("wb") as file:
        for line in recording_lines(bound, seed=seed, epoch_utc_s=epoch_utc_s):
            file.write(line)
            lines_n += 1
    return lines_n


def recording_lines(bound: Bound, *, seed: int = 0, epoch_utc_s: float = RECORDING_EPOCH_UTC_S) -> Iterator[bytes]:
    """The lines of a recording, one at a time."""
    for sent in timeline(bound.scenario, bound.lifter, seed=seed):
        received_s = round(epoch_utc_s + sent.at_s, 3)
        yield write_line(
            topic_of(sent, bound), message_of(sent, epoch_utc_s=epoch_utc_s), received_s, retained=_is_leftover(sent)
        )


def run(
    scenario: str | Path | Scenario,
    *,
    broker_url: str,
    site: SiteSettings | None = None,
    seed: int = 0,
    speed: float = 1.0,
    loop: bool = False,
    story_path: Path | None = None,
    stop: threading.Event | None = None,
    lifter_id: str | None = None,
) -> int:
    """Publish a scenario over MQTT in real time, ``speed`` times as fast. Returns the number of messages published.

    Readings go out with QoS 1 and are not retained; ``connection`` is retained ``online``, with ``offline`` as last
    will and at a clean end. User and password come from HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD. With
    ``loop`` it begins again, after a pause in which the lifter hangs idle, until ``stop`` is set; every round has its
    own seed. The line of the story that is told now stands in ``story_path``, replaced as a whole.

    Raises:
        ScenarioError: See `bind`; nothing is started.
        monitor.broker.BrokerError: The url cannot be used.
    """
    bound = bind(scenario, site, lifter_id=lifter_id)
    stop = stop or threading.Event()
    connection = bound.topics.connection(bound.lifter.id)
    client = BrokerClient(
        broker_url,
        client_id=f"lifter-{bound.topics.site}-{bound.lifter.id}-{os.getpid()}",
        protocol=site.broker.protocol if site else "5",
        ca_file=site.broker.ca_file if site else "",
        username=os.environ.get("HOLDWATCH_BROKER_USER"),
        password=os.environ.get("HOLDWATCH_BROKER_PASSWORD"),
        will=(connection, b"offline", True),
    )
    client.start()
    try:
        _await_link(client, stop)
        stage = _Stage(bound, client, speed, stop, story_path)
        round_n = 0
        while not stop.is_set() and (loop or round_n == 0):
            stage.play(seed + round_n, idle_s=LOOP_PAUSE_S if loop else 0.0)
            round_n += 1
        client.publish(connection, b"offline", retain=True)
        return stage.published_n
    finally:
        client.stop()


def topic_of(sent: Sent, bound: Bound) -> str:
    """The topic a message goes to."""
    topics, lifter_id = bound.topics, bound.lifter.id
    by_leaf = {"readings": topics.reading, "connection": topics.connection, "actions": topics.actions}
    return by_leaf[sent.leaf](lifter_id)


def message_of(sent: Sent, *, epoch_utc_s: float, speed: float = 1.0) -> bytes:
    """A message's bytes, stamped with the sender's clock: ``epoch_utc_s`` is scenario time 0."""
    if isinstance(sent.payload, str):
        return sent.payload.encode()
    stamp = {} if sent.stamp_s is None else {"time": round(epoch_utc_s + sent.stamp_s / speed, 3)}
    return encode_json(stamp | sent.payload)


def _is_leftover(sent: Sent) -> bool:
    """Whether a recording marks it: the lifter's ``connection`` is retained on the broker, yet came as news."""
    return sent.retained and sent.leaf == "readings"


def _await_link(client: BrokerClient, stop: threading.Event) -> None:
    """Give the link a moment, so that the first reading is not lost. Without a link the lifter goes on, as a real one."""
    deadline_s = monotonic_s() + _CONNECT_WITHIN_S
    while not client.connected and not stop.is_set() and monotonic_s() < deadline_s:
        client.drain(0.05)


class _Stage:
    """Plays rounds of a scenario in real time."""

    def __init__(
        self, bound: Bound, client: BrokerClient, speed: float, stop: threading.Event, story_path: Path | None
    ) -> None:
        self.published_n = 0
        self._bound = bound
        self._client = client
        self._speed = speed
        self._stop = stop
        self._story_path = story_path
        self._next_seq = 0

    def play(self, seed: int, *, idle_s: float) -> None:
        scenario, speed = self._bound.scenario, self._speed
        story = list(scenario.story)
        began_s, epoch_utc_s = monotonic_s(), utc_s()
        for sent in timeline(scenario, self._bound.lifter, seed=seed, idle_s=idle_s, first_seq=self._next_seq):
            wait_s = began_s + sent.at_s / speed - monotonic_s()
            if wait_s < -_BEHIND_S:  # the machine slept: go on from here instead of sending a burst of old news
                began_s, epoch_utc_s, wait_s = began_s - wait_s, epoch_utc_s - wait_s, 0.0
            if self._stop.wait(max(0.0, wait_s)):
                return
            while story and story[0][0] <= sent.at_s:
                self._tell(story.pop(0)[1])
            if sent.leaf == "actions":
                continue
            self._client.publish(
                topic_of(sent, self._bound),
                message_of(sent, epoch_utc_s=epoch_utc_s, speed=speed),
                retain=sent.retained,
            )
            self.published_n += 1
            if isinstance(sent.payload, dict):
                seq = sent.payload["seq"]
                self._next_seq = seq + 1 if isinstance(seq, int) else self._next_seq

    def _tell(self, line: str) -> None:
        log.info("%s", line)
        if self._story_path is None:
            return
        scenario = self._bound.scenario
        told = {"utc_s": round(utc_s(), 3), "scenario": scenario.name, "title": scenario.title, "line": line}
        draft = self._story_path.with_name(self._story_path.name + ".new")
        draft.write_text(json.dumps(told, ensure_ascii=False), encoding="utf-8")
        draft.replace(self._story_path)
