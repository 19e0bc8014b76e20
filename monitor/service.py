"""The loop: queue -> wire -> engine -> effects. Decides nothing about a load.

Order matters: a message is journalled, then judged, then told. An action is on the disk, then judged, then answered.
Nothing here waits for the disk, a page or the broker.
"""

import argparse
import contextlib
import logging
import os
import signal
import sys
import threading
from collections import OrderedDict, deque
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import msgspec

from monitor.actions import action_of
from monitor.broker import Arrival, BrokerClient, BrokerError, LinkDown, LinkUp, Message
from monitor.channel import Answer, ChannelServer
from monitor.clock import EngineClock, monotonic_s, utc_s
from monitor.core.engine import TICK_S, SiteState
from monitor.core.events import (
    Action,
    ActionAnswered,
    ActionCame,
    AlarmMoved,
    ClockSet,
    ConnectionSaid,
    Effect,
    Event,
    FilledIn,
    LastLifts,
    LiftClosed,
    LinkChanged,
    ReadingCame,
    Resumed,
    StoreSaid,
    Told,
)
from monitor.core.facts import UNHEARD
from monitor.core.messages import Text
from monitor.core.past_lifts import KEPT_N, PastLifts
from monitor.core.readings import Reading
from monitor.core.sources import Format
from monitor.core.status import VALID_FOR_S, Status
from monitor.core.summary import Summary
from monitor.history import History
from monitor.journalled import JUDGED, READING, came_row, event_of, message_event, row_of
from monitor.judged_by import program_version, record_of, settings_sha256, state_version
from monitor.refusals import Refusals
from monitor.restart import Sealer, fresh, restore
from monitor.settings.site import SiteError, SiteSettings, load_site
from monitor.store.errors import StoreError, TakenBeforeError
from monitor.store.pruning import Keeping
from monitor.store.records import Reader, Writer, open_reader, open_writer
from monitor.telling import Telling
from monitor.wire.inbox import Ask, Came, Inbox
from monitor.wire.mapping import Unreadable
from monitor.wire.status_json import encode_json
from monitor.wire.topics import Topics
from monitor.words.say import say

log = logging.getLogger("monitor.service")

LOOP_S: Final = 0.05
"""The loop looks at least this often for what cannot wake it: actions, time."""

OFFER_EVERY_S: Final = 0.05
STATE_EVERY_S: Final = 5.0
LOOK_EVERY_S: Final = 1.0
SUSPENDED_S: Final = 30.0
"""Longer without a turn of the loop, the whole machine was asleep: a gap, not silence of the senders."""

CLOCK_SET_S: Final = 0.1
FREE_CHANGED_RATIO: Final = 0.01
JUDGED_EVERY_S: Final = 1.0
ANSWERS_KEPT_N: Final = 500


