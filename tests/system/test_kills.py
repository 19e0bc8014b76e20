"""The engine killed again and again in mid-lift: nothing answered or recorded is lost, and it is soon right again."""

import json
import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest

from monitor.channel import ChannelError, SyncChannelClient
from monitor.store.records import open_reader
from tests.brokers import ROOT, Broker, mosquitto, wait_for

pytestmark = pytest.mark.system

LIFTER = "holdwatch/quayside/dock-6/"


class Lifter:
    """Sends ten readings a second until it is stopped, and hears the statuses."""

    def __init__(self, broker: Broker) -> None:
        self.load_kg, self.vacuum_kpa, self.alarm = 500.0, 64.0, True
        self.status: dict[str, Any] = {}
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.on_message = self._heard
        self._client.connect("127.0.0.1", broker.port)
        self._client.subscribe(LIFTER + "status", 1)
        self._client.loop_start()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._send)
        self._thread.start()

    def _heard(self, _client: object, _data: object, came: paho.MQTTMessage) -> None:
        if came.payload:
            self.status = json.loads(came.payload)

    def judged_since(self, utc_s: float) -> str | None:
        """The call, once it stands on a reading sent after an instant."""
        status = self.status
        return status["call"] if status and (status["reading_time"] or 0.0) > utc_s else None

    def _send(self) -> None:
        seq = 0
        while not self._ending.wait(0.1):
            seq += 1
            circuits = {name: {"vacuum_kpa": self.vacuum_kpa + 0.05 * (seq % 3), "pump": "off"} for name in "AB"}
            said = {"time": time.time(), "seq": seq, "boot": "b", "circuits": circuits, "load_kg": self.load_kg}
            said |= {"tilt_deg": 90.0, "lifter_alarm": self.alarm}
            self._client.publish(LIFTER + "readings", json.dumps(said), qos=1)

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


class Engine:
    """The engine as a process of its own."""

    def __init__(self, broker: Broker, data: Path) -> None:
        command = [sys.executable, "-m", "monitor.service", "--site", "configs/demo.toml", "--data", str(data)]
        self.process = subprocess.Popen(
            [*command, "--broker-url", broker.url],
            cwd=ROOT,
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

    def stop(self) -> None:
        self.process.terminate()
        assert self.process.wait(10) == 0
        assert self.process.stdout is not None
        self.process.stdout.close()


class People:
    """Tell the engine something without pause; what was answered with "done" must never be lost."""

    def __init__(self, data: Path) -> None:
        self.done: list[str] = []
        self.asked_n = 0
        self._data = data
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._talk)
        self._thread.start()

    def act(self, page: SyncChannelClient, kind: str, **params: object) -> bool:
        self.asked_n += 1
        name = f"act-{self.asked_n}"
        said = {"id": name, "kind": kind, "lifter": "dock-6", "who": "the supervisor", "role": "supervisor"}
        if page.act(said | {"params": params})["done"]:
            self.done.append(name)
            return True
        return False

    def _talk(self) -> None:
        while not self._ending.is_set():
            try:
                with SyncChannelClient(self._data) as page:
                    while not self._ending.is_set():
                        self.act(page, "service_note", about="circuit B", note="x" * 200)
            except (ChannelError, OSError):
                self._ending.wait(0.01)

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = mosquitto(tmp_path)
    made.start()
    yield made
    made.kill()


@pytest.mark.parametrize("kills_n", [6, pytest.param(200, marks=pytest.mark.long)])
def test_killed_engine_loses_nothing_that_was_answered_and_is_right_again(
    kills_n: int, broker: Broker, tmp_path: Path, record_property: Any
) -> None:
    data = tmp_path / "data"
    moments = random.Random(1)
    lifter, people = Lifter(broker), People(data)
    back_s: list[float] = []
    engine = Engine(broker, data)
    try:
        wait_for(lambda: lifter.status.get("call") == "land_now", 10, "the lifter's own alarm called")
        (alarm,) = [one for one in lifter.status["alarms"] if one["key"] == "lifter_alarm"]
        with SyncChannelClient(data) as page:
            assert people.act(page, "acknowledge", raising=alarm["raising"])
        lift = lifter.status["lift"]["id"]
        for _ in range(kills_n):
            time.sleep(moments.uniform(0.0, 1.0))
            engine.kill()
            lifter.status = {}
            engine = Engine(broker, data)
            began_s, began_utc_s = time.monotonic(), time.time()
            wait_for(lambda utc_s=began_utc_s: lifter.judged_since(utc_s) == "land_now", 5, "the right call again")
            back_s.append(time.monotonic() - began_s)
            standing = {one["raising"]: one["state"] for one in lifter.status["alarms"]}
            assert standing[alarm["raising"]] == "acknowledged"
            assert lifter.status["lift"]["id"] == lift
        people.stop()
        lifter.alarm, lifter.load_kg = False, 0.0
        time.sleep(1.0)
        lifter.vacuum_kpa = 0.0
        reader = open_reader(data)
        wait_for(lambda: reader.lifts(), 60, "the record of the lift")
        wait_for(lambda: reader.trace(lift), 20, "its trace")
    finally:
        people.stop()
        lifter.stop()
        engine.stop()
    kept = {one["id"] for one in reader.actions(limit=1_000_000)}
    assert set(people.done) <= kept
    assert reader.actions_not_taken() == []
    (record,) = reader.lifts()
    assert record["id"] == lift
    assert record["gaps_n"] >= kills_n
    assert {gap["why"] for gap in record["gaps"]} <= {"restart", "silence"}
    moved = [one["moved"] for one in reader.alarms() if one["raising"] == alarm["raising"]]
    assert moved[:2] == ["raised", "acknowledged"]
    assert moved.count("raised") == 1
    assert reader.verify() is None
    reader.close()
    back_s.sort()
    print(f"\n{kills_n} kills, {len(people.done)} actions answered, none lost; right call again after "
          f"p50 {back_s[len(back_s) // 2]:.2f} s, most {back_s[-1]:.2f} s")  # fmt: skip
    record_property("right_again_s", back_s[-1])
    assert back_s[len(back_s) // 2] < 2.0
