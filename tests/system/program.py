"""The program ``holdwatch``, started as a person would, watched and ended."""

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
import uuid
from pathlib import Path
from typing import Any, Self

from tests.brokers import ROOT, Broker
from tests.tools import need

MARK = "HOLDWATCH_TEST_MARK"


class Program:
    """One run of ``holdwatch``, with the lines of its standard output and what it says on standard error."""

    def __init__(self, *arguments: str | Path) -> None:
        self.mark = uuid.uuid4().hex
        self.began_s = time.monotonic()
        self._said = tempfile.TemporaryFile("w+")  # noqa: SIM115 - closed in __exit__
        if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # so a shell begins what it runs in the background
            signal.signal(signal.SIGINT, signal.default_int_handler)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "monitor", *map(str, arguments)],
            cwd=ROOT,
            env=os.environ | {MARK: self.mark},
            stdout=subprocess.PIPE,
            stderr=self._said,
            text=True,
        )
        self._lines: queue.Queue[str] = queue.Queue()
        self._reading = threading.Thread(target=self._read, daemon=True)
        self._reading.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for pid in self.pids():
            os.kill(pid, signal.SIGKILL)
        self._reading.join(5)
        if self.process.stdout is not None:
            self.process.stdout.close()
        self._said.close()

    def said(self) -> str:
        self._said.seek(0)
        return self._said.read()

    def line(self, within_s: float = 10.0) -> str:
        """The next line of standard output."""
        return self._lines.get(timeout=within_s)

    def until_ready(self, within_s: float = 30.0) -> dict[str, str]:
        """The addresses it prints, by their first word, once it is ready; ``lines`` holds all of them in order."""
        lines: list[str] = []
        until = time.monotonic() + within_s
        while not lines or lines[-1] != "ready":
            if self.process.poll() is not None or time.monotonic() > until:
                raise AssertionError(f"not ready within {within_s} s; it said:\n{self.said()}")
            try:
                lines.append(self._lines.get(timeout=0.2))
            except queue.Empty:
                continue
        return {line.split(" ")[0]: line.rpartition(" ")[2] for line in lines} | {"lines": "\n".join(lines)}

    def pids(self, *words: str) -> list[int]:
        """Processes of this run that are still there, the program itself left out, whose command line has the words."""
        found = []
        for folder in Path("/proc").iterdir():
            if not folder.name.isdigit() or int(folder.name) == self.process.pid:
                continue
            try:
                environment = (folder / "environ").read_bytes()
                command = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            except OSError:
                continue
            if f"{MARK}={self.mark}".encode() in environment and all(word in command for word in words):
                found.append(int(folder.name))
        return found

    def end(self, how: signal.Signals = signal.SIGINT, within_s: float = 10.0) -> tuple[int, float]:
        """Ask it to end; its exit code and how long it took, s."""
        began_s = time.monotonic()
        self.process.send_signal(how)
        code = self.process.wait(within_s)
        return code, time.monotonic() - began_s


def get(url: str) -> Any:
    """The JSON at an address; None while the pages answer 503."""
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:  # noqa: S310 - our own page
            return json.load(answer)
    except urllib.error.HTTPError as error:
        error.close()
        if error.code == 503:
            return None
        raise


class Subscriber:
    """``mosquitto_sub``: each message with its arrival, whether it was retained, and its JSON (or text)."""

    def __init__(self, broker: Broker, topic: str) -> None:
        command = [need("mosquitto_sub"), "-V", "5", "-p", str(broker.port), "-t", topic, "-q", "1", "-F", "%r %t %p"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE)
        self._messages: queue.Queue[tuple[float, bool, str, Any]] = queue.Queue()
        self._reading = threading.Thread(target=self._read, daemon=True)
        self._reading.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            at_s = time.monotonic()
            retained, topic, text = line.decode().rstrip("\n").split(" ", 2)
            payload = json.loads(text) if text.startswith("{") else text
            self._messages.put((at_s, retained == "1", topic, payload))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        self._reading.join(5)
        if self.process.stdout is not None:
            self.process.stdout.close()

    def next(self, within_s: float = 5.0) -> tuple[float, bool, str, Any]:
        """The next message: arrival on the monotonic clock, whether retained, topic, payload."""
        return self._messages.get(timeout=within_s)

    def until(self, true: Any, within_s: float = 10.0) -> tuple[float, bool, str, Any]:
        """The first message whose payload makes ``true`` true."""
        until = time.monotonic() + within_s
        last = None
        while (left_s := until - time.monotonic()) > 0:
            try:
                message = self.next(left_s)
            except queue.Empty:
                break
            last = message[3]
            if true(last):
                return message
        raise AssertionError(f"no such message within {within_s} s; the last was {last}")


class Publisher:
    """``mosquitto_pub`` fed with one message a line."""

    def __init__(self, broker: Broker, topic: str) -> None:
        command = [need("mosquitto_pub"), "-V", "5", "-p", str(broker.port), "-t", topic, "-q", "1", "-l"]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)

    def send(self, message: Any) -> float:
        """Send one message; when, on the monotonic clock."""
        assert self.process.stdin is not None
        at_s = time.monotonic()
        self.process.stdin.write(json.dumps(message).encode() + b"\n")
        self.process.stdin.flush()
        return at_s

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