class Service:
    """One site's engine with its store, its channel and its link to the broker."""

    def __init__(self, site: SiteSettings, data: Path, broker: BrokerClient, writer: Writer, reader: Reader) -> None:
        self.faults_n = 0
        self._site = site
        self._topics = Topics(site.root, site.site)
        self._broker = broker
        self._writer = writer
        self._state_version = state_version(site)
        self._sealer = Sealer(data)
        self._history = History()
        self._telling = Telling(self._topics, site.core.lifters, self._publish)
        self._channel = ChannelServer(data, hello=self._hello, on_action=self._on_action)
        self._stopping = threading.Event()
        self._acts: deque[tuple[Action, Answer]] = deque()
        self._waiting: dict[str, Answer] = {}
        self._answered: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._faults_said: set[tuple[type, str | None, int]] = set()
        self._judged_s: dict[str, float] = {}
        self._refusals = Refusals(site.core.lifters)
        self._link: dict[str, Any] = {"broker": "down", "since_utc_s": utc_s(), "words": ""}
        self._link_answered = False
        self._store_said = StoreSaid(writing=True)
        self._news = False
        self._offer_due_s = self._look_due_s = self._state_due_s = float("-inf")
        self._recall(reader)

    def run(self) -> None:
        """Watch until ``stop``; then say that nobody watches any more."""
        self._channel.start()
        self._broker.subscribe([*self._topics.subscriptions(), *self._inbox.subscriptions()])
        self._broker.start()
        try:
            while not self._stopping.is_set():
                self._turn()
        finally:
            self._end()

    def stop(self) -> None:
        """End ``run`` soon. May be called from a signal handler."""
        self._stopping.set()

    # Start and end.

    def _recall(self, reader: Reader) -> None:
        """Go on from where the last engine of this data folder was; without its store, from nothing."""
        try:
            restored = restore(
                reader,
                self._site,
                self._sealer,
                utc_s=utc_s(),
                state_version=self._state_version,
                version=program_version(),
                keep=self._keep,
            )
            past = {lifter: _past_lifts(reader, lifter) for lifter in self._site.core.lifters}
            not_taken = reader.actions_not_taken()
        except StoreError as error:
            log.error("%s; watching begins anew", error)  # noqa: TRY400 - in words
            restored, past, not_taken = fresh(self._site, utc_s(), program_version()), {}, []
        self._drive = restored.drive
        circuits = {name: tuple(lifter.circuits) for name, lifter in self._site.core.lifters.items()}
        self._inbox = Inbox(self._site.sources, circuits, self._drive.state.streams)
        self._clock = EngineClock(self._drive.now_s)
        self._offset_s = self._clock.utc_minus_now_s()
        with contextlib.suppress(StoreError):  # said above
            self._recall_history(reader)
        self._take(ClockSet(self._offset_s))
        if restored.down_since_s is not None:
            log.info("going on after %.1f s without an engine", self._drive.now_s - restored.down_since_s)
            self._gap(restored.down_since_s)
        for lifter, lifts in past.items():
            self._take(LastLifts(lifter, lifts))
        self._take(LinkChanged(up=False))
        for said in not_taken:
            if (action := action_of(said)) is not None:
                self._take(ActionCame(action))

    def _recall_history(self, reader: Reader) -> None:
        seen: set[tuple[str, int]] = set()
        since_s = self._drive.now_s - 600.0
        for row in reader.journal(since_s=since_s):
            if row.kind != READING or (row.lifter, int(row.now_s)) in seen or row.lifter not in self._site.core.lifters:
                continue
            seen.add((row.lifter, int(row.now_s)))
            _, event = message_event(row.payload, row.lifter, retained=False)
            circuits = event.reading.circuits.items() if hasattr(event, "reading") else ()
            vacuums = [(name, circuit.vacuum_kpa) for name, circuit in circuits]
            self._history.add(row.now_s + self._offset_s, row.lifter, vacuums)

    def _end(self) -> None:
        self._telling.say_stopped(utc_s())
        self._broker.publish(self._topics.engine, b"offline", retain=True)
        self._channel.stop()  # the pages notice at once
        self._keep_state()
        self._writer.close()
        self._broker.stop()

    # One turn of the loop.

    def _turn(self) -> None:
        now_s = self._clock.now_s()
        due_s = min(
            self._telling.due_s(),
            self._next_tick_s(),
            now_s + LOOP_S,
            self._offer_due_s if self._news else now_s + LOOP_S,
        )
        for arrival in self._broker.drain(max(0.0, due_s - now_s)):
            self._arrived(arrival)
        while self._acts:
            action, answer = self._acts.popleft()
            self._waiting[action.id] = answer
            self._take(ActionCame(action), self._clock.now_s())
        now_s = self._clock.now_s()
        self._advance(now_s)
        self._look(now_s)
        self._telling.publish_due(now_s, now_s + self._offset_s)
        if self._news and now_s >= self._offer_due_s:
            self._offer(now_s)

    def _next_tick_s(self) -> float:
        return (self._drive.now_s // TICK_S + 1) * TICK_S

    def _arrived(self, arrival: Arrival) -> None:
        at_s = self._clock.at_s(arrival.arrived_s if isinstance(arrival, Message) else arrival.at_s)
        match arrival:
            case Message():
                self._message(arrival, at_s)
            case LinkUp(protocol, problem, _):
                self._broker.publish(self._topics.engine, b"online", retain=True)
                self._link = {"broker": "up", "since_utc_s": at_s + self._offset_s, "words": problem, "mqtt": protocol}
                self._take(LinkChanged(up=True), at_s)
                self._say_ready()
            case LinkDown(reason, _):
                since_utc_s = at_s + self._offset_s if self._link["broker"] == "up" else self._link["since_utc_s"]
                self._link = {"broker": "down", "since_utc_s": since_utc_s, "words": reason}
                self._take(LinkChanged(up=False), at_s)
                self._say_ready()

    def _message(self, message: Message, at_s: float) -> None:
        self._own_message(message, at_s)
        came = self._inbox.take(
            message.topic, message.payload, now_s=at_s, now_utc_s=at_s + self._offset_s, retained=message.retained
        )
        for one in came:
            self._came(one, message.payload, at_s)

    def _came(self, came: Came, message: bytes, at_s: float) -> None:
        """Take what a source of the site file brought, as the native reading it became."""
        if isinstance(came, Unreadable):
            self._refusals.take(came.lifter, came.rejected, at_s + self._offset_s)
        elif isinstance(came, Reading):
            self._refusals.take(came.lifter, came, at_s + self._offset_s)
        if isinstance(came, Ask):
            log.info("asking a device to tell everything again: %s", came.topic)
            self._broker.publish(came.topic, came.payload, qos=0)
        elif (row := came_row(came, message)) is not None and (event := event_of(*row)) is not None:
            self._step(event, *row, at_s)

    def _own_message(self, message: Message, at_s: float) -> None:
        place = self._topics.split(message.topic)
        if place is None or place[0] not in self._site.core.lifters:
            return  # `listen` tells whoever connects hardware about strangers
        lifter, leaf = place
        if leaf == "connection":
            self._take(ConnectionSaid(lifter, message.payload == b"online"), at_s)
        elif leaf == "readings":
            kind, event = message_event(message.payload, lifter, retained=message.retained)
            found = event.reading if isinstance(event, ReadingCame) else event.rejected
            self._refusals.take(lifter, found, at_s + self._offset_s)
            self._step(event, kind, lifter, message.payload, at_s)

    def _advance(self, now_s: float) -> None:
        if now_s - self._drive.now_s > SUSPENDED_S:
            down_since_s, self._drive.now_s = self._drive.now_s, now_s
            log.warning("no turn of the loop for %.1f s: the machine was asleep", now_s - down_since_s)
            self._gap(down_since_s)
        while self._drive.now_s < now_s:
            try:
                for at_s, effects in self._drive.advance(now_s):
                    self._do(effects, at_s, news=False)
                    for reading in self._inbox.due(at_s):
                        self._came(reading, b"", at_s)
            except Exception as error:  # noqa: BLE001 - whatever one tick does, the loop goes on; told and logged there
                self._fault(error, None)

    def _look(self, now_s: float) -> None:
        """What is looked at once in a while: the clock, the store, and whether the state is to be kept."""
        if now_s < self._look_due_s:
            return
        self._look_due_s = now_s + LOOK_EVERY_S
        offset_s = self._clock.utc_minus_now_s()
        if abs(offset_s - self._offset_s) > CLOCK_SET_S:
            log.warning("the system clock was set by %+.1f s", offset_s - self._offset_s)
            self._offset_s = offset_s
            self._take(ClockSet(offset_s))
        health = self._writer.health()
        said = StoreSaid(health["writing"], health["free_ratio"])
        if said.writing != self._store_said.writing or _apart(said.free_ratio, self._store_said.free_ratio):
            self._store_said = said
            self._take(said)
        if now_s >= self._state_due_s:
            self._state_due_s = now_s + STATE_EVERY_S
            self._keep_state()

    # Into the engine.

    def _take(self, event: Event, at_s: float | None = None) -> None:
        """Journal and step an event that is no message."""
        kind, lifter, payload = row_of(event)
        self._step(event, kind, lifter, payload, self._drive.now_s if at_s is None else at_s)

    def _step(self, event: Event, kind: str, lifter: str, payload: bytes, at_s: float) -> None:
        self._advance(at_s)
        action_id = event.action.id if isinstance(event, ActionCame) else ""
        self._writer.journal(self._drive.now_s, kind, lifter, payload, action=action_id)
        try:
            self._do(self._drive.take(event), self._drive.now_s, news=True)
        except Exception as error:  # noqa: BLE001 - whatever one message does, the loop goes on; told and logged there
            self._fault(error, lifter or None)
            if action_id:
                self._answer(action_id, done=False, key="reason.engine_fault")

    def _gap(self, down_since_s: float) -> None:
        self._take(Resumed(down_since_s))

    def _fault(self, error: Exception, lifter: str | None) -> None:
        """A step failed. The loop goes on, the lifter is told as not known, and each fault is in the log once."""
        self.faults_n += 1
        self._news = True
        self._telling.fail(lifter, self._drive.now_s)
        trace = error.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        at = (type(error), trace and trace.tb_frame.f_code.co_filename, trace.tb_lineno if trace else 0)
        if at not in self._faults_said:
            self._faults_said.add(at)
            log.error(
                "a fault of the program; %s is told as not known until it is judged again",
                lifter or "every lifter",
                exc_info=error,
            )

    # Out of the engine.

    def _do(self, effects: Iterable[Effect], at_s: float, *, news: bool) -> None:
        for effect in effects:
            match effect:
                case Told(status, changed):
                    self._told(status, at_s, changed=changed, news=news)
                case FilledIn(lifter, filled_s, vacuums):
                    self._history.fill_in(filled_s + self._offset_s, lifter, vacuums)
                case AlarmMoved() | LiftClosed():
                    self._keep(effect, self._drive.state)
                    if isinstance(effect, AlarmMoved):
                        self._publish(self._topics.alarms(effect.lifter), encode_json(self._moved(effect)), False, None)
                case ActionAnswered(action_id, done, key):
                    self._answer(action_id, done=done, key=key)

    def _told(self, status: Status, at_s: float, *, changed: bool, news: bool) -> None:
        lifter = status.facts.config.id
        self._news = True
        self._telling.take(status, at_s, changed=changed, news=news)
        if not news and at_s.is_integer():
            circuits = status.facts.circuits.values()
            vacuums = [(one.id, None if one.state in UNHEARD else one.vacuum_kpa) for one in circuits]
            self._history.add(status.utc_s, lifter, vacuums)
        if status.lift is not None and (changed or at_s - self._judged_s.get(lifter, 0.0) >= JUDGED_EVERY_S):
            self._judged_s[lifter] = at_s
            self._writer.journal(at_s, JUDGED, lifter, encode_json(_judged(status)))

    def _keep(self, effect: AlarmMoved | LiftClosed, state: SiteState) -> None:
        if isinstance(effect, AlarmMoved):
            said = {name: str(value) for name, value in asdict(effect).items() if name != "at_s"}
            self._writer.alarm({**said, "at_s": effect.at_s, "utc_s": effect.at_s + state.utc_minus_now_s})
        else:
            self._close_lift(effect.summary)

    def _close_lift(self, summary: Summary) -> None:
        record = record_of(summary, self._site)

        def done(_error: StoreError | None) -> None:
            self._publish(self._topics.lifts(summary.log.lifter), encode_json(record), False, None)

        self._writer.close_lift(record, opened_now_s=summary.log.opened_s, closed_now_s=summary.closed_s, done=done)

    def _moved(self, effect: AlarmMoved) -> dict[str, object]:
        return {
            "version": 1,
            "site": self._site.site,
            "lifter": effect.lifter,
            "time": round(effect.at_s + self._offset_s, 3),
            "raising": effect.raising,
            "key": effect.key,
            "about": effect.about,
            "moved": effect.moved,
            "state": str(effect.state),
            "who": effect.who,
        }

    def _keep_state(self) -> None:
        state, now_s = self._drive.state, self._drive.now_s
        opened_s = [one.log.opened_s for one in state.lifters.values() if one.log is not None]
        self._writer.snapshot(
            now_s,
            self._sealer.seal(state),
            utc_minus_now_s=self._offset_s,
            version=self._state_version,
            keep_since_s=min(opened_s, default=now_s),
        )

    def _offer(self, now_s: float) -> None:
        self._news = False
        self._offer_due_s = now_s + OFFER_EVERY_S
        now_utc_s = now_s + self._offset_s
        self._channel.offer(
            {
                "type": "snapshot",
                "utc_s": round(now_utc_s, 3),
                "monotonic_s": round(monotonic_s(), 3),
                "link": {**self._link, "dropped_n": self._broker.dropped_n},
                "store": self._writer.health(),
                "faults_n": self.faults_n,
                "refused": self._refusals.told(now_utc_s),
                "lifters": self._telling.statuses(now_utc_s),
            }
        )

    def _publish(self, topic: str, payload: bytes, retain: bool, expiry_s: int | None) -> None:
        self._broker.publish(topic, payload, retain=retain, expiry_s=expiry_s)

    def _say_ready(self) -> None:
        """Subscribed, or known that there is no broker yet, which the page then says."""
        if not self._link_answered:
            self._link_answered = True
            print("ready", flush=True)

    # Pages. These run in the threads of the channel and of the writer.

    def _hello(self) -> dict[str, Any]:
        return {"type": "hello", "site": site_told(self._site), "history": self._history.points()}

    def _on_action(self, said: Any, answer: Answer) -> None:
        action = action_of(said)
        if action is None:
            answer(answer_told(said["id"], done=False, key="refused.not_known"))
            return
        if action.id in self._answered:
            answer(self._answered[action.id])
            return

        def done(error: StoreError | None) -> None:
            if error is None:
                self._acts.append((action, answer))
            elif isinstance(error, TakenBeforeError):
                answer(answer_told(action.id, done=True, key="done.logged"))
            else:
                log.error("an action was refused: %s", error)
                answer(answer_told(action.id, done=False, key="refused.not_written"))

        self._writer.action_soon({**msgspec.to_builtins(action), "utc_s": utc_s()}, done)

    def _answer(self, action_id: str, *, done: bool, key: str) -> None:
        told = self._answered[action_id] = answer_told(action_id, done=done, key=key)
        while len(self._answered) > ANSWERS_KEPT_N:
            self._answered.popitem(last=False)
        answer = self._waiting.pop(action_id, None)
        if answer is not None:
            answer(told)


def answer_told(action_id: str, *, done: bool, key: str) -> dict[str, Any]:
    """What a page is answered."""
    return {"type": "answer", "id": action_id, "done": done, "key": key, "words": say(Text(key))}


def site_told(site: SiteSettings) -> dict[str, Any]:
    """What the pages must know of a site beside the statuses; every setting of a lifter under its own name."""
    return {
        "id": site.site,
        "units": site.pages.units,
        "language": site.pages.language,
        "time_zone": site.time_zone,
        "root": site.root,
        "broker": f"mqtt://{site.broker.listen}" if site.broker.embedded else site.broker.url,
        "lifters": [
            {
                **msgspec.to_builtins(lifter),
                "circuits": list(lifter.circuits),
                "circuit_settings": msgspec.to_builtins(lifter.circuits),
                "pads": msgspec.to_builtins(list(lifter.pads.values())),
            }
            for lifter in site.core.lifters.values()
        ],
    }


def _past_lifts(reader: Reader, lifter: str) -> PastLifts:
    """What a lifter's last lifts took, by their records."""
    past = PastLifts()
    for record in reversed(reader.lifts(lifter, limit=KEPT_N)):
        circuits: dict[str, Any] = record.get("circuits") or {}
        pump_down_s = {name: circuit.get("pump_down_s") for name, circuit in circuits.items()}
        past = past.with_lift(record.get("landing_s"), pump_down_s)
    return past


def _judged(status: Status) -> dict[str, object]:
    holding = status.facts.holding
    return {
        "call": status.called.call.value,
        "release": status.release.value,
        "phase": status.facts.phase.value,
        "margin_kg": None if holding is None else holding.margin_kg,
        "seal_test": status.seal_tests.word(),
        "utc_minus_now_s": status.utc_minus_now_s,
    }


def _apart(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is not other
    return abs(one - other) >= FREE_CHANGED_RATIO


def main(argv: Sequence[str] | None = None) -> int:
    """Run one site's engine until SIGTERM or Ctrl-C. Prints ``ready`` once it watches."""
    parser = argparse.ArgumentParser(prog="python -m monitor.service", allow_abbrev=False)
    parser.add_argument("--site", metavar="FILE", type=Path, required=True)
    parser.add_argument("--data", metavar="DIR", type=Path, required=True)
    parser.add_argument("--broker-url", metavar="URL", default="")
    given = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="holdwatch engine: %(message)s", stream=sys.stderr)
    try:
        site = load_site(given.site)
        user = os.environ.get("HOLDWATCH_BROKER_USER") or None
        broker = BrokerClient(
            given.broker_url or site.broker.url or f"mqtt://{site.broker.listen}",
            client_id=f"holdwatch-engine-{site.site}",
            protocol=site.broker.protocol,
            ca_file=site.broker.ca_file,
            username=user,
            password=os.environ.get("HOLDWATCH_BROKER_PASSWORD") if user else None,
            will=(Topics(site.root, site.site).engine, b"offline", True),
            # Statuses are good for as long; a Sparkplug host's session must end with its connection (3.0.0, chapter 5).
            will_delay_s=0 if any(one.format is Format.SPARKPLUG for one in site.sources) else int(VALID_FOR_S),
        )
    except (SiteError, BrokerError) as error:
        print(error, file=sys.stderr)
        return 2
    # A thread that computes may keep the others waiting for this long at most; the default would cost milliseconds.
    sys.setswitchinterval(0.0005)
    try:
        writer = open_writer(given.data)
        reader = open_reader(given.data)
        service = Service(site, given.data, broker, writer, reader)
        reader.close()
    except (StoreError, OSError) as error:
        broker.stop()
        print(error, file=sys.stderr)
        return 1
    try:
        writer.settings(settings_sha256(site), site.text, name=given.site.name, program=program_version())
    except StoreError as error:
        log.error("%s", error)  # noqa: TRY400 - in words; watching goes on
    writer.keeping = Keeping(site.data_budget_gb * 1e9, site.trace_keep_days * 86_400.0)
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: service.stop())
    service.run()
    return 0


if __name__ == "__main__":
    sys.exit(main())
