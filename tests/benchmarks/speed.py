"""How fast all of it is, as one table: ``python -m tests.benchmarks.speed [handled] [latency] [start] [growth] [replay] ...``.

Real processes on a real Mosquitto over loopback; growth is the pure core in this process. Every figure stands beside the
load of the minute before, and ratios come from one run. ``--profile`` prints where the core's time goes instead.
The live pages have their own table: ``python -m tests.benchmarks.pages``. Nothing here fails.
"""

import argparse
import cProfile
import gc
import http.client
import json
import math
import os
import platform
import pstats
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from monitor.cli.main import main as holdwatch
from monitor.core.engine import begin
from monitor.core.events import ClockSet, ReadingCame
from monitor.core.readings import CircuitReading, Pump, Reading
from monitor.drive import Drive
from monitor.replay import replay
from monitor.settings.site import read_site
from monitor.wire.recording import read_recording, write_line
from tests.benchmarks.service import SERVICE, Bench, bare, handled
from tests.brokers import ROOT, Broker, mosquitto
from tests.system.program import Program, get

MARKS_N = 75
"""Values of the wind that tell a page's news apart: 0.0 to 7.4 m/s."""
HISTORY = {"1 month": 110, "1 year": 1_300, "10 years": 13_000}
"""Finished lifts of one lifter at five a working day."""


def row(what: str, figure: str, note: str = "") -> None:
    print(f"| {what} | {figure} | {note} | {os.getloadavg()[0]:.1f} |", flush=True)


def site_text(lifters_n: int, circuits_n: int, broker: str = "mqtt://127.0.0.1:1883") -> str:
    """A site of invented lifters, each with two pads a circuit on opposite sides."""
    parts = [f'site = "quayside"\n[broker]\nurl = "{broker}"\n[pages]\nlisten = "127.0.0.1:0"\n']
    for lifter_n in range(lifters_n):
        parts.append(f'[[lifter]]\nid = "dock-{lifter_n}"\nbasis = "asme-bth-1"\nwll_kg = 900\n')
        names = [f"C{n}" for n in range(circuits_n)]
        parts += [f"[lifter.circuits.{name}]\nwarning_kpa = 52\nvolume_l = 14\n" for name in names]
        for n, name in enumerate(names):
            x_mm = 400 * (n + 1)
            for pad, side in ((f"{name}a", 1), (f"{name}b", -1)):
                place = f"x_mm = {side * x_mm}, y_mm = {side * 300}, area_cm2 = 1150"
                parts.append(f'[lifter.pads.{pad}]\ncircuit = "{name}"\n{place.replace(", ", chr(10))}\n')
    return "".join(parts)


def message(seq: int, at_s: float, mark_n: int) -> bytes:
    """A reading of two circuits that hold, its wind the mark."""
    circuits = {name: {"vacuum_kpa": 66.0 + 0.05 * (seq % 7), "pump": "off"} for name in ("C0", "C1")}
    said: dict[str, Any] = {"time": at_s, "seq": seq, "boot": "7f3a", "circuits": circuits, "load_kg": 500.0}
    said |= {"tilt_deg": 90.0, "rotation_deg": 0.0, "height_m": 12.0, "ambient_kpa": 101.1, "temperature_c": 14.2}
    return json.dumps(said | {"battery_v": 24.9, "wind_m_s": mark_n / 10, "release_valve": "closed"}).encode()


@contextmanager
def on_mosquitto() -> Iterator[tuple[Path, Broker]]:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        broker = mosquitto(Path(folder), "max_queued_messages 0", "max_inflight_messages 0")
        broker.start()
        try:
            yield Path(folder), broker
        finally:
            broker.kill()


def of_a_bare_subscriber() -> None:
    """Readings fully handled, as a share of what a subscriber that only counts takes from the same broker."""
    with on_mosquitto() as (folder, broker):
        bench = Bench(broker)
        try:
            for qos in (0, 1):
                command = [*SERVICE, "--data", f"{folder}/data-{qos}", "--broker-url", broker.url]
                alone = bare(bench, 6000, qos)
                with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
                    assert process.stdout is not None
                    process.stdout.readline()
                    done = handled(bench, process, 6000, qos)
                    process.terminate()
                row(f"bare subscriber, QoS {qos}", f"{alone.rate:,.0f} readings/s")
                note = (
                    f"{done.rate / alone.rate:.2f} of the bare subscriber; {done.per_core:,.0f} a second of processor"
                )
                row(f"fully handled, 4 circuits, QoS {qos}", f"{done.rate:,.0f} readings/s", note)
        finally:
            bench.close()


