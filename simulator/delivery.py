"""How finished readings travel: numbered, stamped with the sender's clock, lost, doubled, held back, garbled."""

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from simulator.acts import number
from simulator.faults import Fault
from simulator.sensors import Payload

_BURST_GAP_S = 0.002
_WILL_AFTER_S = 7.5  # a broker gives a silent sender one and a half keep-alives (MQTT 5, 3.1.2.10), here of 5 s


@dataclass(frozen=True, slots=True)
class Sent:
    """One message as it arrives.

    ``at_s`` is when it arrives and ``stamp_s`` what the sender's clock said when it was made, both in scenario time.
    A ``payload`` that is text goes out as that text and is no JSON.
    """

    at_s: float
    leaf: str
    payload: Payload | str
    stamp_s: float | None = None
    retained: bool = False


class Delivery:
    """Takes readings in the order they are made and gives messages in the order they arrive."""

    def __init__(
        self, faults: Sequence[Fault], rng: np.random.Generator, *, latency_s: float, first_seq: int = 0
    ) -> None:
        self._faults = faults
        self._rng = rng
        self._latency_s = latency_s
        self._boot = self._new_boot()
        self._seq = first_seq
        self._online = False
        self._heard_s = 0.0
        self._waiting: list[tuple[float, int, Sent]] = []
        self._pushed_n = 0

    def take(self, payload: Payload | None, t_s: float) -> None:
        """Take a reading made at ``t_s``, or None while the sender has no power."""
        faults = {fault.rule.key: fault for fault in self._faults if fault.holds(t_s)}
        if "restart" in faults:
            self._boot = self._new_boot()
            self._seq = 0
        silent = faults.get("silent")
        if payload is None or "restart" in faults or silent is not None:
            announced = silent is None or silent.values["says_offline"]
            if announced and t_s - self._heard_s >= _WILL_AFTER_S:
                self._say_connected(False, t_s)
            self._seq += payload is not None and "restart" not in faults  # made, counted and never heard
            return
        self._heard_s = t_s
        self._say_connected(True, t_s)
        stamp_s = None if "no_clock" in faults else t_s + _by_s(faults.get("wrong_clock"))
        self._send(dict(payload), t_s, stamp_s, faults)
        self._seq += 1

    def arrived(self, by_s: float) -> Iterator[Sent]:
        """What has arrived by a time, in order."""
        while self._waiting and self._waiting[0][0] <= by_s:
            yield heapq.heappop(self._waiting)[2]

    @property
    def seq(self) -> int:
        """The number the next message gets."""
        return self._seq

    def _send(self, payload: Payload, t_s: float, stamp_s: float | None, faults: dict[str, Fault]) -> None:
        at_s = t_s + self._latency_s + _by_s(faults.get("late"))
        if self._hit(faults.get("loss")):
            return
        if "reorder" in faults and self._hit(faults["reorder"]):
            at_s += _by_s(faults["reorder"])
        if "burst" in faults:
            at_s = faults["burst"].until_s + _BURST_GAP_S * len(self._waiting)
        message: Payload | str = {"seq": self._seq, "boot": self._boot, **payload}
        if self._hit(faults.get("garbled")):
            text = msgspec.json.encode(message).decode()
            message = text[: int(self._rng.integers(1, len(text) - 1))]
        sent = Sent(at_s, "readings", message, stamp_s, retained="retained" in faults)
        self._push(sent)
        if self._hit(faults.get("duplicate")):
            self._push(Sent(at_s + _by_s(faults["duplicate"]), "readings", message, stamp_s, sent.retained))

    def _say_connected(self, online: bool, t_s: float) -> None:
        if online != self._online:
            self._online = online
            self._push(Sent(t_s, "connection", "online" if online else "offline", retained=True))

    def _push(self, sent: Sent) -> None:
        self._pushed_n += 1  # keeps messages of one instant in the order they were sent
        heapq.heappush(self._waiting, (sent.at_s, self._pushed_n, sent))

    def _hit(self, fault: Fault | None) -> bool:
        return fault is not None and float(self._rng.random()) < number(fault.values, "share_ratio")

    def _new_boot(self) -> str:
        return f"{int(self._rng.integers(0x10000)):04x}"


def _by_s(fault: Fault | None) -> float:
    return 0.0 if fault is None else number(fault.values, "by_s")
