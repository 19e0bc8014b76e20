"""Every row of the fault table does what it says, from its time on and no longer than its time."""

from collections.abc import Callable

import pytest

from simulator.delivery import Sent
from simulator.faults import FAULTS, Where
from simulator.physics import vacuum_kpa
from simulator.truth import leak_kpa_per_min
from tests.unit.simulator.lifts import HANGING, instants, readings, scenario, with_fault

CHECKS: dict[str, Callable[[], None]] = {}


def checks(key: str) -> Callable[[Callable[[], None]], Callable[[], None]]:
    def keep(check: Callable[[], None]) -> Callable[[], None]:
        CHECKS[key] = check
        return check

    return keep


@pytest.mark.parametrize("key", FAULTS)
def test_fault_does_what_its_row_says(key: str) -> None:
    CHECKS[key]()


def test_every_row_has_words_and_every_number_a_unit_or_a_ratio() -> None:
    for rule in FAULTS.values():
        assert rule.says
        for key in rule.keys:
            assert key.says
            if key.kind.value.endswith("number"):
                assert key.unit or key.name.endswith(("_ratio", "exponent")), (rule.key, key.name)
                assert key.low < key.high


def test_sensor_rows_leave_the_truth_alone() -> None:
    plain = [instant.state for instant in instants(scenario())]
    for rule in FAULTS.values():
        if rule.where is Where.SENSOR and rule.key in ("sensor_frozen", "sensor_missing"):
            faulty = with_fault(f'at_s = 5, kind = "{rule.key}", sensor = "vacuum_kpa"')
            assert [instant.state for instant in instants(faulty)] == plain


# --- Physics ---


def true_leaks(fault: str, tail: str = HANGING) -> list[tuple[float, float, float]]:
    return [
        (i.t_s, leak_kpa_per_min(i.state, i.params, 0), leak_kpa_per_min(i.state, i.params, 1))
        for i in instants(with_fault(fault, tail))
    ]


def true_vacuums(fault: str, tail: str = HANGING, *, duration_s: float = 20.0) -> list[tuple[float, float, float]]:
    return [
        (i.t_s, vacuum_kpa(i.state, i.params, 0), vacuum_kpa(i.state, i.params, 1))
        for i in instants(with_fault(fault, tail, duration_s=duration_s))
    ]


@checks("leak")
def _() -> None:
    leaks = true_leaks('at_s = 5, for_s = 10, kind = "leak", circuit = "B", leak_kpa_per_min = 3')
    for t_s, leak_a, leak_b in leaks:
        assert leak_a == pytest.approx(0.1, rel=0.02)
        assert leak_b == pytest.approx(3.1 if 5.0 <= t_s < 15.0 else 0.1, rel=0.02)


@checks("growing_leak")
def _() -> None:
    leaks = true_leaks('at_s = 5, kind = "growing_leak", circuit = "A", leak_kpa_per_min = 1, doubling_s = 5')
    grown = {round(t_s, 3): leak_a for t_s, leak_a, _ in leaks}
    assert grown[4.8] == pytest.approx(0.1, rel=0.02)
    assert grown[5.0] == pytest.approx(1.1, rel=0.02)
    assert grown[10.0] == pytest.approx(2.1, rel=0.02)
    assert grown[15.0] == pytest.approx(4.1, rel=0.02)


@checks("common_leak")
def _() -> None:
    leaks = true_leaks('at_s = 5, kind = "common_leak", leak_kpa_per_min = 2')
    assert leaks[-1][1:] == pytest.approx((2.1, 2.1), rel=0.02)


@checks("hose_off")
def _() -> None:
    vacuums = true_vacuums('at_s = 5, kind = "hose_off", circuit = "A"')
    assert [a for t_s, a, _ in vacuums if t_s <= 5.0][-1] > 61.0
    assert next(a for t_s, a, _ in vacuums if t_s >= 10.0) < 5.0
    assert vacuums[-1][2] > 61.5


@checks("pad_slips")
def _() -> None:
    vacuums = true_vacuums('at_s = 5, kind = "pad_slips", circuit = "A"')
    assert next(a for t_s, a, _ in vacuums if t_s >= 6.0) < 1.0
    assert vacuums[-1][2] > 61.5


