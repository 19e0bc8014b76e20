"""A busy site for a long time: ``python -m tests.benchmarks.soak [--minutes 60] [--every-s 60] [--replayed-hours 8]``.

Ten lifters of six circuits lift one panel after another, ten readings a second each, and twenty pages look on, all of it
the real program on a real Mosquitto. Wanted: memory, open files and the delay to the status stay flat. One row for each
``--every-s``; then the change over the second half, where all is warm. ``--replayed-hours`` plays the same messages through
decoder and engine as fast as they go instead, on the messages' own clock, to the real pages' process with its twenty
viewers, but without broker and store. Nothing here fails.
"""

import argparse
import http.client
import json
import multiprocessing
import os
import re
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import linear_regression, median
from typing import Any, Final

import paho.mqtt.client as paho

from monitor.channel import ChannelServer
from monitor.clock import monotonic_s
from monitor.core.engine import begin
from monitor.core.events import ClockSet, LiftClosed, ReadingCame, Told
from monitor.core.readings import Reading
from monitor.drive import Drive
from monitor.service import site_told
from monitor.settings.site import read_site
from monitor.telling import Telling
from monitor.wire.reading_json import decode_reading
from monitor.wire.topics import Topics
from tests.benchmarks.speed import Ear, Eye, covered_ms, resident_kb, site_text
from tests.brokers import Broker, mosquitto
from tests.page.serving import serve
from tests.system.program import Program

LIFTERS_N: Final = 10
CIRCUITS_N: Final = 6
RATE_HZ: Final = 10
VIEWERS_N: Final = 20
OFFERED_EVERY_N: Final = RATE_HZ * LIFTERS_N
"""Readings replayed from one look of the pages to the next: a second of the site."""
NUMBER: Final = re.compile(rb'"number": ?"?([^",}]+)')
LIFT_S: Final = 300.0
"""From one panel to the next: 30 s attached, 200 s in the air, 70 s with every circuit open."""


def message(seq: int, utc_s: float) -> bytes:
    """A lifter's reading at its place in a lift; the pumps cycle and every circuit leaks a little."""
    at_s = seq / RATE_HZ % LIFT_S
    attached, in_the_air = at_s < 230.0, 30.0 <= at_s < 220.0
    pumped_s = at_s % 40.0
    vacuum_kpa = (64.0 + (pumped_s if pumped_s < 4.0 else 4.0 - (pumped_s - 4.0) / 9.0)) if attached else 0.1
    pump = "on" if attached and pumped_s < 4.0 else "off"
    circuits = {
        f"C{n}": {"vacuum_kpa": round(vacuum_kpa + 0.03 * ((seq + n) % 3), 2), "pump": pump} for n in range(CIRCUITS_N)
    }
    said: dict[str, Any] = {"time": utc_s, "seq": seq, "boot": "7f3a", "circuits": circuits, "tilt_deg": 90.0}
    said |= {"load_kg": 500.0 if in_the_air else 0.0, "height_m": 12.0 if in_the_air else 0.0, "ambient_kpa": 101.1}
    return json.dumps(said | {"temperature_c": 14.2, "battery_v": 24.9, "wind_m_s": 3.0}).encode()


def of_the_site(sent_n: int, utc_s: float) -> tuple[str, bytes]:
    """The lifter whose turn it is, and its reading; each lifter is at another place in its lift."""
    seq, n = divmod(sent_n, LIFTERS_N)
    return f"dock-{n}", message(seq + int(n * LIFT_S * RATE_HZ / LIFTERS_N), utc_s)


class Sender(threading.Thread):
    """Readings of every lifter in turn, each at its time."""

    def __init__(self, broker: Broker) -> None:
        super().__init__(daemon=True)
        self.sent: dict[str, list[tuple[float, float]]] = {f"dock-{n}": [] for n in range(LIFTERS_N)}
        self.sent_n = 0
        self.over = threading.Event()
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()

    def run(self) -> None:
        began_s, rate = time.monotonic(), RATE_HZ * LIFTERS_N
        while not self.over.is_set():
            time.sleep(max(0.0, began_s + self.sent_n / rate - time.monotonic()))
            at_s, utc_s = time.monotonic(), round(time.time(), 3)
            lifter, payload = of_the_site(self.sent_n, utc_s)
            self.client.publish(f"holdwatch/quayside/{lifter}/readings", payload, qos=1)
            self.sent[lifter].append((at_s, utc_s))
            self.sent_n += 1
        self.client.disconnect()
        self.client.loop_stop()


