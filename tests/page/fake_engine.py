"""An engine that says what a test wants: the real channel on a real socket, statuses from the test."""

import threading
from pathlib import Path
from typing import Any

from monitor.channel import Answer, ChannelServer
from monitor.clock import monotonic_s, utc_s


class FakeEngine:
    """Offers its statuses again and again until stopped, as the engine does whether or not readings come."""

    def __init__(self, data: Path, site: dict[str, Any], lifters: list[dict[str, Any]], every_s: float = 0.2) -> None:
        self.lifters = lifters
        self.link: dict[str, Any] = {"broker": "up", "since_utc_s": 0.0}
        self.history: dict[str, Any] = {}
        self.refused: dict[str, Any] = {}
        self.actions: list[dict[str, Any]] = []
        self.answer: dict[str, Any] = {"done": True, "key": "done.acknowledge", "words": "Acknowledged."}
        self._site = site
        self._every_s = every_s
        self._stop = threading.Event()
        self._pause = threading.Event()
        self._channel = ChannelServer(data, hello=self._hello, on_action=self._act)
        self._channel.start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def say(self, *lifters: dict[str, Any]) -> None:
        """From now on say this, beginning at once."""
        self.lifters = list(lifters)
        self._offer()

    def pause(self) -> None:
        """Fall silent with the channel still open."""
        self._pause.set()

    def resume(self) -> None:
        """Speak again."""
        self._pause.clear()

    def stop(self) -> None:
        """Close the channel."""
        self._stop.set()
        self._thread.join()
        self._channel.stop()

    def _run(self) -> None:
        while not self._stop.wait(self._every_s):
            if not self._pause.is_set():
                self._offer()

    def _offer(self) -> None:
        now_utc_s = utc_s()
        lifters = [status | {"time": now_utc_s} for status in self.lifters]
        snapshot = {"type": "snapshot", "utc_s": now_utc_s, "link": self.link, "store": {}, "lifters": lifters}
        snapshot |= {"refused": self.refused}
        self._channel.offer(snapshot | {"monotonic_s": monotonic_s()})

    def _hello(self) -> dict[str, Any]:
        return {"type": "hello", "site": self._site, "history": self.history}

    def _act(self, action: Any, answer: Answer) -> None:
        self.actions.append(dict(action))
        answer({"type": "answer", "id": action["id"], **self.answer})
