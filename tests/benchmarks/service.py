"""Readings a second, fully handled (decoded, judged, journalled, told), against a bare subscriber on the same broker.

    python -m tests.benchmarks.service [--readings 6000] [--qos 1]

Both are processes of their own on a real Mosquitto over loopback, fed the same messages as fast as one publisher sends.
Also prints the delay from a reading to its status at a busy site's pace. Nothing here fails.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as paho

from tests.brokers import ROOT, Broker, mosquitto

LIFTER = "holdwatch/quayside/dock-7/"
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


def bare(bench: Bench, readings_n: int, qos: int) -> float:
    command = [sys.executable, "-c", BARE, str(bench.broker.port), str(qos), str(readings_n)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        began_s = bench.flood("bench/readings", readings_n, qos)
        bench.done.wait(120)
        rate = readings_n / (time.perf_counter() - began_s)
        process.wait(10)
    print(f"{'bare subscriber that counts':<44}{rate:>10,.0f} a second", flush=True)
    return rate


def handled(bench: Bench, process: subprocess.Popen, readings_n: int, qos: int) -> float:
    used_s = processor_s(process)
    began_s = bench.flood(LIFTER + "readings", readings_n, qos)
    with bench.told:
        bench.told.wait_for(lambda: sum(bench.status.get("counts", {}).values()) >= readings_n, 300)
    took_s, used_s = time.perf_counter() - began_s, processor_s(process) - used_s
    print(f"{'fully handled, four circuits':<44}{readings_n / took_s:>10,.0f} a second")
    print(f"{'the same for each second of processor time':<44}{readings_n / used_s:>10,.0f}")
    return readings_n / took_s


def delays(bench: Bench, readings_n: int, from_seq: int) -> None:
    """Five readings a second, each with its status."""
    took_ms = []
    for seq in range(from_seq, from_seq + readings_n):
        sent_s = round(time.time() + 1000.0, 3)  # a clock of its own, after the flood's
        began_s = time.perf_counter()
        bench.publisher.publish(LIFTER + "readings", message(seq, sent_s), qos=1)
        with bench.told:
            bench.told.wait_for(lambda sent_s=sent_s: bench.status.get("reading_time") == sent_s, 5)
        took_ms.append(1000 * (time.perf_counter() - began_s))
        time.sleep(0.21)
    took_ms.sort()
    p50, p95 = took_ms[len(took_ms) // 2], took_ms[int(0.95 * len(took_ms))]
    print(
        f"{'from reading to status at five a second':<44}p50 {p50:.1f} ms, p95 {p95:.1f} ms, most {took_ms[-1]:.1f} ms"
    )


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("--readings", type=int, default=6000)
    given.add_argument("--qos", type=int, default=1)
    said = given.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        broker = mosquitto(Path(folder), "max_queued_messages 0", "max_inflight_messages 0")
        broker.start()
        bench = Bench(broker)
        command = [sys.executable, "-m", "monitor.service", "--site", "configs/example-four-circuits.toml"]
        command += ["--data", f"{folder}/data", "--broker-url", broker.url]
        try:
            alone = bare(bench, said.readings, said.qos)
            with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
                assert process.stdout is not None
                process.stdout.readline()
                rate = handled(bench, process, said.readings, said.qos)
                print(f"{'as a share of the bare subscriber':<44}{rate / alone:>10.2f}")
                delays(bench, 50, said.readings)
                process.terminate()
        finally:
            bench.close()
            broker.kill()


if __name__ == "__main__":
    main()