@checks("pump_stop")
def _() -> None:
    leaky = HANGING.replace("[circuits.B]\nleak_kpa_per_min = 0.1", "[circuits.B]\nleak_kpa_per_min = 9")
    kept = true_vacuums('at_s = 59, kind = "pump_stop", circuit = "A"', leaky, duration_s=60.0)
    lost = true_vacuums('at_s = 5, kind = "pump_stop", circuit = "B"', leaky, duration_s=60.0)
    assert min(b for _, _, b in kept) > 59.5
    assert lost[-1][2] < 55.0


@checks("blocked_filter")
def _() -> None:
    pumping = "[start]\nvacuum_kpa = 30\n"
    clean = true_vacuums('at_s = 19, kind = "blocked_filter", circuit = "A"', pumping)
    blocked = true_vacuums('at_s = 0, kind = "blocked_filter", circuit = "A", speed_ratio = 0.1', pumping)
    assert clean[25][1] > 45.0
    assert blocked[25][1] < 35.0
    assert blocked[25][2] > 45.0
    pump_says = [
        sent.payload["circuits"]["A"]["pump"]
        for sent in readings(with_fault('at_s = 0, kind = "blocked_filter"', pumping))
    ]
    assert pump_says[1:] == ["on"] * (len(pump_says) - 1)


@checks("valve_opens")
def _() -> None:
    vacuums = true_vacuums('at_s = 5, kind = "valve_opens"')
    assert max(vacuums[-1][1:]) < 1.0
    valves = [sent.payload["release_valve"] for sent in readings(with_fault('at_s = 5, kind = "valve_opens"'))]
    assert (valves[0], valves[-1]) == ("closed", "open")


@checks("battery_drain")
def _() -> None:
    drained = instants(with_fault('at_s = 5, kind = "battery_drain", current_a = 90'))
    plain = instants(scenario())
    assert plain[-1].state.battery_ratio - drained[-1].state.battery_ratio == pytest.approx(
        90 * 15 / (3600 * 40), rel=0.01
    )
    first, last = drained[0].payload, drained[-1].payload
    assert first is not None
    assert last is not None
    assert first["battery_v"] - last["battery_v"] > 2.0


# --- Sensors ---


def vacuums_read(fault: str, circuit: str = "B", tail: str = HANGING) -> list[tuple[float, object]]:
    return [
        (round(i.t_s, 3), i.payload["circuits"][circuit].get("vacuum_kpa"))
        for i in instants(with_fault(fault, tail))
        if i.payload is not None
    ]


@checks("sensor_frozen")
def _() -> None:
    read = vacuums_read('at_s = 5, for_s = 10, kind = "sensor_frozen", sensor = "vacuum_kpa", circuit = "B"')
    assert len({value for t_s, value in read if 5.0 <= t_s < 15.0}) == 1
    assert len({value for t_s, value in read if t_s >= 15.0}) > 1
    others = vacuums_read('at_s = 5, kind = "sensor_frozen", sensor = "vacuum_kpa", circuit = "B"', "A")
    assert len({value for t_s, value in others if t_s >= 5.0}) > 1
    loads = {
        sent.payload["load_kg"] for sent in readings(with_fault('at_s = 0, kind = "sensor_frozen", sensor = "load_kg"'))
    }
    assert len(loads) == 1


@checks("sensor_jump")
def _() -> None:
    plain = [value for _, value in vacuums_read('at_s = 20, kind = "sensor_jump", sensor = "tilt_deg", by = 1')]
    jumped = vacuums_read('at_s = 5, kind = "sensor_jump", sensor = "vacuum_kpa", circuit = "B", by = -7.5')
    for (t_s, value), truth in zip(jumped, plain, strict=True):
        assert value == pytest.approx(truth - 7.5 if t_s >= 5.0 else truth, abs=1e-6)


@checks("sensor_drift")
def _() -> None:
    fault = 'at_s = 5, kind = "sensor_drift", sensor = "load_kg", per_min = 60'
    loads = [sent.payload["load_kg"] for sent in readings(with_fault(fault))]
    plain = [sent.payload["load_kg"] for sent in readings(scenario())]
    assert loads[25] - plain[25] == pytest.approx(0.0, abs=0.5)
    assert loads[-1] - plain[-1] == pytest.approx(15.0, abs=0.5)


