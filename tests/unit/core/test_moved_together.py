"""What moves every circuit at once, hoist or load, on scenes made by hand: both sides of every limit."""

from dataclasses import replace

import pytest

from monitor.core import moved
from monitor.core.moved import Scene, Seen, Witness
from monitor.core.readings import Pump
from monitor.core.sensors import ABSOLUTE
from monitor.core.standstill import Standstill
from tests.unit.core.test_moved_causes import NOW_S, gauge, looked, recent, still

STANDS = still(50.0)
NOISY = Standstill(60.0, 99.0, bend_var_kpa2=0.24)  # 0.2 kPa: a second difference has six times a reading's variance


def scene(*, sd_kpa: float = 0.0, settled: bool = True, **vacuum_kpa: float) -> Scene:
    return Scene(NOW_S, None, {name: Seen(kpa, sd_kpa, settled) for name, kpa in vacuum_kpa.items()})


# --- what a circuit read lately


def test_circuit_is_seen_by_the_middle_of_what_was_read_and_its_error() -> None:
    """The median of n readings: 1.25 times the error of a mean, 0.2/2 of four."""
    read = {"A": ((97.0, 61.0), (98.0, 90.0), (99.0, 62.0), (100.0, 63.0))}
    seen = moved._seen({"A": gauge(NOISY)}, read, NOW_S)
    assert seen["A"].vacuum_kpa == 63.0  # of an even number the upper one
    assert seen["A"].sd_kpa == pytest.approx(0.125)
    assert seen["A"].settled


def test_noisiest_of_several_gauges_counts_and_none_is_none() -> None:
    read = recent(NOW_S, A=60.0, B=60.0)
    two = gauge(stills={"1": still(), "2": replace(NOISY, bend_var_kpa2=0.06)})
    seen = moved._seen({"A": two, "B": gauge(stills={})}, read, NOW_S)
    assert seen["A"].sd_kpa == pytest.approx(1.25 * 0.1 / 3**0.5)
    assert seen["B"].sd_kpa == 0.0


@pytest.mark.parametrize(
    ("readings_n", "age_s", "changed", "seen"),
    [
        pytest.param(3, 0.0, {}, True, id="three readings"),
        pytest.param(2, 0.0, {}, False, id="two readings"),
        pytest.param(3, 3.0, {}, True, id="three seconds old"),
        pytest.param(3, 3.1, {}, False, id="older"),
        pytest.param(3, 0.0, {"fault": "jumped"}, False, id="not believed"),
    ],
)
def test_circuit_is_seen_by_three_believed_readings_of_late(
    readings_n: int,
    age_s: float,
    changed: dict,  # type: ignore[type-arg]
    seen: bool,
) -> None:
    """Whether the one before it is seen or not."""
    read = tuple((NOW_S - age_s - number, 60.0) for number in reversed(range(readings_n)))
    found = moved._seen({"A": gauge(**changed), "B": gauge()}, {"A": read, **recent(NOW_S, B=61.0)}, NOW_S)
    assert ("A" in found) is seen
    assert "B" in found


@pytest.mark.parametrize(
    ("changed", "settled"),
    [
        pytest.param({"pump_stopped_s": 40.0}, True, id="stopped a minute ago"),
        pytest.param({"pump_stopped_s": 40.1}, False, id="stopped since"),
        pytest.param({"pump": Pump.ON, "pump_stopped_s": 30.0}, False, id="runs"),
        pytest.param({"pump": Pump.ON}, False, id="has always run"),
        pytest.param({"pump": None}, False, id="does not report"),
    ],
)
def test_pump_has_rested_for_a_minute(changed: dict, settled: bool) -> None:  # type: ignore[type-arg]
    assert moved._seen({"A": gauge(**changed)}, recent(NOW_S, A=60.0), NOW_S)["A"].settled is settled


# --- how far the others moved


