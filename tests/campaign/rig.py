"""A site on loopback to be hurt: a real Mosquitto, a sending lifter in trouble, people who act, the engine."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Self

import paho.mqtt.client as paho

from monitor.channel import ChannelError, SyncChannelClient
from monitor.store.records import Reader, open_reader
from tests.brokers import ROOT, Broker, mosquitto, wait_for

LIFTER = "holdwatch/quayside/dock-6/"
HONEST = frozenset({"land_now", "no_signal"})
"""What may be said of a lifter in the air whose own alarm sounds: anything better is a good word on bad data."""


class Lifter:
    """Sends ten readings a second until it is stopped, and hears the statuses."""

    def __init__(self, broker: Broker, spoil: Callable[[bytes], list[tuple[float, bytes]]] | None = None) -> None:
        """``spoil`` makes of one message those that really arrive, each with how much later, s."""
        self.load_kg, self.vacuum_kpa, self.alarm = 500.0, 64.0, True
        self.silent = False
        self.status: dict[str, Any] = {}
        self.heard: list[tuple[float, str]] = []
        """Each status by the instant its reading was sent, UTC s, and its call."""
        self.wrong: list[dict[str, Any]] = []
        """Statuses said while the alarm sounds that are better than they may be."""
        self._spoil = spoil or (lambda message: [(0.0, message)])
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.on_message = self._heard
        self._client.on_connect = lambda client, *_: client.subscribe(LIFTER + "status", 1)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._send)
        self._thread.start()
        self._late: list[threading.Timer] = []

    def _heard(self, _client: object, _data: object, came: paho.MQTTMessage) -> None:
        if came.payload:
            self.status = json.loads(came.payload)
            self.heard.append((self.status["reading_time"] or 0.0, self.status["call"]))
            if self.called and self.status["call"] not in HONEST:
                self.wrong.append(self.status)
            self.called = self.alarm and (self.called or self.status["call"] == "land_now")

    called = False
    """Whether the trouble has been called once; from then on nothing better may be said while it lasts."""

    def judged_since(self, utc_s: float) -> str | None:
        """The call, once it stands on a reading sent after an instant."""
        status = self.status
        return status["call"] if status and (status["reading_time"] or 0.0) > utc_s else None

    def _send(self) -> None:
        seq = 0
        while not self._ending.wait(0.1):
            if self.silent:
                continue
            seq += 1
            circuits = {name: {"vacuum_kpa": self.vacuum_kpa + 0.05 * (seq % 3), "pump": "off"} for name in "AB"}
            said = {"time": time.time(), "seq": seq, "boot": "b", "circuits": circuits, "load_kg": self.load_kg}
            said |= {"tilt_deg": 90.0, "lifter_alarm": self.alarm}
            for late_s, message in self._spoil(json.dumps(said).encode()):
                self._put(late_s, message)

    def _put(self, late_s: float, message: bytes) -> None:
        if late_s <= 0.0:
            self._client.publish(LIFTER + "readings", message, qos=1)
            return
        timer = threading.Timer(late_s, self._client.publish, (LIFTER + "readings", message, 1))
        timer.daemon = True
        timer.start()

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


class Engine:
    """The engine as a process of its own."""

    def __init__(
        self,
        broker_url: str,
        data: Path,
        *,
        site: str = "configs/demo.toml",
        environment: Mapping[str, str] | None = None,
        before: tuple[str, ...] = (),
    ) -> None:
        """Start it and wait until it is ready. ``before`` is a program to run it under."""
        command = [*before, sys.executable, "-m", "monitor.service", "--site", site, "--data", str(data)]
        self.process = subprocess.Popen(
            [*command, "--broker-url", broker_url],
            cwd=ROOT,
            env=os.environ | dict(environment or {}),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "ready\n"

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()

    def stop(self) -> int:
        """Ask it to end; its exit code."""
        self.process.terminate()
        code = self.process.wait(15)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


class People:
    """Tell the engine something without pause; what was answered with "done" must never be lost."""

    def __init__(self, data: Path, every_s: float = 0.0) -> None:
        self.done: list[str] = []
        self.refused: list[str] = []
        self.asked_n = 0
        self._data = data
        self._every_s = every_s
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._talk)
        self._thread.start()

    def act(self, page: SyncChannelClient, kind: str, **params: object) -> bool:
        self.asked_n += 1
        name = f"act-{self.asked_n}"
        said = {"id": name, "kind": kind, "lifter": "dock-6", "who": "the supervisor", "role": "supervisor"}
        answer = page.act(said | {"params": params})
        if answer["done"]:
            self.done.append(name)
            return True
        self.refused.append(str(answer["words"]))
        return False

    def _talk(self) -> None:
        while not self._ending.is_set():
            try:
                with SyncChannelClient(self._data) as page:
                    while not self._ending.is_set():
                        self.act(page, "service_note", about="circuit B", note="x" * 200)
                        self._ending.wait(self._every_s)
            except (ChannelError, OSError):
                self._ending.wait(0.01)

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()


class Rig:
    """All of it together, with a lift in the air whose alarm is acknowledged, and a check of what is left at the end."""

    def __init__(self, folder: Path, *broker_lines: str, **lifter: Any) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.data.mkdir(exist_ok=True)
        self.broker = mosquitto(folder, *broker_lines)
        self._lifter = lifter
        self._engine: dict[str, Any] = {}
        self.engine: Engine | None = None
        self.lift = self.raising = ""

    def __enter__(self) -> Self:
        self.broker.start()
        self.lifter = Lifter(self.broker, **self._lifter)
        self.people = People(self.data, every_s=0.02)
        return self

    def __exit__(self, *_: object) -> None:
        self.people.stop()
        self.lifter.stop()
        if self.engine is not None and self.engine.process.poll() is None:
            self.engine.kill()
        self.broker.kill()

    def start(self, url: str | None = None, **more: Any) -> None:
        """Start the engine and wait for the trouble to be called."""
        self._engine = {"broker_url": url or self.broker.url, **more}
        self.engine = Engine(data=self.data, **self._engine)
        wait_for(lambda: self.lifter.status.get("call") == "land_now", 15, "the lifter's own alarm called")

    def acknowledge(self) -> None:
        """The load is in the air; the supervisor acknowledges the alarm; it must stay acknowledged whatever comes."""
        wait_for(lambda: (self.lifter.status.get("lift") or {}).get("loaded"), 15, "the load in the air")
        (alarm,) = [one for one in self.lifter.status["alarms"] if one["key"] == "lifter_alarm"]
        self.raising = alarm["raising"]
        self.lift = self.lifter.status["lift"]["id"]
        with SyncChannelClient(self.data) as page:
            assert self.people.act(page, "acknowledge", raising=self.raising)

    def kill_engine(self) -> None:
        """As the power going, for the engine alone."""
        assert self.engine is not None
        self.engine.kill()

    def engine_died(self, within_s: float = 90.0) -> None:
        """Wait until something else killed it."""
        assert self.engine is not None
        assert self.engine.process.wait(within_s) == -signal.SIGKILL
        self.engine.kill()

    def start_again(self) -> None:
        """As the supervisor would."""
        self.lifter.status = {}
        self.engine = Engine(data=self.data, **self._engine)

    def right_again_s(self, within_s: float = 20.0) -> tuple[float, float]:
        """How long until the right call stands on a reading sent after now, s: by the clock, and by the readings.

        The latter, from the first such reading that is judged to the one with the right call, knows no slow machine.
        """
        began_s, began_utc_s, heard_n = time.monotonic(), time.time(), len(self.lifter.heard)
        wait_for(lambda: self.lifter.judged_since(began_utc_s) == "land_now", within_s, "the right call again")
        took_s = time.monotonic() - began_s
        new = [(at_s, call) for at_s, call in self.lifter.heard[heard_n:] if at_s > began_utc_s]
        return took_s, next(at_s for at_s, call in new if call == "land_now") - new[0][0]

    def still_acknowledged(self) -> bool:
        """Whether the alarm of the beginning is still the same raising, acknowledged."""
        standing = {one["raising"]: one["state"] for one in self.lifter.status["alarms"]}
        return standing.get(self.raising) == "acknowledged"

    def land(self) -> None:
        """Set the load down and open the circuits; nobody acts any more."""
        self.people.stop()
        self.lifter.alarm, self.lifter.load_kg, self.lifter.called = False, 0.0, False
        time.sleep(1.0)
        self.lifter.vacuum_kpa = 0.0

    def end_lift(self) -> Reader:
        """Land, wait for record and trace; the store to look into. The engine has ended then."""
        self.land()
        reader = open_reader(self.data)
        wait_for(lambda: any(one["id"] == self.lift for one in reader.lifts()), 90, "the record of the lift")
        # Under a faked clock every switch between threads goes through the library that fakes it: what a first trace has to
        # load takes 4 s then instead of 1, 13 s on a busy machine.
        wait_for(lambda: reader.trace(self.lift), 90, "its trace")
        self.lifter.stop()
        assert self.engine is not None
        assert self.engine.stop() == 0
        return reader

    def lost(self, reader: Reader) -> list[str]:
        """What was answered or recorded and is no longer there, by name."""
        kept = {one["id"] for one in reader.actions(limit=1_000_000)}
        gone = [name for name in self.people.done if name not in kept]
        gone += [f"not taken: {one['id']}" for one in reader.actions_not_taken()]
        moved = [one["moved"] for one in reader.alarms() if one["raising"] == self.raising]
        if moved[:2] != ["raised", "acknowledged"] or moved.count("raised") != 1:
            gone.append(f"alarm {self.raising}: {moved}")
        if (broken := reader.verify()) is not None:
            gone.append(f"chain: {broken}")
        return gone
