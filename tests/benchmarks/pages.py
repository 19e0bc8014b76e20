"""Weight and speed of the live pages: ``python -m tests.benchmarks.pages [weight] [usable] [latency] [silence] [viewers]``.

Wanted: landing page at most 120 kB and usable within 2 s, ground screen 300 kB and 3 s, both at 1.5 Mbit/s with a CPU four
times slower; from a published reading to the changed page at most 120 ms (95 %) with 10 viewers; a sender's silence on the
page within 3.5 s; 100 viewers at 4 updates a second with less than a fifth of a core. First loads are of a lifter with six
circuits. Everything, the viewers' browsers too, runs on this one machine, so each figure stands beside the load of the minute
before: judge by those of a quiet machine (below 2).
"""

import asyncio
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from playwright.sync_api import Browser, Page

from tests.page.conftest import window
from tests.page.serving import PHONE, WIDE, Served, chromium, engine, serve, wait_ready
from tests.page.statuses import status, with_circuits

WARM_UP_N = 10
"""Readings left out at the start: pages still load, programs still read their modules."""

PAGES = {"/": WIDE, "/landing?lifter=dock-6": PHONE}
SLOW = {"offline": False, "latency": 40, "downloadThroughput": 1.5e6 / 8, "uploadThroughput": 1.5e6 / 8}


def first_load(browser: Browser, url: str, size: tuple[int, int], *, slow: bool) -> tuple[float, int]:
    """Seconds from asking to the first call shown, and bytes over the wire until then."""
    with window(browser, size) as context:
        page = context.new_page()
        session = context.new_cdp_session(page)
        taken = [0.0]
        session.on("Network.loadingFinished", lambda event: taken.append(event["encodedDataLength"]))
        session.send("Network.enable")
        session.send("Network.setCacheDisabled", {"cacheDisabled": True})
        if slow:
            session.send("Network.emulateNetworkConditions", SLOW)
            session.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        began_s = time.monotonic()
        page.goto(url, wait_until="commit")
        page.wait_for_function("() => document.body?.dataset.call && document.body.dataset.call !== 'no_signal'")
        took_s = time.monotonic() - began_s
        page.wait_for_timeout(500)
        return took_s, int(sum(taken))


def weight_and_usable(*, slow: bool) -> None:
    """First loads of both live pages, three of each."""
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        fake = engine(Path(folder), with_circuits(status("land_soon"), 6))
        try:
            with serve(Path(folder)) as served:
                wait_ready(served, "/")
                for path, size in PAGES.items():
                    load = _load()
                    runs = sorted(first_load(browser, served.url + path, size, slow=slow) for _ in range(5))
                    how = "1.5 Mbit/s, CPU slowed 4 times" if slow else "no limits"
                    took = f"{runs[2][0]:.2f} s (median of 5, longest {runs[-1][0]:.2f})"
                    print(f"{path}: usable after {took}, {runs[2][1] / 1000:.0f} kB, {how}; {load}")
        finally:
            fake.stop()


def _load() -> str:
    return f"load {os.getloadavg()[0]:.1f}"


NUMBER_SEEN = """() => {
  window.seen = {};
  new MutationObserver(() => {
    const words = document.querySelector(".lane-number")?.textContent;
    if (words && !(words in window.seen)) window.seen[words] = Date.now();
  }).observe(document.body, { childList: true, characterData: true, subtree: true });
}"""


SITE = """site = "quayside"
[broker]
embedded = true
listen = "127.0.0.1:0"
[pages]
listen = "127.0.0.1:0"
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52.0
"""


@contextmanager
def _running() -> Iterator[tuple[str, mqtt.Client]]:
    """The whole program: the ground screen's address, and a client at its broker."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "site.toml"
        file.write_text(SITE)
        command = [sys.executable, "-m", "monitor", "run", "--site", str(file), "--data", folder]
        program = subprocess.Popen(
            [*command, "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        try:
            assert program.stdout is not None
            said = {}
            for line in program.stdout:
                name, _, address = line.strip().partition(" ")
                said[name] = address
                if name == "ready":
                    break
            host, port = said["broker"].removeprefix("mqtt://").split(":")
            client.connect(host, int(port))
            client.loop_start()
            yield said["ground"], client
        finally:
            client.loop_stop()
            program.send_signal(signal.SIGTERM)
            program.wait(20)


def _publish(client: mqtt.Client, seq: int, vacuum_kpa: float) -> None:
    reading = {"time": time.time(), "seq": seq, "circuits": {"A": {"vacuum_kpa": vacuum_kpa}}, "load_kg": 0.0}
    client.publish("holdwatch/quayside/dock-6/readings", json.dumps(reading), qos=1)


def latency(viewers_n: int = 10, readings_n: int = 60) -> None:
    """From publishing a reading over MQTT through broker, engine and pages to the number in each of the viewers' pages."""
    with _running() as (ground, client), chromium() as browser, window(browser, WIDE) as context:
        pages = [context.new_page() for _ in range(viewers_n)]
        for page in pages:
            page.goto(ground)
            page.wait_for_selector(".lane-number", state="attached")
            page.evaluate(NUMBER_SEEN)
        pages[0].wait_for_timeout(3000)
        load = _load()
        print(f"{_told(client, pages, readings_n)}; {load}")