class Ear:
    """When the status of each lifter covered which reading: arrivals on the monotonic clock."""

    def __init__(self, broker: Broker) -> None:
        self.heard: dict[str, list[tuple[float, float]]] = {}
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self.client.on_message = self._heard
        self.client.connect("127.0.0.1", broker.port)
        self.client.subscribe("holdwatch/quayside/+/status", 1)
        self.client.loop_start()

    def _heard(self, _client: object, _data: object, came: paho.MQTTMessage) -> None:
        at_s = time.monotonic()
        status = json.loads(came.payload)
        if status["reading_time"] is not None:
            self.heard.setdefault(status["lifter"], []).append((at_s, status["reading_time"]))

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


class Eye(threading.Thread):
    """What a ground screen is sent: the wind it may show, and when."""

    def __init__(self, url: str, lifter: str) -> None:
        super().__init__(daemon=True)
        self.seen: list[tuple[float, int]] = []
        self.over = threading.Event()
        self._place, self._lifter = url.removeprefix("http://").rstrip("/"), lifter

    def run(self) -> None:
        link = http.client.HTTPConnection(self._place, timeout=5)
        number, last = "", -1
        while not self.over.is_set():
            link.request("GET", f"/api/live?page=ground&lifter={self._lifter}&nonce=a&number={number}&since=9999999999")
            said = json.loads(link.getresponse().read())
            at_s = time.monotonic()
            number = said.get("number", number)
            facts = ((said.get("view") or {}).get("one") or {}).get("facts", [])
            words = next((fact["value"] for fact in facts if fact["key"] == "fact.wind"), None)
            if words is not None and (mark := round(10 * float(words.split()[0]))) != last:
                last = mark
                self.seen.append((at_s, mark))
        link.close()


def covered_ms(sent: list[tuple[float, float]], heard: list[tuple[float, float]]) -> list[float]:
    """For each thing sent (when, key; keys rise): until the first news at least as new."""
    took, n = [], 0
    for at_s, key in heard:
        while n < len(sent) and sent[n][1] <= key:
            took.append(1000 * (at_s - sent[n][0]))
            n += 1
    return took


def quantiles(took_ms: list[float]) -> str:
    took_ms = sorted(took_ms)
    picked = [took_ms[min(len(took_ms) - 1, int(share * len(took_ms)))] for share in (0.5, 0.95, 0.999)]
    return "p50 {:.0f} ms, p95 {:.0f} ms, p99.9 {:.0f} ms".format(*picked)


def latency(rate: int, for_s: float = 30.0) -> None:
    """From publishing a reading to a status, and to a page's news, that are at least as new."""
    lifters_n = 1 if rate <= 10 else 10
    per_lifter = rate // lifters_n
    with on_mosquitto() as (folder, broker):
        site = folder / "quayside.toml"
        site.write_text(site_text(lifters_n, 2, broker.url))
        with Program("run", "--site", site, "--data", folder / "data") as program:
            url = program.until_ready()["ground"]
            ear, eye = Ear(broker), Eye(url, "dock-0")
            client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
            client.connect("127.0.0.1", broker.port)
            client.loop_start()
            eye.start()
            sent: dict[str, list[tuple[float, float]]] = {f"dock-{n}": [] for n in range(lifters_n)}
            marks: list[tuple[float, int]] = []
            began_s = time.monotonic()
            for n in range(int(rate * for_s)):
                time.sleep(max(0.0, began_s + n / rate - time.monotonic()))
                seq, lifter = n // lifters_n, f"dock-{n % lifters_n}"
                mark = seq * 10 // per_lifter % MARKS_N
                at_s, utc_s = time.monotonic(), round(time.time(), 4)
                client.publish(f"holdwatch/quayside/{lifter}/readings", message(seq, utc_s, mark), qos=1)
                sent[lifter].append((at_s, utc_s))
                if lifter == "dock-0" and (not marks or marks[-1][1] != mark):
                    marks.append((at_s, mark))
            time.sleep(2.0)
            eye.over.set()
            eye.join(5)
            ear.close()
            client.disconnect()
            client.loop_stop()
            program.end(signal.SIGTERM)
    late = 2.0  # the first seconds are the program's warming up
    to_status = [
        ms
        for lifter, said in sent.items()
        for ms in covered_ms([one for one in said if one[0] > began_s + late], ear.heard.get(lifter, []))
    ]
    risen = [(at_s, float(n)) for n, (at_s, _) in enumerate(marks)]
    seen, n = [], 0
    for at_s, mark in eye.seen:
        ahead = next((k for k in range(n, min(len(marks), n + MARKS_N)) if marks[k][1] == mark), None)
        if ahead is not None and marks[ahead][0] <= at_s:
            n = ahead
            seen.append((at_s, float(n)))
    to_page = covered_ms([one for one in risen if one[0] > began_s + late], seen)
    who = f"{rate} readings/s, {lifters_n} lifter{'s' if lifters_n > 1 else ''}"
    row(
        f"published to status, {who}", quantiles(to_status), f"{len(to_status)} readings; at most 5 statuses/s a lifter"
    )
    row(f"published to page's news, {who}", quantiles(to_page), f"{len(to_page)} readings; 10 different ones a second")