@checks("sensor_noisy")
def _() -> None:
    read = vacuums_read('at_s = 0, kind = "sensor_noisy", sensor = "vacuum_kpa", circuit = "B", noise = 3')
    values = [value for _, value in read]
    mean = sum(values) / len(values)
    assert (sum((value - mean) ** 2 for value in values) / len(values)) ** 0.5 == pytest.approx(3.0, rel=0.25)


@checks("sensor_reads")
def _() -> None:
    read = vacuums_read('at_s = 5, kind = "sensor_reads", sensor = "vacuum_kpa", circuit = "B", value = 140')
    assert {value for t_s, value in read if t_s >= 5.0} == {140.0}
    assert 140.0 not in {value for t_s, value in read if t_s < 5.0}


@checks("sensor_rubbish")
def _() -> None:
    read = vacuums_read('at_s = 5, kind = "sensor_rubbish", sensor = "vacuum_kpa", circuit = "B"')
    assert {value for t_s, value in read if t_s >= 5.0} == {"ERR"}


@checks("sensor_missing")
def _() -> None:
    read = vacuums_read('at_s = 5, for_s = 5, kind = "sensor_missing", sensor = "vacuum_kpa", circuit = "B"')
    assert {t_s for t_s, value in read if value is None} == {t_s for t_s, _ in read if 5.0 <= t_s < 10.0}
    fault = 'at_s = 0, kind = "sensor_missing", sensor = "load_kg"'
    assert all("load_kg" not in sent.payload for sent in readings(with_fault(fault)))


@checks("gauges_disagree")
def _() -> None:
    two = HANGING + "[sender]\ngauges_n = 2\n"
    fault = 'at_s = 5, kind = "gauges_disagree", circuit = "B", gauge = "2", by_kpa = -9'
    for sent in readings(with_fault(fault, two)):
        circuit = sent.payload["circuits"]["B"]
        apart = circuit["gauges"]["1"] - circuit["gauges"]["2"]
        assert apart == pytest.approx(9.0 if sent.stamp_s >= 5.0 else 0.0, abs=0.6)
        assert circuit["vacuum_kpa"] == min(circuit["gauges"].values())
        assert abs(sent.payload["circuits"]["A"]["gauges"]["1"] - sent.payload["circuits"]["A"]["gauges"]["2"]) < 0.6


@checks("pump_misreported")
def _() -> None:
    fault = 'at_s = 5, kind = "pump_misreported", circuit = "B", says = "on"'
    said = [(s.stamp_s, s.payload["circuits"]["B"]["pump"]) for s in readings(with_fault(fault))]
    assert {pump for t_s, pump in said if t_s < 5.0} == {"off"}
    assert {pump for t_s, pump in said if t_s >= 5.0} == {"on"}


@checks("pump_not_reported")
def _() -> None:
    sent = readings(with_fault('at_s = 5, kind = "pump_not_reported"'))
    assert all("pump" in s.payload["circuits"]["A"] for s in sent if s.stamp_s < 5.0)
    assert not any("pump" in circuit for s in sent if s.stamp_s >= 5.0 for circuit in s.payload["circuits"].values())


@checks("lifter_alarm")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 5, kind = "lifter_alarm"'))
    assert [s.stamp_s for s in sent if s.payload["lifter_alarm"]] == [
        s.stamp_s for s in sent if 5.0 <= s.stamp_s < 10.0
    ]


# --- Delivery ---


def seqs(sent: list[Sent]) -> list[int]:
    return [s.payload["seq"] for s in sent]


@checks("silent")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 10, kind = "silent"'))
    assert not any(5.0 < s.at_s < 15.0 for s in sent)
    assert seqs(sent) == [*range(25), *range(75, 101)]  # made, counted and never heard


@checks("loss")
def _() -> None:
    sent = readings(with_fault('at_s = 0, kind = "loss", share_ratio = 0.5'))
    assert 30 < len(sent) < 70
    assert seqs(sent) == sorted(set(seqs(sent)))