@pytest.mark.parametrize(
    ("then", "now", "moves_kpa"),
    [
        pytest.param({"B": 61.0, "C": 61.0}, {"B": 60.5, "C": 60.0}, [-0.5, -1.0], id="both down"),
        pytest.param({"B": 61.0, "C": 61.0}, {"B": 61.5, "C": 62.0}, [0.5, 1.0], id="both up"),
        pytest.param({"B": 61.0, "C": 61.0}, {"B": 61.5, "C": 60.0}, [], id="not the same way"),
        pytest.param({"B": 61.0, "C": 61.0}, {"B": 61.5, "C": 61.25}, [], id="one hardly"),
        pytest.param({"B": 61.0}, {"B": 60.0, "C": 61.0}, [-1.0], id="one not seen before"),
        pytest.param({"C": 61.0, "B": 61.0}, {"B": 60.0}, [-1.0], id="one not seen now"),
        pytest.param({"A": 61.0, "B": 61.0}, {"A": 61.0, "B": 60.0}, [-1.0], id="itself left out"),
        pytest.param(
            {"C": 61.0, "B": 61.0}, {"D": 1.0, "A": 61.0, "B": 60.0, "C": 59.5}, [-1.0, -1.5], id="all looked at"
        ),
        pytest.param({}, {"B": 60.0}, [], id="none seen"),
    ],
)
def test_moves_of_the_others(then: dict[str, float], now: dict[str, float], moves_kpa: list[float]) -> None:
    assert moved._moves("A", scene(**then), scene(**now), STANDS) == moves_kpa


@pytest.mark.parametrize(
    ("quantum_kpa", "sds_kpa", "move_kpa", "counts"),
    [
        pytest.param(0.125, (0.0, 0.0), 0.5, True, id="four quanta"),
        pytest.param(0.125, (0.0, 0.0), 0.4375, False, id="less"),
        pytest.param(0.125, (0.125, 0.0625), 1.125, True, id="six times both errors"),
        pytest.param(0.125, (0.125, 0.0625), 1.0625, False, id="less than six"),
        pytest.param(0.125, (0.0, 0.125), 0.75, True, id="six times the error now"),
        pytest.param(0.125, (0.0, 0.125), 0.6875, False, id="less than six of now"),
    ],
)
def test_move_worth_several_quanta_and_several_errors_counts(
    quantum_kpa: float, sds_kpa: tuple[float, float], move_kpa: float, counts: bool
) -> None:
    then, now = scene(sd_kpa=sds_kpa[0], B=60.0), scene(sd_kpa=sds_kpa[1], B=60.0 + move_kpa)
    assert moved._moves("A", then, now, still(quantum_kpa=quantum_kpa)) == ([move_kpa] if counts else [])


@pytest.mark.parametrize(
    ("others", "rest_then", "rest_now", "told"),
    [
        pytest.param("BC", True, True, True, id="two that rest"),
        pytest.param("BCD", True, True, True, id="three that rest"),
        pytest.param("B", True, True, False, id="one"),
        pytest.param("BC", False, True, False, id="not at rest before"),
        pytest.param("BC", True, False, False, id="not at rest now"),
    ],
)
def test_two_others_at_rest_that_fall_together_move_every_circuit(
    others: str, rest_then: bool, rest_now: bool, told: bool
) -> None:
    then = scene(settled=rest_then, **dict.fromkeys(others, 61.0))
    now = scene(settled=rest_now, **dict.fromkeys(others, 60.0))
    itself = Seen(60.0, 0.0, False)  # whether its own pump rests is asked elsewhere
    assert moved._others_moved("A", then, replace(now, seen={"A": itself, **now.seen}), STANDS) is told