def start() -> None:
    """From the command to the pages ready, and to the first status of a reading that is being sent."""
    with on_mosquitto() as (folder, broker):
        site = folder / "quayside.toml"
        site.write_text(site_text(1, 2, broker.url))
        ear = Ear(broker)
        client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        over = threading.Event()

        def send() -> None:
            seq = 0
            while not over.wait(0.05):
                client.publish("holdwatch/quayside/dock-0/readings", message(seq, round(time.time(), 3), 1), qos=0)
                seq += 1

        sender = threading.Thread(target=send)
        sender.start()
        began_s = time.monotonic()
        with Program("run", "--site", site, "--data", folder / "data") as program:
            url = program.until_ready()["ground"]
            ready_s = time.monotonic() - began_s
            while (get(url + "api/status") or {"lifters": [{"reading_time": None}]})["lifters"][0][
                "reading_time"
            ] is None:
                time.sleep(0.02)
            live_s = time.monotonic() - began_s
            over.set()
            sender.join()
            program.end(signal.SIGTERM)
        status_s = ear.heard["dock-0"][0][0] - began_s
        ear.close()
        client.loop_stop()
    row("start to first status", f"{status_s:.1f} s", "engine connected, first reading judged")
    row("start to pages ready", f"{ready_s:.1f} s")
    row("start to first live reading on the pages", f"{live_s:.1f} s")


def drive(lifters_n: int, circuits_n: int) -> Drive:
    site = read_site(site_text(lifters_n, circuits_n), name="made")
    made = Drive(begin(site.core, version="bench"), 0.0)
    made.take(ClockSet(1.7e9))
    return made


def play(made: Drive, readings_n: int, circuits_n: int, from_n: int = 0) -> float:
    """Readings of the site's lifters in turn, ten a second each in the air; processor seconds a reading."""
    names = list(made.state.lifters)
    began_s = time.process_time()
    for n in range(from_n, from_n + readings_n):
        seq, lifter = divmod(n, len(names))
        circuits = {f"C{k}": CircuitReading(66.0 + 0.05 * ((seq + k) % 7), pump=Pump.OFF) for k in range(circuits_n)}
        load_kg = 0.0 if seq < 20 else 500.0
        list(made.advance(seq / 10.0))
        said = Reading(names[lifter], circuits, load_kg=load_kg, tilt_deg=90.0, height_m=12.0, seq=seq, boot="a")
        made.take(ReadingCame(said))
    return (time.process_time() - began_s) / readings_n


def exponent(points: dict[int, float]) -> float:
    """Slope between the ends in logarithms: 0 does not grow, 1 grows in proportion."""
    (low, at_low), *_, (high, at_high) = points.items()
    return math.log(at_high / at_low) / math.log(high / low)


def resident_kb() -> float:
    return int(Path("/proc/self/status").read_text().split("VmRSS:")[1].split()[0])


