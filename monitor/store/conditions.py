"""Closed lifts as columns for the trends: only what trends need is read out of each record, thousands a second."""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import nan
from typing import Any, Final

import msgspec
import numpy as np

from monitor.core.lifter_trends import CircuitColumns, Floats, LiftColumns, Service
from monitor.core.maintenance import NotSealed
from monitor.core.seal_tests import SealState

OLD_KNOWN_S: Final = 60.0
"""Records of before the mean leak was kept have the last leak of the flight; it counts as known for so long."""


class _Circuit(msgspec.Struct):
    leak_kpa_per_min: float | None = None
    at_pick_kpa: float | None = None
    steady_leak_kpa_per_min: float | None = None
    steady_at_kpa: float | None = None
    steady_s: float | None = None
    pump_down_s: float | None = None
    pump_on_s: float | None = None
    open_kpa: float | None = None
    gauges_apart_kpa: float | None = None


class _Settings(msgspec.Struct):
    surface: str = "dry"


class _Record(msgspec.Struct):
    id: str
    opened: float
    duration_s: float
    circuits: dict[str, _Circuit]
    settings: _Settings
    temperature_c: float | None = None
    ambient_kpa: float | None = None
    battery_low_v: float | None = None
    seal_tests: list[dict[str, Any]] = []


SEAL_TESTS_KEPT_N: Final = 20

_DECODER: Final = msgspec.json.Decoder(_Record)
_CIRCUIT_COLUMNS: Final = tuple(CircuitColumns.__dataclass_fields__)


@dataclass(slots=True)
class Lifts:
    """The lifts of one lifter read so far; more are added at the end."""

    last_n: int = 0
    seal_tests: deque[dict[str, Any]] = field(default_factory=lambda: deque(maxlen=SEAL_TESTS_KEPT_N))
    """The newest, as records have them, each with its ``lift``."""
    _ids: list[str] = field(default_factory=list)
    _rows: list[tuple[float, ...]] = field(default_factory=list)
    _surfaces: list[str] = field(default_factory=list)
    _circuits: dict[str, list[tuple[float, ...]]] = field(default_factory=dict)

    def add(self, rows: Iterable[tuple[int, str]]) -> int:
        """Read records, each with its place in the chain, in the order of their opening; returns how many."""
        added_n = 0
        for n, text in rows:
            self._add(_DECODER.decode(text))
            self.last_n = max(self.last_n, n)
            added_n += 1
        return added_n

    def _add(self, record: _Record) -> None:
        nothing = (nan,) * len(_CIRCUIT_COLUMNS)
        for name in record.circuits:
            if name not in self._circuits:
                self._circuits[name] = [nothing] * len(self._ids)
        self._ids.append(record.id)
        self.seal_tests.extend(test | {"lift": record.id} for test in record.seal_tests)
        self._surfaces.append(record.settings.surface)
        self._rows.append(
            (record.opened, record.duration_s, _nan(record.temperature_c), _nan(record.ambient_kpa), _nan(record.battery_low_v))
        )  # fmt: skip
        for name, column in self._circuits.items():
            one = record.circuits.get(name)
            column.append(nothing if one is None else _figures(one))

    def columns(self) -> LiftColumns:
        """All of them as columns."""
        n = len(self._ids)
        opened, duration_s, temperature_c, ambient_kpa, battery_v = (
            np.array(self._rows or np.empty((0, 5))).reshape(n, 5).T
        )
        circuits = {}
        for name, rows in self._circuits.items():
            table = np.array(rows or np.empty((0, len(_CIRCUIT_COLUMNS)))).reshape(n, len(_CIRCUIT_COLUMNS)).T
            circuits[name] = CircuitColumns(**dict(zip(_CIRCUIT_COLUMNS, table, strict=True)))
        order = np.argsort(opened, kind="stable")
        if np.array_equal(order, np.arange(n)):
            order = slice(None)  # type: ignore[assignment]
        return LiftColumns(
            ids=np.array(self._ids, dtype=np.str_)[order].tolist(),
            utc_s=opened[order],
            duration_s=duration_s[order],
            temperature_c=temperature_c[order],
            ambient_kpa=ambient_kpa[order],
            surface=np.array(self._surfaces, dtype=np.str_)[order],
            battery_v=battery_v[order],
            circuits={name: _ordered(one, order) for name, one in circuits.items()},
        )


def services(actions: Sequence[dict[str, Any]]) -> list[Service]:
    """Service notes among actions as they were written down."""
    return [
        Service(
            utc_s=float(act["utc_s"]),
            about=str(act.get("params", {}).get("about", "")),
            note=str(act.get("params", {}).get("note", "")),
            who=str(act.get("who", "")),
        )
        for act in actions
        if act["kind"] == "service_note"
    ]


def not_sealed(tests: Iterable[dict[str, Any]]) -> list[NotSealed]:
    """Circuits that did not pass the last seal test that said something of them."""
    last: dict[str, NotSealed | None] = {}
    for test in sorted(tests, key=lambda one: float(one["asked"])):
        for name, one in test["circuits"].items():
            if one["state"] == SealState.PASSED:
                last[name] = None
            elif one["state"] == SealState.NOT_PASSED:
                last[name] = NotSealed(name, float(test["asked"]), test["lift"])
    return [one for one in last.values() if one is not None]


def _figures(one: _Circuit) -> tuple[float, ...]:
    if one.steady_leak_kpa_per_min is None and one.steady_s is None:
        leak, at_kpa, known_s = one.leak_kpa_per_min, one.at_pick_kpa, OLD_KNOWN_S
    else:
        leak, at_kpa, known_s = one.steady_leak_kpa_per_min, one.steady_at_kpa, one.steady_s or 0.0
    rest = (one.pump_down_s, one.pump_on_s, one.open_kpa, one.gauges_apart_kpa)
    return (_nan(leak), _nan(at_kpa), known_s, *map(_nan, rest))


def _ordered(one: CircuitColumns, order: Any) -> CircuitColumns:
    columns: dict[str, Floats] = {name: getattr(one, name)[order] for name in _CIRCUIT_COLUMNS}
    return CircuitColumns(**columns)


def _nan(value: float | None) -> float:
    return nan if value is None else value