@pytest.mark.parametrize(
    ("move_kpa", "told"),
    [
        pytest.param({"B": -1.0, "C": -2.0}, True, id="a kilopascal each"),
        pytest.param({"B": 1.0}, True, id="a kilopascal, one other"),
        pytest.param({"B": -0.9, "C": -2.0}, False, id="one less"),
        pytest.param({}, False, id="no other"),
    ],
)
def test_load_that_moves_the_others_by_a_kilopascal_moves_every_circuit(move_kpa: dict[str, float], told: bool) -> None:
    then, now = {"A": 60.0}, {"A": 60.0}
    for name, move in move_kpa.items():
        then[name], now[name] = 60.0, 60.0 + move
    assert moved._load_moved("A", scene(**then), scene(**now), STANDS) is told


# --- when the load came on or off


def test_load_turned_is_told_once_six_seconds_later_with_the_scene_from_before_it() -> None:
    witness = Witness()
    scenes = {at_s: Scene(at_s, None, {}) for at_s in (96.0, 97.5, 98.0, 99.5)}
    witness.scenes = list(scenes.values())
    assert moved._load_turned(witness, False, 99.9) is None
    assert moved._load_turned(witness, None, 99.95) is None  # not known: neither on nor off
    assert moved._load_turned(witness, True, 100.0) is None
    assert moved._load_turned(witness, True, 105.9) is None
    assert moved._load_turned(witness, True, 106.0) is scenes[97.5]  # the last at least 2.5 s before
    assert moved._load_turned(witness, True, 106.1) is None
    witness.scenes = [Scene(108.0, None, {})]
    assert moved._load_turned(witness, False, 109.0) is None  # nothing known from before it
    assert moved._load_turned(witness, False, 115.0) is None


# --- all of it together


def hoisted(at_s: float, since_s: float, *, name: str = "", pump: Pump | None = Pump.OFF) -> dict[str, tuple[str, ...]]:
    """B and C fall by half a kilopascal between 70 s and ``at_s``; A stands since ``since_s``."""
    witness = Witness()
    others = {"B": gauge(still(99.9)), "C": gauge(still(99.9))}
    gauges = {"A": gauge(still(since_s), name, pump=pump), **others}
    looked(witness, gauges, 70.0, recent=recent(70.0, A=60.0, B=61.0, C=61.5))
    return looked(witness, gauges, at_s, recent=recent(at_s, A=60.0, B=60.5, C=61.0))


@pytest.mark.parametrize(
    ("at_s", "since_s", "told"),
    [
        pytest.param(100.0, 70.0, {"A": ("",)}, id="stood over all of it"),
        pytest.param(100.0, 70.1, {}, id="moved since"),
        pytest.param(100.1, 20.0, {}, id="half a minute and more: may be their leaks"),
    ],
)
def test_gauge_that_stood_while_the_others_fell_within_half_a_minute(
    at_s: float, since_s: float, told: dict[str, tuple[str, ...]]
) -> None:
    assert hoisted(at_s, since_s) == told


def test_absolute_gauge_or_one_whose_pump_runs_need_not_follow_the_others() -> None:
    assert hoisted(100.0, 20.0, pump=None) == {"A": ("",)}
    assert hoisted(100.0, 20.0, pump=Pump.ON) == {}
    assert hoisted(100.0, 20.0, name=ABSOLUTE) == {}


@pytest.mark.parametrize(
    ("since_s", "told"),
    [
        pytest.param(97.5, {"A": ("",)}, id="stood over the pick"),
        pytest.param(97.6, {}, id="moved after the scene before it"),
    ],
)
def test_gauge_that_stood_while_the_load_came_on(since_s: float, told: dict[str, tuple[str, ...]]) -> None:
    """B alone moves, as the load comes on at 100 s."""
    witness = Witness()
    gauges = {"A": gauge(still(since_s)), "B": gauge(still(105.0))}
    for at_s, loaded, kpa in [(97.5, False, 61.0), (99.0, False, 61.0), (100.0, True, 62.0), (106.0, True, 62.0)]:
        found = looked(witness, gauges, at_s, recent=recent(at_s, A=60.0, B=kpa), loaded=loaded)
    assert found == told