def used(pids: Sequence[int]) -> tuple[float, int]:
    """Resident memory of these processes, MB, and their open files."""
    memory_kb = sum(int(Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()[0]) for pid in pids)
    return memory_kb / 1024, sum(len(list(Path(f"/proc/{pid}/fd").iterdir())) for pid in pids)


def soak(minutes: float, every_s: float) -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        broker = mosquitto(Path(folder), "max_queued_messages 0", "max_inflight_messages 0")
        broker.start()
        site = Path(folder) / "quayside.toml"
        site.write_text(site_text(LIFTERS_N, CIRCUITS_N, broker.url))
        with Program("run", "--site", site, "--data", Path(folder) / "data") as program:
            url = program.until_ready(60)["ground"]
            ear, sender = Ear(broker), Sender(broker)
            eyes = [Eye(url, f"dock-{n % LIFTERS_N}") for n in range(VIEWERS_N)]
            for thread in (*eyes, sender):
                thread.start()
            print("| minute | readings | memory, MB | open files | to status p50, ms | p95, ms | load |")
            print("| --- | --- | --- | --- | --- | --- | --- |", flush=True)
            rows: list[tuple[float, float, int, float]] = []
            began_s = time.monotonic()
            while time.monotonic() - began_s < 60 * minutes:
                time.sleep(every_s)
                took_ms = sorted(_taken(sender, ear))
                minute, (memory_mb, files_n) = (
                    (time.monotonic() - began_s) / 60,
                    used([program.process.pid, *program.pids()]),
                )
                rows.append((minute, memory_mb, files_n, median(took_ms)))
                p95 = took_ms[int(0.95 * len(took_ms))]
                said = f"{minute:.0f} | {sender.sent_n} | {memory_mb:.1f} | {files_n} | {rows[-1][3]:.0f} | {p95:.0f}"
                print(f"| {said} | {os.getloadavg()[0]:.1f} |", flush=True)
            for thread in (*eyes, sender):
                thread.over.set()
            sender.join(5)
            ear.close()
            program.end(signal.SIGTERM)
            print(f"\nviewers still looking at the end: {sum(bool(eye.seen) for eye in eyes)} of {VIEWERS_N}")
        broker.kill()
    _slopes(rows, ("MB", "open files", "ms to the status"))


def replayed(hours: float) -> None:
    """Decoder, engine and pages on the site's own clock: what they keep of hours, and whether a reading costs more then."""
    site = read_site(site_text(LIFTERS_N, CIRCUITS_N), name="made")
    telling = Telling(Topics(site.root, site.site), site.core.lifters, lambda *_: None)
    made = Drive(begin(site.core, version="bench"), 0.0)
    made.take(ClockSet(began_utc_s := time.time()))
    hello = {"type": "hello", "site": site_told(site), "history": {}}
    heads = (
        "hour of the site",
        "readings",
        "lifts closed",
        "processor a reading, µs",
        "memory, MB",
        "of the pages, MB",
    )
    heads += ("open files of the pages", "answers to viewers")
    with tempfile.TemporaryDirectory() as folder:
        channel = ChannelServer(Path(folder), hello=lambda: hello, on_action=lambda *_: None)
        channel.start()
        with serve(Path(folder)) as served:
            answers_n, over = multiprocessing.Value("q", 0), multiprocessing.Event()
            viewers = multiprocessing.Process(target=_look_on, args=(served.url, answers_n, over))
            print(f"| {' | '.join(heads)} |\n|{' --- |' * len(heads)}", flush=True)
            rows: list[tuple[float, ...]] = []
            closed_n, part_n = 0, round(600 * RATE_HZ * LIFTERS_N)
            for part in range(round(6 * hours)):
                used_s = time.process_time()
                for sent_n in range(part * part_n, (part + 1) * part_n):
                    now_s = sent_n // LIFTERS_N / RATE_HZ
                    effects = [one for _, done in made.advance(now_s) for one in done]
                    lifter, payload = of_the_site(sent_n, began_utc_s + now_s)
                    said = decode_reading(payload, lifter=lifter)
                    assert isinstance(said, Reading)
                    effects += made.take(ReadingCame(said))
                    for one in effects:
                        if isinstance(one, Told):
                            telling.take(one.status, now_s, changed=one.changed, news=True)
                    closed_n += sum(isinstance(one, LiftClosed) for one in effects)
                    if sent_n % OFFERED_EVERY_N == 0:
                        channel.offer(_snapshot(telling, began_utc_s + now_s))
                    if sent_n == OFFERED_EVERY_N:
                        viewers.start()
                cost_us = 1e6 * (time.process_time() - used_s) / part_n
                pages_mb, files_n = used([served.process.pid])
                rows.append(((part + 1) * 10, resident_kb() / 1024, pages_mb, files_n, cost_us))
                cells = f"{(part + 1) / 6:.1f} | {(part + 1) * part_n} | {closed_n} | {cost_us:.0f} | {rows[-1][1]:.1f}"
                print(f"| {cells} | {pages_mb:.1f} | {files_n} | {answers_n.value} |", flush=True)
            over.set()
            viewers.join()
        channel.stop()
    _slopes(rows, ("MB", "MB of the pages", "open files of the pages", "µs a reading"))


