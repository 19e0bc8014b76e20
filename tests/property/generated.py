"""Histories nobody would send on purpose, and what may be known of them by their own making.

A `Sender` makes messages step by step from a seeded generator: lifts of all kinds with leaks, drops, standstills and
bounces, sent over a network that loses, doubles, delays, garbles and retains. It notes for itself what was said last and
when, so that the rules can be held against something other than the engine's own memory.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.core.events import ConnectionSaid, LinkChanged, Resumed, StoreSaid, Tick
from tests.histories import Watch

CIRCUITS = ("A", "B")
BAD_VALUES = (float("nan"), float("inf"), -float("inf"), 1e9, -400.0, "64", True, [64.0], {"kpa": 64.0})
GARBAGE = (
    b"",
    b"\xff\xfe",
    b"null",
    b"[]",
    b"{",
    b'{"circuits": {}}',
    b'{"circuits": 7}',
    b'{"load_kg": 1.0}',
    b"0" * 70_000,
)
ROLES = ("operator", "supervisor", "landing", "maintenance")


@dataclass
class Said:
    """What was last said of one quantity, and when; ``bad``: the newest word of it could not be believed."""

    value: float | None = None
    at_s: float | None = None
    bad: bool = False


@dataclass
class Sender:
    """One lifter as it really is, and what of it has come over since."""

    rng: np.random.Generator
    clock_jumps: bool
    lifter: str = "dock-6"
    rich: bool = (
        False  # several gauges, absolute ones, height, ambient pressure, wind and turn too, all of them doubtful
    )
    height_m: float = 0.0
    target_m: float = 0.0
    vacuum_kpa: dict[str, float] = field(default_factory=lambda: dict.fromkeys(CIRCUITS, 0.0))
    rate_kpa_s: dict[str, float] = field(default_factory=lambda: dict.fromkeys(CIRCUITS, 0.0))
    frozen: dict[str, float | None] = field(default_factory=lambda: dict.fromkeys(CIRCUITS))
    pump: dict[str, str] = field(default_factory=lambda: dict.fromkeys(CIRCUITS, "off"))
    load_kg: float = 0.0
    target_kg: float = 0.0
    noise_kpa: float = 0.05
    alarm: bool = False
    battery_v: float = 25.0
    seq: int = 0
    boot: int = 0
    clock_s: float = 0.0
    said: dict[str, Said] = field(default_factory=lambda: {name: Said() for name in (*CIRCUITS, "load", "alarm")})
    loads: list[tuple[float, float | None]] = field(default_factory=list)
    fresh_s: float | None = None
    sent: list[dict[str, object]] = field(default_factory=list)

    def turn(self) -> None:
        """Something changes on the lifter."""
        rng = self.rng
        for name in CIRCUITS:
            kind = rng.choice(
                ["hold", "build", "leak", "drop", "open", "freeze", "as it is"],
                p=[0.2, 0.3, 0.14, 0.04, 0.06, 0.04, 0.22],
            )
            self.frozen[name] = self.vacuum_kpa[name] if kind == "freeze" else None
            if kind == "drop":
                self.vacuum_kpa[name] *= rng.random()
            if kind in {"hold", "build", "leak", "open"}:
                rates = {"hold": 0.0, "build": 6.0, "leak": -(10.0 ** rng.uniform(-2.5, 0.3)), "open": -25.0}
                self.rate_kpa_s[name] = float(rates[str(kind)])
            self.pump[name] = "on" if kind == "build" else "off"
        self.target_kg = float(rng.choice([0.0, 0.0, 8.0, 25.0, 180.0, 420.0, 600.0, 600.0, 880.0, -40.0]))
        self.alarm = bool(rng.random() < 0.03)
        self.battery_v = float(rng.choice([25.0, 25.0, 25.0, 22.4]))
        if self.rich:
            self.target_m = float(rng.choice([0.0, 3.0, 40.0, 90.0]))

    def move(self, dt_s: float) -> None:
        for name in CIRCUITS:
            self.vacuum_kpa[name] = float(np.clip(self.vacuum_kpa[name] + self.rate_kpa_s[name] * dt_s, 0.0, 66.0))
        reach_kg = 300.0 * dt_s
        self.load_kg += float(np.clip(self.target_kg - self.load_kg, -reach_kg, reach_kg))
        self.height_m += float(np.clip(self.target_m - self.height_m, -dt_s, dt_s))

    def message(self, now_s: float) -> tuple[dict[str, object], dict[str, Said]]:
        """The next message, and what a reader may learn from it."""
        rng = self.rng
        self.seq += 1
        circuits: dict[str, object] = {}
        learnt: dict[str, Said] = {}
        for name in CIRCUITS:
            if rng.random() < 0.02:
                continue
            value = self.frozen[name]
            if value is None:
                value = round(self.vacuum_kpa[name] + self.noise_kpa * float(rng.standard_normal()), 1)
            part: dict[str, object] = {"vacuum_kpa": value, "pump": self.pump[name]}
            learnt[name] = Said(value, now_s)
            if rng.random() < 0.02:
                part["vacuum_kpa"] = BAD_VALUES[rng.integers(len(BAD_VALUES))]
                learnt[name] = Said(bad=True)
            elif rng.random() < 0.01:
                part["vacuum_kpa"] = float(rng.uniform(0.0, 90.0))  # wild, but in range
                learnt[name] = Said(part["vacuum_kpa"], now_s)
            circuits[name] = self._by_several_gauges(part) if self.rich else part
        message: dict[str, object] = {
            "time": round(now_s + self.clock_s, 3), "seq": self.seq, "boot": f"b{self.boot}", "circuits": circuits,
            "tilt_deg": 90.0, "battery_v": self.battery_v, "lifter_alarm": self.alarm,
        }  # fmt: skip
        learnt["alarm"] = Said(float(self.alarm), now_s)
        if rng.random() < 0.96:
            load_kg = round(self.load_kg + float(rng.standard_normal()), 1)
            message["load_kg"] = load_kg
            learnt["load"] = Said(load_kg, now_s)
            if rng.random() < 0.01:
                message["load_kg"] = float("nan")
                learnt["load"] = Said(bad=True)
        if self.rich:
            message |= self._around()
        if not circuits:
            learnt = {"alarm": learnt["alarm"]}  # an event by itself: it freshens no circuit
        return message, learnt

    def _by_several_gauges(self, part: dict[str, object]) -> dict[str, object]:
        """The same word of a circuit, by two gauges, or by an absolute one."""
        value, rng = part.pop("vacuum_kpa"), self.rng
        if rng.random() < 0.3 and isinstance(value, float) and np.isfinite(value) and 0.0 <= value <= 90.0:
            return {**part, "pressure_abs_kpa": round(101.3 - 0.012 * self.height_m - value, 2)}
        return {**part, "gauges": {"1": value, "2": value}}

    def _around(self) -> dict[str, object]:
        rng = self.rng
        ambient_kpa = 101.3 - 0.012 * self.height_m + 0.02 * float(rng.standard_normal())
        said: dict[str, object] = {
            "height_m": round(self.height_m, 1),
            "ambient_kpa": round(ambient_kpa if rng.random() < 0.98 else float(rng.uniform(60.0, 115.0)), 2),
            "wind_m_s": round(float(rng.uniform(0.0, 14.0)), 1),
            "rotation_deg": float(rng.choice([0.0, 0.0, 90.0, 400.0])),
            "tilt_deg": round(90.0 + float(rng.standard_normal()), 1),
        }
        return {name: value for name, value in said.items() if rng.random() < 0.9}

    def learn(self, learnt: dict[str, Said], now_s: float) -> None:
        """A message has come over while it was news."""
        if learnt.keys() & set(CIRCUITS):
            self.fresh_s = now_s
        for name, said in learnt.items():
            before = self.said[name]
            self.said[name] = Said(before.value, before.at_s, bad=True) if said.bad else said
        if "load" in learnt and not learnt["load"].bad:
            self.loads = [*self.loads, (now_s, learnt["load"].value)][-400:]


@dataclass(frozen=True)
class Done:
    """One engine step: the kind of event, and the lifter of which it could have told anything new."""

    kind: str
    news_of: str = ""


def drive(watch: Watch, senders: Sequence[Sender], steps_n: int) -> Iterator[Done]:
    """Play ``steps_n`` engine steps or a few more; yields after each with the engine's answers in ``watch``."""
    done_n = 0
    rng = senders[0].rng
    while done_n < steps_n:
        for sender in senders:
            if sender.rng.random() < 0.015:
                sender.turn()
        dt_s = float(rng.choice([0.1, 0.2, 0.5, 1.0], p=[0.3, 0.5, 0.15, 0.05]))
        if rng.random() < 0.004:
            dt_s = float(rng.uniform(2.0, 25.0))  # nothing comes for a while
        for sender in senders:
            sender.move(dt_s)
        end_s = round(watch.now_s + dt_s, 3)
        while (next_s := (watch.now_s // 0.5 + 1) * 0.5) <= end_s:
            watch.now_s = next_s
            watch.take(Tick())
            done_n += 1
            yield Done("tick")
        watch.now_s = end_s
        for sender in senders:
            watch.lifter = sender.lifter
            for done in _something(watch, sender):
                done_n += 1
                yield done


def _something(watch: Watch, sender: Sender) -> Iterator[Done]:
    rng = sender.rng
    kinds = ["reading", "missed", "doubled", "late", "retained", "garbage", "act", "around", "boot", "clock"]
    kind = str(rng.choice(kinds, p=[0.82, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.01, 0.005, 0.005]))
    match kind:
        case "missed":
            sender.message(watch.now_s)
            return
        case "doubled" | "late" if sender.sent:
            watch.send(sender.sent[-1 if kind == "doubled" else -min(len(sender.sent), int(rng.integers(2, 30)))])
            yield Done(kind)
        case "retained":
            message, _ = sender.message(watch.now_s)
            sender.seq -= 1
            watch.send(message, retained=True)
            yield Done(kind)
        case "garbage":
            watch.send(GARBAGE[rng.integers(len(GARBAGE))])
            yield Done(kind)
        case "act":
            _act(watch, rng)
            yield Done(kind, sender.lifter)
        case "around":
            events = [
                LinkChanged(up=bool(rng.random() < 0.5)),
                StoreSaid(writing=bool(rng.random() < 0.5), free_ratio=0.5),
            ]
            events += [ConnectionSaid(sender.lifter, online=bool(rng.random() < 0.5)), Resumed(watch.now_s)]  # type: ignore[list-item]
            watch.take(events[rng.integers(len(events))])
            yield Done(kind)
        case _:
            if kind == "boot":
                sender.boot += 1
                sender.seq = 0
            if kind == "clock" and sender.clock_jumps:
                sender.clock_s = float(rng.uniform(-1e5, 1e5))
            message, learnt = sender.message(watch.now_s)
            sender.sent = [*sender.sent, message][-30:]
            sender.learn(learnt, watch.now_s)
            watch.send(message)
            yield Done("reading", sender.lifter)


def _act(watch: Watch, rng: np.random.Generator) -> None:
    raisings: list[object] = [moved.raising for moved in watch.moved if moved.moved == "raised"][-6:]
    raising = raisings[rng.integers(len(raisings))] if raisings else f"{watch.lifter}/A/vacuum_low/1"
    params: dict[str, object] = {
        "raising": raising, "duration_s": 60.0, "reason": "known", "surface": str(rng.choice(["dry", "wet", "oily", "?"])),
        "weight_kg": float(rng.choice([300.0, 600.0, -1.0])), "layout": str(rng.choice(["narrow", "", "none"])),
        "tilt_low_deg": 80.0, "tilt_high_deg": 90.0,
    }  # fmt: skip
    kinds = ["acknowledge", "acknowledge", "reset", "shelve", "unshelve", "plan", "surface", "confirm_fixed"]
    kinds += ["landed_fixed", "picked_up", "service_note", "out_of_service", "in_service"]
    watch.act(str(rng.choice(kinds)), role=str(rng.choice(ROLES)), **params)


def encoded(status: dict[str, object]) -> bytes:
    """A status as bytes; raises where a number is not finite."""
    return json.dumps(status, allow_nan=False, sort_keys=True).encode()
