"""Every simulated fault of a gauge is told as a fault, never as a time; a sound gauge, however coarse, has none."""

from pathlib import Path

import pytest

from monitor.core.status import Status
from simulator.scenarios import Scenario, read
from tests.histories import Watch, carrying, demo_site, dock, scenario_events
from tests.unit.simulator.lifts import HANGING, with_fault

CLEAN = Path(__file__).parents[2] / "configs" / "scenarios" / "clean-lift.toml"
TWO_GAUGES = HANGING + "[sender]\ngauges_n = 2\n"
AT_S = 25.0


def told(row: str, tail: str = HANGING) -> tuple[Watch, tuple[Status, ...]]:
    return played(with_fault(f"at_s = {AT_S}, {row}", tail, duration_s=50.0))


def played(scenario: Scenario) -> tuple[Watch, tuple[Status, ...]]:
    watch = Watch(dock(pump_levels=True))
    return watch, tuple(watch.run(scenario_events(scenario, site=demo_site())))


@pytest.mark.parametrize(
    ("row", "fault", "within_s"),
    [
        ('kind = "sensor_frozen", sensor = "vacuum_kpa", circuit = "B"', "frozen", 15.0),
        ('kind = "sensor_reads", sensor = "vacuum_kpa", circuit = "B", value = 61.5', "frozen", 15.0),
        ('kind = "sensor_reads", sensor = "vacuum_kpa", circuit = "B", value = 400', "out_of_range", 0.5),
        ('kind = "sensor_rubbish", sensor = "vacuum_kpa", circuit = "B"', "not_a_number", 0.5),
        ('kind = "sensor_jump", sensor = "vacuum_kpa", circuit = "B", by = 9', "jumped", 0.5),
        ('kind = "sensor_noisy", sensor = "vacuum_kpa", circuit = "B", noise = 1.5', "noisy", 10.0),
    ],
)
def test_falsified_gauge_is_a_sensor_fault_with_its_alarm_and_no_time(row: str, fault: str, within_s: float) -> None:
    watch, statuses = told(row)
    faulty = [status for status in statuses if status.facts.circuits["B"].fault == fault]
    began_s = statuses[0].facts.now_s
    assert faulty
    assert faulty[0].facts.now_s - began_s <= AT_S + within_s
    for status in faulty:
        assert status.facts.circuits["B"].state == "sensor_fault"
        assert status.facts.circuits["B"].to_warning is None
        assert status.facts.circuits["B"].reserve is None
        assert status.called.call.value in {"land_now", "land_soon", "look"}
    assert "sensor_fault" in watch.raised()
    assert all(status.facts.circuits["A"].fault is None for status in statuses)


def test_gauges_that_disagree_are_a_fault_of_their_circuit_alone() -> None:
    watch, statuses = told('kind = "gauges_disagree", circuit = "B", by_kpa = 9', TWO_GAUGES)
    assert statuses[-1].facts.circuits["B"].fault == "gauges_disagree"
    assert statuses[-1].facts.circuits["B"].vacuum_kpa == pytest.approx(62.0, abs=1.0)  # the lower one counts
    assert "sensor_fault" in watch.raised()


def gauges_of_b(watch: Watch, one_kpa: list[float | None], two_kpa: float, *, load_kg: float = 600.0) -> list[Status]:
    """Messages in which circuit B has gauges 1 and 2, the first as told (``None``: left out), ten a second."""
    began_n = len(watch.told)
    for number, kpa in enumerate(one_kpa):
        watch.until(watch.now_s + 0.1)
        watch.seq += 1
        flicker_kpa = 0.1 * (number % 2)
        gauges = {"2": two_kpa + flicker_kpa} | ({} if kpa is None else {"1": round(kpa + flicker_kpa, 1)})
        circuits = {"A": {"vacuum_kpa": 64.0 + flicker_kpa, "pump": "off"}, "B": {"pump": "off", "gauges": gauges}}
        own = {"time": watch.now_s, "seq": watch.seq, "boot": "a"}
        watch.send({**own, "tilt_deg": 90.0, "ambient_kpa": 101.2, "load_kg": load_kg, "circuits": circuits})
    return [told.status for told in watch.told[began_n:]]


def test_gauge_that_showed_a_fall_and_falls_silent_does_not_make_the_other_one_right() -> None:
    watch = carrying()
    gauges_of_b(watch, [64.0] * 100, 64.0)
    gauges_of_b(watch, [64.0 - 0.12 * n for n in range(200)], 64.0)
    assert watch.call == "land_now"
    after = gauges_of_b(watch, [None] * 600, 64.0)
    assert {status.called.call.value for status in after} == {"land_now"}
    assert after[-1].facts.circuits["B"].fault == "gauge_missing"
    assert after[-1].facts.circuits["B"].vacuum_kpa == pytest.approx(40.1, abs=0.3)


def test_gauge_gone_for_good_is_missed_until_the_pads_have_let_go() -> None:
    watch = carrying()
    gauges_of_b(watch, [64.0] * 100, 64.0)
    landed = gauges_of_b(watch, [None] * 300, 64.0, load_kg=0.0)
    assert landed[-1].facts.circuits["B"].fault == "gauge_missing"
    assert landed[-1].called.call.value == "look"
    watch.play(A="64>0x20 0x100", B="64>0x20 0x100", load_kg="0x1")
    assert watch.status.facts.phase in {"released", "idle"}
    assert {circuit.fault for circuit in watch.status.facts.used()} == {None}


def test_gauge_that_jumps_down_is_believed() -> None:
    _, statuses = told('kind = "sensor_jump", sensor = "vacuum_kpa", circuit = "B", by = -9')
    assert {status.facts.circuits["B"].fault for status in statuses} == {None}
    assert statuses[-1].facts.circuits["B"].vacuum_kpa == pytest.approx(53.0, abs=1.0)


@pytest.mark.parametrize(("noise_kpa", "quantum_kpa"), [(0.02, 0.2), (0.02, 0.5), (0.02, 1.0), (0.3, 0.05)])
def test_sound_gauge_has_no_fault_over_a_whole_lift_however_coarse(noise_kpa: float, quantum_kpa: float) -> None:
    sensors = f"\n[sensors.vacuum_kpa]\nnoise = {noise_kpa}\nquantum = {quantum_kpa}\n"
    watch, statuses = played(read(CLEAN.read_text() + sensors, name="clean-lift.toml"))
    assert statuses[-1].facts.phase in {"released", "idle"}
    assert {circuit.fault for status in statuses for circuit in status.facts.used()} == {None}
    assert not {"sensor_fault", "pump_not_building", "pump_duty_rising"} & set(watch.raised())