def silence(times_n: int = 5) -> None:
    """From a sender's last reading (ten a second) to the page that says so: rule 1's 3 s, and half a second more."""
    with _running() as (ground, client), chromium() as browser, window(browser, WIDE) as context:
        page = context.new_page()
        page.goto(ground)
        took_s, seq, load = [], 0, _load()
        for _ in range(times_n):
            for _ in range(40):
                _publish(client, seq, 60.0 + seq % 7 / 10)
                last_s, seq = time.monotonic(), seq + 1
                page.wait_for_timeout(100)
            page.wait_for_selector(".lane[data-state=no_reading]", timeout=10_000)
            took_s.append(time.monotonic() - last_s)
        print(
            f"last reading to 'no reading' on the page: longest {max(took_s):.2f} s of {times_n} (3.5 wanted); {load}"
        )


def _told(client: mqtt.Client, pages: list[Page], readings_n: int) -> str:
    sent = {}
    for i in range(readings_n):
        vacuum_kpa = 60.0 + i / 10
        if i >= WARM_UP_N:
            sent[f"{vacuum_kpa:.1f}"] = time.time() * 1000
        _publish(client, i, vacuum_kpa)
        pages[0].wait_for_timeout(300)
    took: list[float] = []
    for page in pages:
        seen = page.evaluate("() => window.seen")
        took += [at_ms - sent[words] for words, at_ms in seen.items() if words in sent]
    took.sort()
    p50, p95 = (took[int(len(took) * share)] for share in (0.5, 0.95))
    return f"published reading to page, {len(pages)} viewers, {len(took)} changes: p50 {p50:.0f} ms, p95 {p95:.0f} ms"


async def _view(host: str, port: int, until_s: float) -> int:
    reader, writer = await asyncio.open_connection(host, port)
    number, replies_n = "", 0
    while time.monotonic() < until_s:
        query = f"/api/live?page=landing&lifter=dock-6&nonce=a&number={number}&since=9999999999"
        writer.write(f"GET {query} HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        head = await reader.readuntil(b"\r\n\r\n")
        length = int(head.lower().split(b"content-length:")[1].split(b"\r\n")[0])
        said = json.loads(await reader.readexactly(length))
        number = said.get("number", number)
        replies_n += 1
    writer.close()
    return replies_n


def viewers(viewers_n: int = 100, for_s: float = 20.0) -> None:
    """Core share of the pages' process with many viewers at four updates a second."""
    with tempfile.TemporaryDirectory() as folder:
        fake = engine(Path(folder), status("land_soon"), every_s=0.25)
        try:
            with serve(Path(folder)) as served:
                wait_ready(served)
                asyncio.run(_measured(served, viewers_n, for_s))
        finally:
            fake.stop()


async def _measured(served: Served, viewers_n: int, for_s: float) -> None:
    host, port = served.url.removeprefix("http://").split(":")
    until_s = time.monotonic() + for_s + 2
    viewing = [asyncio.create_task(_view(host, int(port), until_s)) for _ in range(viewers_n)]
    await asyncio.sleep(2)
    load, before_s, began_s = _load(), _cpu_s(served.process.pid), time.monotonic()
    await asyncio.sleep(for_s - 1)
    share = (_cpu_s(served.process.pid) - before_s) / (time.monotonic() - began_s)
    replies: list[Any] = await asyncio.gather(*viewing)
    often = sum(replies) / (for_s + 2) / viewers_n
    print(f"{viewers_n} viewers, {often:.1f} replies a second each: {share:.2f} of a core; {load}")


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


PARTS = {
    "weight": lambda: weight_and_usable(slow=False),
    "usable": lambda: weight_and_usable(slow=True),
    "latency": latency,
    "silence": silence,
    "viewers": viewers,
}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