def _look_on(url: str, answers_n: Any, over: Any) -> None:
    """Twenty viewers in a process of their own, so that the engine's figures are its own."""
    eyes = [threading.Thread(target=_look, args=(url, n, answers_n, over)) for n in range(VIEWERS_N)]
    for eye in eyes:
        eye.start()
    over.wait()
    print(f"\nviewers still looking at the end: {sum(eye.is_alive() for eye in eyes)} of {VIEWERS_N}", flush=True)


def _look(url: str, n: int, answers_n: Any, over: Any) -> None:
    """One ground screen that asks for the next news once it has the last, and spends no time on reading it."""
    link = http.client.HTTPConnection(url.removeprefix("http://"), timeout=30)
    number = ""
    while not over.is_set():
        about = f"lifter=dock-{n % LIFTERS_N}&nonce=a&number={number}&since=9999999999"
        link.request("GET", f"/api/live?page=ground&{about}")
        answer = link.getresponse()
        if found := NUMBER.search(answer.read()):
            number = found[1].decode()
        with answers_n.get_lock():
            answers_n.value += answer.status == http.HTTPStatus.OK
    link.close()


def _snapshot(telling: Telling, at_utc_s: float) -> dict[str, Any]:
    said = {"type": "snapshot", "utc_s": at_utc_s, "monotonic_s": monotonic_s(), "faults_n": 0, "store": {}}
    link = {"broker": "up", "since_utc_s": 0.0, "dropped_n": 0}
    return said | {"link": link, "lifters": telling.statuses(at_utc_s)}


def _slopes(rows: Sequence[tuple[float, ...]], names: Sequence[str]) -> None:
    """How each figure changes an hour over the second half; a row is its minute and the figures."""
    half = rows[len(rows) // 2 :]
    for n, what in enumerate(names if len(half) > 1 else (), 1):
        slope = linear_regression([one[0] for one in half], [one[n] for one in half]).slope
        print(f"change an hour over the second half: {60 * slope:+.1f} {what}")


def _taken(sender: Sender, ear: Ear) -> list[float]:
    """Delays since the last time of asking; what is counted is let go of."""
    took_ms: list[float] = []
    for lifter, sent in sender.sent.items():
        heard = ear.heard.get(lifter, [])[:]
        del ear.heard.get(lifter, [])[: len(heard)]
        last_utc_s = heard[-1][1] if heard else 0.0
        covered = [one for one in sent[:] if one[1] <= last_utc_s]
        took_ms += covered_ms(covered, heard)
        del sent[: len(covered)]
    return took_ms or [float("nan")]


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("--minutes", type=float, default=60.0)
    given.add_argument("--every-s", type=float, default=60.0)
    given.add_argument("--replayed-hours", type=float)
    said = given.parse_args()
    if said.replayed_hours:
        replayed(said.replayed_hours)
        return
    soak(said.minutes, said.every_s)


if __name__ == "__main__":
    sys.exit(main())