def growth() -> None:
    """Processor and memory of the core with more lifters and more circuits."""
    for what, ways in (("lifters", (1, 10, 100)), ("circuits", (2, 4, 8, 16))):
        cost_s: dict[int, float] = {}
        for n in ways:
            lifters_n, circuits_n = (n, 2) if what == "lifters" else (1, n)
            made = drive(lifters_n, circuits_n)
            warm_n = 50 * lifters_n
            play(made, warm_n, circuits_n)
            cost_s[n] = play(made, max(1000, 20 * lifters_n), circuits_n, warm_n)
        said = ", ".join(f"{n}: {1e6 * cost:,.0f} µs" for n, cost in cost_s.items())
        row(f"core, a reading with {what}", said, f"exponent {exponent(cost_s):.2f}")
    gc.collect()
    before_kb = resident_kb()
    made = drive(100, 4)
    play(made, 100 * 300, 4)
    gc.collect()
    row(
        "memory of a lifter of 4 circuits",
        f"{(resident_kb() - before_kb) / 100:,.0f} kB",
        "100 lifters, 300 readings each",
    )


def history() -> None:
    """Start of the engine and the last lifts of a lifter, with months and years kept."""
    cost: dict[str, dict[int, float]] = {"start": {}, "page": {}}
    for lifts_n in HISTORY.values():
        with on_mosquitto() as (folder, broker):
            data = folder / "data"
            with redirect_stderr(StringIO()):  # what it says of its invented site
                assert holdwatch(["history", "--data", str(data), "--lifts", str(lifts_n)]) == 0
            site = folder / "quayside.toml"
            site.write_text(site_text(1, 2, broker.url).replace("dock-0", "dock-6"))
            began_s = time.monotonic()
            with Program("run", "--site", site, "--data", data) as program:
                url = program.until_ready(60)["ground"]
                cost["start"][lifts_n] = time.monotonic() - began_s
                cost["page"][lifts_n] = min(_asked_s(f"{url}api/lifts?lifter=dock-6&limit=30") for _ in range(5))
                program.end(signal.SIGTERM)
    for key, what in (("start", "start with lifts kept"), ("page", "the last 30 lifts asked for")):
        said = ", ".join(f"{years}: {1000 * cost[key][n]:,.0f} ms" for years, n in HISTORY.items())
        row(what, said, f"exponent {exponent(cost[key]):.2f}")


def replayed(readings_n: int = 6000) -> None:
    """A recording of a lifter of four circuits in the air, ten readings a second, judged again by ``replay``."""
    site = read_site(site_text(1, 4), name="made")
    topic = "holdwatch/quayside/dock-0/readings"
    lines = []
    for seq in range(readings_n):
        circuits = {f"C{k}": {"vacuum_kpa": 66.0 + 0.05 * ((seq + k) % 7), "pump": "off"} for k in range(4)}
        said = {"time": 1.7e9 + seq / 10, "seq": seq, "boot": "7f3a", "circuits": circuits, "tilt_deg": 90.0}
        lines.append(write_line(topic, said | {"load_kg": 500.0 if seq > 20 else 0.0}, 1.7e9 + seq / 10))
    began_s = time.process_time()
    replay(read_recording(lines), site, status_out=BytesIO(), summary_out=BytesIO())
    took_s = time.process_time() - began_s
    note = f"{readings_n / 10 / took_s:.0f} times as fast as they came; every status written"
    row("replayed, 4 circuits", f"{readings_n / took_s:,.0f} readings/s of processor", note)


def _asked_s(url: str) -> float:
    began_s = time.monotonic()
    get(url)
    return time.monotonic() - began_s


def profile() -> None:
    """Where the core spends its time on a lifter of four circuits."""
    made = drive(1, 4)
    play(made, 500, 4)
    with cProfile.Profile() as watched:
        play(made, 2000, 4, 500)
    pstats.Stats(watched).sort_stats("tottime").print_stats(20)


PARTS: dict[str, Callable[[], None]] = {
    "handled": of_a_bare_subscriber,
    "latency": lambda: [latency(rate) for rate in (10, 100, 1000)] and None,
    "start": start,
    "growth": growth,
    "history": history,
    "replay": replayed,
}


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("part", nargs="*", help=", ".join(PARTS))
    given.add_argument("--profile", action="store_true")
    said = given.parse_args()
    if said.profile:
        profile()
        return
    cpu = Path("/proc/cpuinfo").read_text().partition("model name")[2].partition("\n")[0].strip("\t: ")
    print(f"{os.cpu_count()} cores ({cpu}), Python {platform.python_version()}, {time.strftime('%Y-%m-%d')}\n")
    print("| what | figure | beside it | load |\n| --- | --- | --- | --- |")
    for part in said.part or PARTS:
        PARTS[part]()


if __name__ == "__main__":
    sys.exit(main())
