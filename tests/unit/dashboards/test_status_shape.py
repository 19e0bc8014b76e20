"""The statuses the pages are tried on have the shape of the engine's own, key by key."""

from typing import Any

from monitor.core.config import Basis, CircuitConfig, CoreConfig, LifterConfig, PadConfig
from monitor.core.engine import begin, step
from monitor.core.events import ReadingCame, Tick, Told
from monitor.core.readings import CircuitReading, Reading
from monitor.words.say import status_dict
from tests.page.statuses import alarm, circuit, losing, silent, status


def _engine_status() -> dict[str, Any]:
    circuits = {name: CircuitConfig(name, 52.0, 62.0) for name in ("A", "B")}
    pads = {f"{c}{i}": PadConfig(f"{c}{i}", c, 500.0 * (i - 1.5), 300.0, 1150.0) for c in circuits for i in (1, 2)}
    lifter = LifterConfig(id="dock-6", basis=Basis.ASME_BTH_1, wll_kg=900.0, circuits=circuits, pads=pads)
    state = begin(CoreConfig("quayside", {"dock-6": lifter}), version="test")
    told: dict[str, Any] = {}
    at_s = 1764019200.0
    for i in range(60):
        low = 45.0 if i > 40 else 63.0
        reading = Reading(
            "dock-6",
            {"A": CircuitReading(vacuum_kpa=low), "B": CircuitReading(vacuum_kpa=63.0)},
            load_kg=10.0 * min(i, 30),
        )
        for event in (Tick(), ReadingCame(reading)):
            state, effects = step(state, event, at_s + 0.5 * i)
            for effect in effects:
                if isinstance(effect, Told):
                    told = dict(status_dict(effect.status))
    return told


def test_made_up_statuses_have_the_engines_keys() -> None:
    real = _engine_status()
    assert set(real) == set(status())
    assert set(real["load"]) == set(status()["load"])
    assert set(real["facts"]) == set(status()["facts"])
    assert set(real["holding"]) == set(status()["holding"])
    for made in (circuit(), losing(), silent()):
        assert set(real["circuits"]["A"]) == set(made)
    assert real["alarms"], "the history raises an alarm"
    assert set(real["alarms"][0]) == set(alarm())
    assert real["lift"] is not None
    assert set(real["lift"]) == set(status()["lift"])
