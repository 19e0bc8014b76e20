"""Real brokers for the tests, each a process of its own on loopback, with one way to start, freeze and kill it."""

import contextlib
import itertools
import os
import random
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.tools import need

ROOT = Path(__file__).parent.parent


# Below the ports a kernel gives to connections that leave (Linux from 32768, RFC 6335 from 49152): a port from among
# those may be taken again, by any connection of the tests beside, before the broker that is to listen there has started.
_FIRST_PORT, _PORTS_PER_WORKER = 12_000, 1_000
_WORKER = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")) % 20
_ports = itertools.cycle(random.SystemRandom().sample(range(_PORTS_PER_WORKER), _PORTS_PER_WORKER))


def free_port() -> int:
    """A port of this test process that nobody listens on or is connected by, not given before."""
    for offset in itertools.islice(_ports, _PORTS_PER_WORKER):
        port = _FIRST_PORT + _WORKER * _PORTS_PER_WORKER + offset
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError(f"no free port from {_FIRST_PORT + _WORKER * _PORTS_PER_WORKER} on")


def wait_for(true: Callable[[], object], within_s: float, what: str) -> None:
    """Poll until it is true; fail with ``what`` otherwise."""
    until = time.monotonic() + within_s
    while not true():
        if time.monotonic() > until:
            raise AssertionError(f"not within {within_s} s: {what}")
        time.sleep(0.01)


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@dataclass
class Broker:
    """A broker that can be started again on the same port."""

    command: list[str]
    port: int
    environment: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen | None = None

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        process = self.process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            env=os.environ | self.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(lambda: process.poll() is not None or _answers(self.port), 10, f"{self.command[0]} answering")
        assert process.poll() is None, f"{self.command} ended with {process.returncode}"

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
            self.process.wait()
            self.process = None

    def freeze(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)


def embedded(login: tuple[str, str] | None = None) -> Broker:
    port = free_port()
    user, password = login or ("", "")
    return Broker(
        [sys.executable, "-m", "monitor.embedded", "--listen", f"127.0.0.1:{port}"],
        port,
        {"HOLDWATCH_BROKER_USER": user, "HOLDWATCH_BROKER_PASSWORD": password},
    )


def mosquitto(folder: Path, *lines: str, port: int | None = None, anonymous: bool = True) -> Broker:
    """Mosquitto with a configuration of its own in ``folder``."""
    port = port or free_port()
    config = folder / f"mosquitto-{port}.conf"
    allow = "true" if anonymous else "false"
    config.write_text(
        "\n".join(
            [
                "user root",  # counts only when started by root: else it becomes a user who cannot read these folders
                f"listener {port} 127.0.0.1",
                f"allow_anonymous {allow}",
                "set_tcp_nodelay true",
                "max_queued_messages 20000",  # the default of 1000 drops the newest of a burst without a word
                *lines,
            ]
        )
        + "\n"
    )
    return Broker([need("mosquitto"), "-c", str(config)], port)


class Relay:
    """A TCP port that counts what it hears and says nothing, or hangs up at once: a broker gone wrong."""

    def __init__(self, *, hang_up: bool) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.url = f"mqtt://127.0.0.1:{self.port}"
        self.taken: list[socket.socket] = []
        self._hang_up = hang_up

    def poll(self) -> None:
        while select.select([self._listener], [], [], 0)[0]:
            taken, _ = self._listener.accept()
            if self._hang_up:
                taken.close()
            self.taken.append(taken)

    def close(self) -> None:
        for taken in self.taken:
            taken.close()
        self._listener.close()
