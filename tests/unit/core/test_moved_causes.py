"""What must have moved a gauge, one cause at a time, on gauges made by hand: both sides of every limit, worked out by hand."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from monitor.core import moved
from monitor.core.config import CircuitConfig
from monitor.core.moved import Scene, Witness
from monitor.core.readings import Pump
from monitor.core.sensors import ABSOLUTE, Gauge
from monitor.core.silent_gauges import LastHeard
from monitor.core.standstill import Standstill

NOW_S = 100.0
FINE = Standstill(60.0, 20.0, quantum_kpa=0.1)  # has said 60 kPa since 20 s, in steps of 0.1 kPa
CONFIG = {
    name: CircuitConfig(name, warning_kpa=52.0, working_kpa=62.0, pump_stop_kpa=66.0) for name in "ABC"
}  # open at 7.8 kPa
STROKE = ((30.0, 40.0),)


def gauge(still: Standstill = FINE, name: str = "", **changes: object) -> Gauge:
    """A gauge heard just now with its pump at rest."""
    made = Gauge(
        vacuum_kpa=60.0,
        heard_s=NOW_S,
        pump=Pump.OFF,
        stills={name: still},
        last_heard={name: LastHeard(NOW_S, (60.0,))},
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def still(since_s: float = 20.0, quantum_kpa: float | None = 0.1, **changes: object) -> Standstill:
    return replace(FINE, since_s=since_s, quantum_kpa=quantum_kpa, **changes)  # type: ignore[arg-type]


def looked(
    witness: Witness,
    gauges: Mapping[str, Gauge],
    now_s: float = NOW_S,
    *,
    recent: Mapping[str, tuple[tuple[float, float], ...]] | None = None,
    loaded: bool | None = None,
) -> dict[str, tuple[str, ...]]:
    return moved.look(witness, gauges, recent or {}, now_s, config=CONFIG, loaded=loaded, stale_after_s=3.0)


def recent(now_s: float, **vacuum_kpa: float) -> dict[str, tuple[tuple[float, float], ...]]:
    return {name: tuple((now_s - age_s, kpa) for age_s in (1.0, 0.5, 0.0)) for name, kpa in vacuum_kpa.items()}


# --- which gauges are looked at


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        pytest.param({"strokes": STROKE}, ("",), id="a stroke and no step"),
        pytest.param({"strokes": ()}, None, id="nothing moved it"),
        pytest.param({"strokes": STROKE, "stills": {"": still(frozen=True)}}, None, id="said already"),
        pytest.param({"strokes": STROKE, "heard_s": NOW_S - 1.0}, None, id="another was heard last"),
        pytest.param({"strokes": STROKE, "vacuum_kpa": 7.8}, None, id="open: 15 % of its warning level"),
        pytest.param({"strokes": STROKE, "vacuum_kpa": 7.9}, ("",), id="holds a little"),
        pytest.param({"strokes": STROKE, "vacuum_kpa": None}, None, id="nothing believed"),
    ],
)
def test_gauge_that_is_heard_and_holds_is_looked_at(changed: dict, told: tuple[str, ...] | None) -> None:  # type: ignore[type-arg]
    witness, gauges = Witness(), {"A": gauge(**changed)}
    assert looked(witness, gauges, NOW_S - 0.5) == {}  # seen for the first time
    assert looked(witness, gauges).get("A") == told


@pytest.mark.parametrize(("stood_s", "told"), [(2.9, {}), (3.0, {"A": ("",)})])
def test_standstill_of_three_seconds_at_least_is_judged(stood_s: float, told: dict[str, tuple[str, ...]]) -> None:
    one = gauge(still(NOW_S - stood_s), strokes=((NOW_S - stood_s, NOW_S - 0.5),))
    witness = Witness()
    looked(witness, {"A": one}, NOW_S - 0.1)
    assert looked(witness, {"A": one}) == told


def test_each_circuit_and_each_gauge_of_one_is_judged_by_itself() -> None:
    two = {"1": still(), "2": still(50.0)}
    of_two = gauge(stills=two, last_heard={name: LastHeard(NOW_S, (60.0,)) for name in two}, strokes=STROKE)
    both = replace(of_two, stills=two | {"2": still()})
    second = replace(of_two, stills={"1": still(frozen=True), "2": still()})
    gauges = {"A": of_two, "B": both, "C": second}
    witness = Witness()
    looked(witness, gauges, NOW_S - 0.5)
    assert looked(witness, gauges) == {"A": ("1",), "B": ("1", "2"), "C": ("2",)}


def test_new_value_begins_anew() -> None:
    witness = Witness()
    looked(witness, {"A": gauge(still(20.0))}, 90.0)
    climbed = {"A": gauge(still(91.0), strokes=((92.0, 95.0),))}
    assert looked(witness, climbed) == {}
    assert looked(witness, climbed) == {"A": ("",)}


# --- its pump


@pytest.mark.parametrize(
    ("quantum_kpa", "strokes", "told"),
    [
        pytest.param(0.2, ((20.0, 22.0),), True, id="fine, one stroke of 2 s from its standstill on"),
        pytest.param(0.2, ((20.0, 21.9),), False, id="too short a stroke"),
        pytest.param(0.2, ((19.9, 30.0),), False, id="begun before its standstill"),
        pytest.param(0.21, STROKE, False, id="not fine, one stroke"),
        pytest.param(1.0, (*STROKE, (50.0, 55.0)), True, id="a kilopascal, two strokes"),
        pytest.param(1.0, (*STROKE, (50.0, 51.0)), False, id="a kilopascal, one stroke and a short one"),
        pytest.param(1.01, (*STROKE, (50.0, 55.0)), False, id="coarser than a stroke"),
        pytest.param(None, STROKE, False, id="never seen to move, one stroke"),
        pytest.param(None, (*STROKE, (50.0, 55.0)), True, id="never seen to move, two strokes"),
    ],
)
def test_strokes_a_gauge_must_show(
    quantum_kpa: float | None, strokes: tuple[tuple[float, float], ...], told: bool
) -> None:
    assert moved._pump_moved(gauge(strokes=strokes), still(quantum_kpa=quantum_kpa), NOW_S, None) is told


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        pytest.param({"pump_started_s": 90.0}, True, id="ten seconds ago"),
        pytest.param({"pump_started_s": 90.1}, False, id="not yet ten"),
        pytest.param({"pump_started_s": 20.0}, True, id="as it came to stand"),
        pytest.param({"pump_started_s": 19.9}, False, id="before it came to stand"),
        pytest.param({"pump_started_s": None}, False, id="start not seen"),
        pytest.param({"pump_started_s": None, "pump_stopped_s": 50.0, "vacuum_kpa": 40.0}, False, id="an old stop"),
    ],
)
def test_start_a_fine_gauge_must_show(changed: dict, told: bool) -> None:  # type: ignore[type-arg]
    assert moved._pump_moved(gauge(pump=Pump.ON, **changed), FINE, NOW_S, 66.0) is told
    assert moved._pump_moved(gauge(pump=Pump.ON, **changed), still(quantum_kpa=0.5), NOW_S, 66.0) is False


@pytest.mark.parametrize(
    ("changed", "stop_kpa", "told"),
    [
        pytest.param({}, 66.0, True, id="6 kPa under its stop level"),
        pytest.param({"vacuum_kpa": 65.4}, 66.0, True, id="just under"),
        pytest.param({"vacuum_kpa": 65.5}, 66.0, False, id="stopped by itself"),
        pytest.param({}, None, False, id="nobody knows its stop level"),
        pytest.param({"vacuum_kpa": None}, 66.0, False, id="nothing believed"),
        pytest.param({"pump_stopped_s": None}, 66.0, False, id="stop not seen"),
        pytest.param({"pump_stopped_s": 23.0}, 66.0, True, id="three seconds after it came to stand"),
        pytest.param({"pump_stopped_s": 22.9}, 66.0, False, id="sooner"),
        pytest.param({"pump_stopped_s": 90.0}, 66.0, True, id="ten seconds ago"),
        pytest.param({"pump_stopped_s": 90.1}, 66.0, False, id="not yet ten"),
    ],
)
def test_stop_below_its_level_a_fine_gauge_must_show(
    changed: dict,  # type: ignore[type-arg]
    stop_kpa: float | None,
    told: bool,
) -> None:
    assert moved._pump_moved(gauge(**{"pump_stopped_s": 50.0, **changed}), FINE, NOW_S, stop_kpa) is told


@pytest.mark.parametrize(
    "moves",
    [{"pump": Pump.ON, "pump_started_s": 90.0}, {"pump_stopped_s": 90.0}],
    ids=["start", "stop below its level"],
)
def test_start_or_stop_of_its_pump_is_looked_at(moves: dict) -> None:  # type: ignore[type-arg]
    witness, gauges = Witness(), {"A": gauge(**moves)}
    looked(witness, gauges, 90.0)
    assert looked(witness, gauges) == {"A": ("",)}


# --- the hoist


@pytest.mark.parametrize(
    ("quantum_kpa", "then_kpa", "now_kpa", "told"),
    [
        pytest.param(0.1, 0.0, 0.4, True, id="four quanta up"),
        pytest.param(0.1, 0.0, -0.4, True, id="four quanta down"),
        pytest.param(0.1, 0.2, 0.59, False, id="less than four"),
        pytest.param(0.01, 0.0, 0.2, True, id="very fine: 0.2 kPa"),
        pytest.param(0.01, 0.0, 0.19, False, id="very fine: less"),
        pytest.param(None, 0.0, 3.99, False, id="never seen to move: may be of a kilopascal"),
        pytest.param(None, 0.0, 4.01, True, id="never seen to move: four of those"),
        pytest.param(0.1, None, 9.0, False, id="unknown then"),
        pytest.param(0.1, 9.0, None, False, id="unknown now"),
    ],
)
def test_hoist_a_gauge_must_show(
    quantum_kpa: float | None, then_kpa: float | None, now_kpa: float | None, told: bool
) -> None:
    then, now = Scene(50.0, then_kpa, {}), Scene(NOW_S, now_kpa, {})
    assert moved._climbed_away(then, now, still(quantum_kpa=quantum_kpa)) is told


@pytest.mark.parametrize(
    ("changed", "told"),
    [({}, {"A": ("",)}), ({"pump": Pump.ON}, {}), ({"pump": None}, {"A": ("",)})],
    ids=["resting pump", "running pump may hold it", "pump that does not report"],
)
def test_hoist_since_its_value_came_is_looked_at(changed: dict, told: dict[str, tuple[str, ...]]) -> None:  # type: ignore[type-arg]
    witness, gauges = Witness(), {"A": gauge(**changed)}
    for at_s, climb_kpa in [(40.0, 0.0), (40.5, 0.0), (41.0, 0.0)]:
        moved.climbed(witness, "height", climb_kpa, at_s)
    assert looked(witness, gauges, 41.0) == {}
    for at_s in (99.0, 99.5, 100.0):
        moved.climbed(witness, "height", 0.5, at_s)
    assert looked(witness, gauges) == told


def test_absolute_gauge_shows_its_pump_alone() -> None:
    absolute = gauge(name=ABSOLUTE)
    witness = Witness()
    for at_s, climb_kpa in [(40.0, 0.0), (40.5, 0.0), (41.0, 0.0), (99.0, 0.5), (99.5, 0.5), (100.0, 0.5)]:
        moved.climbed(witness, "height", climb_kpa, at_s)
        told = looked(witness, {"A": absolute}, at_s)
    assert told == {}
    assert looked(witness, {"A": replace(absolute, strokes=STROKE)}) == {"A": (ABSOLUTE,)}


def test_other_measure_of_the_hoist_forgets_what_each_value_came_with() -> None:
    witness = Witness()
    looked(witness, {"A": gauge()}, 41.0)
    assert list(witness.marks) == [("A", "")]
    moved.climbed(witness, "ambient", -101.0, 42.0)
    assert witness.marks == {}
    assert witness.climbs == ((42.0, -101.0),)


@pytest.mark.parametrize(("now_s", "known"), [(5.0, True), (5.1, False)])
def test_hoist_is_known_by_three_readings_that_are_none_too_old(now_s: float, known: bool) -> None:
    witness = moved.Witness()
    for at_s, climb_kpa in [(2.0, 0.3), (3.0, 9.0), (4.0, 0.4)]:
        assert moved.climb_kpa(witness, at_s, 3.0) is None
        moved.climbed(witness, "height", climb_kpa, at_s)
    assert moved.climb_kpa(witness, now_s, 3.0) == (0.4 if known else None)  # the middle one: a wild one is no hoist
    moved.climbed(witness, "height", 0.5, 5.0)
    assert moved.climb_kpa(witness, 5.0, 3.0) == 0.5  # of the last three


def test_hoist_by_another_measure_begins_anew() -> None:
    """A height and a pressure have no zero in common."""
    witness = moved.Witness()
    for at_s in (1.0, 2.0, 3.0):
        moved.climbed(witness, "height", 0.3, at_s)
    moved.climbed(witness, "ambient", -101.0, 4.0)
    assert moved.climb_kpa(witness, 4.0, 3.0) is None
    assert witness.climb_from == "ambient"


@pytest.mark.parametrize(("heights_m", "hook_m"), [((3.0, 9.0), None), ((3.0, 90.0, 5.0), 5.0)])
def test_hook_is_at_the_middle_of_three_heights(heights_m: tuple[float, ...], hook_m: float | None) -> None:
    assert moved.hook_m(Witness(heights_m=heights_m)) == hook_m
