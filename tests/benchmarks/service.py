"""A bare subscriber and the engine on the same broker, fed the same messages as fast as one publisher sends them.

Used by ``python -m tests.benchmarks.speed``; both are processes of their own.
"""

import json
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as paho

from tests.brokers import Broker

LIFTER = "holdwatch/quayside/dock-7/"
SERVICE = [sys.executable, "-m", "monitor.service", "--site", "configs/example-four-circuits.toml"]
BARE = """
import sys, paho.mqtt.client as paho
seen = 0
def on_message(client, _, message):
    global seen
    seen += 1
    if seen == int(sys.argv[3]):
        client.publish("bench/done", b"", qos=1)
client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
client.on_message = on_message
client.on_publish = lambda *_: client.disconnect()
client.on_subscribe = lambda *_: print("ready", flush=True)
client.on_connect = lambda c, *_: c.subscribe("bench/readings", int(sys.argv[2]))
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_forever()
"""


def message(seq: int, at_s: float) -> bytes:
    circuits = {name: {"vacuum_kpa": 66.0 + 0.05 * (seq % 7), "pump": "off"} for name in "ABCD"}
    said = {
        "time": round(at_s, 3),
        "seq": seq,
        "boot": "7f3a",
        "circuits": circuits,
        "load_kg": 500.0,
        "tilt_deg": 90.0,
    }
    said |= {"rotation_deg": 0.0, "height_m": 12.0, "ambient_kpa": 101.1, "temperature_c": 14.2, "battery_v": 24.9}
    return json.dumps(said | {"wind_m_s": 4.2, "lifter_alarm": False, "release_valve": "closed"}).encode()


class Bench:
    """A broker, a publisher, and a listener for what comes back."""

    def __init__(self, broker: Broker) -> None:
        self.broker = broker
        self.publisher = self._client()
        self.listener = self._client()
        self.listener.on_message = self._heard
        self.listener.subscribe([("bench/done", 1), (LIFTER + "status", 1)])
        self.done = threading.Event()
        self.status: dict = {}
        self.told = threading.Condition()

    def _client(self) -> paho.Client:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        client.max_inflight_messages_set(0)
        client.connect("127.0.0.1", self.broker.port)
        client.loop_start()
        return client

    def _heard(self, _client: object, _data: object, came: paho.MQTTMessage) -> None:
        if came.topic == "bench/done":
            self.done.set()
            return
        with self.told:
            self.status = json.loads(came.payload)
            self.told.notify_all()

    def close(self) -> None:
        for client in (self.publisher, self.listener):
            client.disconnect()
            client.loop_stop()

    def flood(self, topic: str, readings_n: int, qos: int) -> float:
        """Send as fast as it goes; when it began."""
        messages = [message(seq, time.time() + seq / 1000) for seq in range(readings_n)]
        began_s = time.perf_counter()
        for one in messages:
            self.publisher.publish(topic, one, qos=qos)
        return began_s


def processor_s(process: subprocess.Popen) -> float:
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Rate:
    """Readings a second by the clock, and for each second of the process's own time (0 where not measured)."""

    rate: float
    per_core: float = 0.0


def bare(bench: Bench, readings_n: int, qos: int) -> Rate:
    """What a subscriber that only counts takes in."""
    bench.done.clear()
    command = [sys.executable, "-c", BARE, str(bench.broker.port), str(qos), str(readings_n)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        began_s = bench.flood("bench/readings", readings_n, qos)
        bench.done.wait(120)
        rate = readings_n / (time.perf_counter() - began_s)
        process.wait(10)
    return Rate(rate)


def handled(bench: Bench, process: subprocess.Popen, readings_n: int, qos: int) -> Rate:
    """What the engine's process takes in, judges, journals and tells."""
    bench.status = {}
    used_s = processor_s(process)
    began_s = bench.flood(LIFTER + "readings", readings_n, qos)
    with bench.told:
        bench.told.wait_for(lambda: sum(bench.status.get("counts", {}).values()) >= readings_n, 300)
    took_s, used_s = time.perf_counter() - began_s, processor_s(process) - used_s
    return Rate(readings_n / took_s, readings_n / used_s)