@checks("duplicate")
def _() -> None:
    sent = readings(with_fault('at_s = 0, kind = "duplicate", share_ratio = 0.5, by_s = 0.3'))
    assert 130 < len(sent) < 170
    assert sorted(set(seqs(sent))) == list(range(101))
    twice = [s for s in sent if seqs(sent).count(s.payload["seq"]) == 2]
    assert twice[0].payload == next(s for s in twice[1:] if s.payload["seq"] == twice[0].payload["seq"]).payload


@checks("reorder")
def _() -> None:
    sent = readings(with_fault('at_s = 0, kind = "reorder", share_ratio = 0.3, by_s = 0.7'))
    assert sorted(seqs(sent)) == list(range(101))
    assert seqs(sent) != list(range(101))


@checks("late")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 5, kind = "late", by_s = 2.5'))
    delays = {s.stamp_s: s.at_s - s.stamp_s for s in sent}
    for stamp_s, delay_s in delays.items():
        assert delay_s == pytest.approx(2.52 if 5.0 <= stamp_s < 10.0 else 0.02, abs=1e-6)


@checks("burst")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 5, kind = "burst"'))
    held = [s.at_s for s in sent if 5.0 <= s.stamp_s < 10.0]
    assert len(held) == 25
    assert min(held) >= 10.0
    assert max(held) < 10.1
    assert seqs(sent)[:25] == list(range(25))


@checks("wrong_clock")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 5, kind = "wrong_clock", by_s = -3600'))
    wrong = [s for s in sent if s.stamp_s < 0.0]
    assert len(wrong) == 25
    assert wrong[0].stamp_s == pytest.approx(5.0 - 3600.0)
    assert wrong[0].at_s == pytest.approx(5.02)


@checks("no_clock")
def _() -> None:
    sent = readings(with_fault('at_s = 5, kind = "no_clock"'))
    assert [s.stamp_s is None for s in sent] == [n >= 25 for n in range(101)]


@checks("restart")
def _() -> None:
    sent = readings(with_fault('at_s = 5, for_s = 4, kind = "restart"'))
    assert seqs(sent) == [*range(25), *range(56)]
    assert len({s.payload["boot"] for s in sent[:25]}) == 1
    assert len({s.payload["boot"] for s in sent[25:]}) == 1
    assert sent[0].payload["boot"] != sent[-1].payload["boot"]
    assert not any(5.0 < s.at_s < 9.0 for s in sent)


@checks("garbled")
def _() -> None:
    sent = readings(with_fault('at_s = 5, kind = "garbled", share_ratio = 1.0'))
    assert all(isinstance(s.payload, dict) for s in sent[:25])
    assert all(isinstance(s.payload, str) and not s.payload.endswith("}}") for s in sent[25:])


@checks("retained")
def _() -> None:
    sent = readings(with_fault('at_s = 0, for_s = 5, kind = "retained"'))
    assert [s.retained for s in sent] == [n < 25 for n in range(101)]


def test_silence_can_be_announced_by_the_broker_and_ends_with_online() -> None:
    from simulator.play import timeline

    announced = with_fault('at_s = 5, for_s = 10, kind = "silent", says_offline = true')  # and lasts long enough
    said = [(s.at_s, s.payload) for s in timeline(announced, seed=1) if s.leaf == "connection"]
    assert [payload for _, payload in said] == ["online", "offline", "online"]
    assert [at_s for at_s, _ in said] == pytest.approx([0.0, 12.4, 15.0])


def test_faults_add_up() -> None:
    both = scenario(
        'faults = [{ at_s = 5, kind = "leak", circuit = "B", leak_kpa_per_min = 1 },'
        ' { at_s = 10, kind = "leak", circuit = "B", leak_kpa_per_min = 2 }]'
    )
    leaks = {round(i.t_s, 3): leak_kpa_per_min(i.state, i.params, 1) for i in instants(both)}
    assert leaks[8.0] == pytest.approx(1.1, rel=0.02)
    assert leaks[12.0] == pytest.approx(3.1, rel=0.02)


def test_every_fault_is_checked() -> None:
    assert set(CHECKS) == set(FAULTS)
