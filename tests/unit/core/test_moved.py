"""Rule 1's frozen gauge: unchanged while something known to move it happened. Both sides of each cause and limit."""

import pytest

from monitor.core import lifter
from monitor.core.events import Event, ReadingCame, Tick
from monitor.core.readings import Pump
from tests.histories import Watch, dock

STEPS = "60x20 59.9x20 60x20"  # the gauge shows how fine it is
QUIET = {"load_kg": "0x1", "tilt_deg": "90x1"}


class Gauges(Watch):
    """The memory of the gauges alone: no call, alarm or status is made of it."""

    def take(self, event: Event) -> None:
        one = self.state.lifters[self.lifter]
        match event:
            case ReadingCame(reading):
                lifter.take(one, reading, self.now_s)
            case Tick():
                lifter.settle(one, self.now_s)
        lifter.advance_phase(one, self.now_s)


def fault(watch: Watch, name: str = "A") -> str | None:
    return watch.state.lifters[watch.lifter].gauges[name].fault


def played(watch: Watch | None = None, **signals: str) -> Watch:
    watch = watch or Gauges()
    watch.play(**{"B": "61x1", **QUIET, **signals})
    return watch


# --- its pump


@pytest.mark.parametrize(("for_n", "told"), [(99, None), (106, "frozen")])
def test_fine_gauge_that_stands_still_over_the_start_of_its_pump_is_frozen(for_n: int, told: str | None) -> None:
    watch = played(A=f"{STEPS} 60x{10 + for_n}", A_pump=f"offx70 onx{for_n}")
    assert fault(watch) == told


@pytest.mark.parametrize(("quantum_kpa", "told"), [(0.1, "frozen"), (0.2, "frozen"), (0.25, None), (0.5, None)])
def test_coarse_gauge_may_stand_still_over_the_start_of_its_pump(quantum_kpa: float, told: str | None) -> None:
    watch = played(A=f"60x20 {60 - quantum_kpa}x20 60x20 60x210", A_pump="offx70 onx200")
    assert fault(watch) == told


def test_gauge_that_moved_after_its_pump_started_is_not_frozen() -> None:
    assert fault(played(A=f"{STEPS} 60x10 60>60.5x6 60.5x200", A_pump="offx70 onx206")) is None


def test_pump_running_when_first_heard_is_no_start() -> None:
    assert fault(played(A="60.1x1 60x300", A_pump="onx1")) is None


def test_gauge_of_open_pads_may_stand_still_whatever_its_pump_does() -> None:
    assert fault(played(A="0.1x20 0x500", A_pump=" ".join(["offx20 onx60"] * 6))) is None


@pytest.mark.parametrize(("run_n", "told"), [(19, None), (20, "frozen")])
def test_fine_gauge_shows_a_whole_stroke(run_n: int, told: str | None) -> None:
    assert fault(played(A=f"{STEPS} 60x100", A_pump=f"offx70 onx{run_n} offx1")) == told


@pytest.mark.parametrize(("strokes_n", "told"), [(1, None), (2, "frozen")])
@pytest.mark.parametrize("steps", ["", "60x10 59x10 60x10", "60x10 59.5x10 60x10"])
def test_gauge_stuck_over_two_strokes_is_frozen_however_coarse_or_stuck_from_the_first(
    steps: str, strokes_n: int, told: str | None
) -> None:
    pump = " ".join(["offx40", *["onx30 offx30"] * strokes_n])
    assert fault(played(A=f"{steps} 60x300".strip(), A_pump=pump)) == told


def test_gauge_coarser_than_a_stroke_shows_none() -> None:
    assert fault(played(A="60x10 58x10 60x300", A_pump=" ".join(["offx40 onx30"] * 4 + ["offx1"]))) is None


@pytest.mark.parametrize(
    ("levels", "value_kpa", "still_n", "told"),
    [
        (True, 45.0, 35, "frozen"),
        (True, 45.0, 25, None),  # it may have stopped just after it was read last
        (True, 65.6, 35, None),  # within half a kilopascal of its stop level a pump stops by itself
        (False, 45.0, 35, None),  # nobody knows where it stops
    ],
)
def test_fine_gauge_that_stands_still_over_the_stop_of_its_pump_below_its_stop_level_is_frozen(
    levels: bool, value_kpa: float, still_n: int, told: str | None
) -> None:
    watch = Gauges(dock(pump_levels=levels))
    vacuum = f"{value_kpa - 5}>{value_kpa}x51 {value_kpa}x{still_n + 120}"
    assert fault(played(watch, A=vacuum, A_pump=f"onx{51 + still_n} offx1")) == told


def test_pump_that_does_not_report_is_no_cause() -> None:
    assert fault(played(A=f"{STEPS} 60x600")) is None


# --- hoist, by ambient or height measured on the lifter


@pytest.mark.parametrize(
    ("to_kpa", "told"),
    [(100.85, None), (100.75, "frozen")],  # four quanta of 0.1 kPa below 101.2
)
def test_gauge_that_does_not_follow_the_ambient_is_frozen(to_kpa: float, told: str | None) -> None:
    watch = played(A=f"{STEPS} 60x600", ambient_kpa=f"101.2x80 101.2>{to_kpa}x400 {to_kpa}x60")
    assert fault(watch) == told


@pytest.mark.parametrize(("to_m", "told"), [(30.0, None), (36.0, "frozen")])
def test_gauge_that_does_not_follow_the_height_is_frozen(to_m: float, told: str | None) -> None:
    assert fault(played(A=f"{STEPS} 60x600", height_m=f"0x80 0>{to_m}x400 {to_m}x60")) == told


def test_coarse_gauge_need_not_follow_a_small_hoist() -> None:
    assert fault(played(A="60x10 59x10 60x600", height_m="0x80 0>100x400 100x60")) is None


def test_running_pump_may_hold_a_gauge_against_the_hoist() -> None:
    watch = played(A=f"{STEPS} 60x600", height_m="0x80 0>60x400 60x60", A_pump="onx1")
    assert fault(watch) is None


def test_absolute_gauge_does_not_follow_the_hoist() -> None:
    watch = Gauges()
    for number in range(600):
        watch.until(watch.now_s + 0.1)
        circuits = {"A": {"pressure_abs_kpa": 41.0 + 0.1 * (number == 20)}, "B": {"vacuum_kpa": 61.0}}
        watch.send({"circuits": circuits, "load_kg": 0.0, "ambient_kpa": 101.2 - 0.0015 * number})
    assert fault(watch) is None


def test_one_wild_height_is_no_hoist() -> None:
    assert fault(played(A=f"{STEPS} 60x600", height_m="0x58 90x1 0x60 95x1 0x400")) is None


def test_ambient_measured_on_the_ground_moves_no_gauge() -> None:
    watch = Gauges(dock(ambient_at="ground"))
    assert fault(played(watch, A=f"{STEPS} 60x600", ambient_kpa="101.2x80 101.2>99x400")) is None


@pytest.mark.parametrize("heard", [True, False])
def test_gauge_left_out_of_the_last_reading_is_silent_and_not_frozen(heard: bool) -> None:
    """Of several gauges only one that still says the same can be stuck."""
    watch = Gauges()
    for number in range(60):
        watch.until(watch.now_s + 0.5)
        steps = 0.1 * (number % 4 == 1) if number < 20 else 0.0
        height_m = max(0.0, 2.0 * (number - 25))
        gauges = {"1": 60.0 + steps - 0.012 * height_m, "2": 60.0 + steps}
        if not heard and number >= 40:  # before the hoist is worth four of its steps
            del gauges["2"]
        watch.send(
            {"circuits": {"A": {"gauges": gauges}, "B": {"vacuum_kpa": 61.0}}, "load_kg": 0.0, "height_m": height_m}
        )
    assert (fault(watch) == "frozen") is heard


# --- the other circuits

FOUR = dict(zip("ABCD", [dock().circuits["A"]] * 4, strict=True))
RESTS = {f"{name}_pump": "offx1" for name in "ABCD"}


def four(*, rate_hz: float = 5.0, **signals: str) -> Watch:
    watch = Gauges(dock(circuits=FOUR, pads={}))
    watch.play(**{"C": "61x1", "D": "61x1", **RESTS, **QUIET, **signals}, rate_hz=rate_hz)
    return watch


@pytest.mark.parametrize(("to_kpa", "told"), [(60.65, None), (60.5, "frozen")])
def test_gauge_that_stands_while_all_others_fall_together_is_frozen(to_kpa: float, told: str | None) -> None:
    falls = f"61x350 61>{to_kpa}x100 {to_kpa}x30"
    assert fault(four(A=f"{STEPS} 60x400", B=falls, C=falls, D=falls)) == told


def test_leak_of_some_others_moves_no_gauge() -> None:
    falls = "61x350 61>58x100"
    assert fault(four(A=f"{STEPS} 60x400", B=falls, C=falls)) is None


def test_normal_leaks_of_all_others_move_no_coarse_gauge() -> None:
    falls = "61x60 61>58x1200"  # 0.3 kPa a minute for ten minutes
    assert fault(four(A="60x20 59.8x20 60x1200", B=falls, C=falls, D=falls, rate_hz=2.0)) is None


def test_gas_that_warms_after_the_others_strokes_moves_no_gauge() -> None:
    stroke = {f"{name}_pump": "onx350 offx1" for name in "BCD"}
    falls = "61x350 61>60x100"
    assert fault(four(A=f"{STEPS} 60x400", B=falls, C=falls, D=falls, **stroke)) is None


def test_one_other_circuit_may_leak_and_moves_no_gauge() -> None:
    assert fault(played(A=f"{STEPS} 60x900", B="61x100 61>55x400", A_pump="offx1", B_pump="offx1")) is None


# --- the load


@pytest.mark.parametrize(("to_kpa", "told"), [(61.9, None), (62.1, "frozen")])
def test_gauge_that_stands_while_the_load_moves_the_others_is_frozen(to_kpa: float, told: str | None) -> None:
    watch = played(A=f"{STEPS} 60x300", B=f"61x100 61>{to_kpa}x20 {to_kpa}x100", load_kg="0x100 0>600x20 600x100")
    assert fault(watch) == told


def test_load_coming_off_counts_as_well() -> None:
    watch = played(A=f"{STEPS} 60x60", load_kg="600x1")
    watch.play(A="60x300", B="61x60 61>59x10 59x100", load_kg="600x60 600>0x10 0x100", tilt_deg="90x1")
    assert fault(watch) == "frozen"


def test_load_that_moves_no_circuit_proves_nothing() -> None:
    assert fault(played(A=f"{STEPS} 60x400", B="61x1", load_kg="0x100 0>600x20 600x300")) is None


def test_slow_fall_after_the_pick_is_a_leak_of_the_other() -> None:
    assert fault(played(A=f"{STEPS} 60x400", B="61x110 61>59x300", load_kg="0x100 0>600x20 600x300")) is None


# --- what is told


def test_frozen_gauge_is_a_sensor_fault_with_its_alarm_and_no_time() -> None:
    watch = Watch()
    watch.play(A="64x1", B="64x1", **QUIET, noise_kpa=0.05, seed=1)
    watch.play(A="64x60 63.9x20 64x300", B="64x300", load_kg="0x60 600x1", height_m="0x100 0>60x200 60x80")
    circuit = watch.status.facts.circuits["A"]
    assert watch.circuit("A") == "sensor_fault"
    assert (circuit.to_warning, circuit.reserve) == (None, None)
    assert watch.alarms["sensor_fault A"] == "unacknowledged"
    assert watch.call == "land_soon"


def test_frozen_gauge_is_believed_again_after_three_changes() -> None:
    watch = played(A=f"{STEPS} 60x120", A_pump="offx70 onx110")
    assert fault(watch) == "frozen"
    watch.play(A="60.2x1 60.4x1", B="61x1", A_pump="onx1", **QUIET)
    assert fault(watch) == "frozen"
    watch.play(A="60.6x1", B="61x1", A_pump="onx1", **QUIET)
    assert (fault(watch), watch.state.lifters[watch.lifter].gauges["A"].pump) == (None, Pump.ON)


# --- stuck since it was first heard: it may be the coarsest gauge there is


@pytest.mark.parametrize(("climb_m", "told"), [(320, None), (345, "frozen")])
def test_gauge_never_seen_to_move_is_frozen_where_the_coarsest_must_have(climb_m: int, told: str | None) -> None:
    """Four kilopascals of climb at 0.012 kPa a metre are 334 m."""
    watch = played(A="60x50")
    watch.play(A="60x1", B="61x1", load_kg="0x1", tilt_deg="90x1", height_m=f"0x20 0>{climb_m}x1800 {climb_m}x40")
    assert fault(watch) == told


@pytest.mark.parametrize(("to_kpa", "told"), [(51.9, None), (52.0, "frozen")])  # its warning level
def test_gauge_never_seen_to_move_is_frozen_once_another_circuit_was_drawn_down(
    to_kpa: float, told: str | None
) -> None:
    """Two circuits on one panel: the engine heard the pads attach, and one gauge said the same before and after."""
    assert fault(played(A="60x180", B=f"0x60 0>{to_kpa}x60 {to_kpa}x60")) == told


def test_gauge_first_heard_with_all_circuits_drawn_down_may_stand_still() -> None:
    assert fault(played(A="60x150", B="61x50 61>55x20 55>61x20 61x60")) is None


def test_sender_that_invents_gauges_has_no_more_of_them_remembered_than_are_followed() -> None:
    watch = Gauges()
    for number in range(200):
        watch.until(watch.now_s + 0.5)
        watch.seq += 1
        gauges = {f"g{number}": 60.0, "1": 60.0}
        watch.send({"time": watch.now_s, "seq": watch.seq, "boot": "a", "circuits": {"A": {"gauges": gauges}}})
    watch.until(watch.now_s + 1.0)
    one = watch.state.lifters[watch.lifter]
    assert {name for circuit, name in one.witness.marks if circuit == "A"} <= one.gauges["A"].stills.keys()


# --- another circuit let go and drawn down again


AGAIN = "0>61x40 61x80"
"""Drawn down anew."""


@pytest.mark.parametrize("quantum_kpa", [0.1, 0.5, 1.0, 2.0])
def test_gauge_that_stands_from_one_lift_to_the_next_is_frozen(quantum_kpa: float) -> None:
    steps = f"60x10 {60 - quantum_kpa}x10 60x10"
    watch = played(A=f"{steps} 60x60", B="61x50 61>0x20 0x20", load_kg="600x40 0x50")
    assert fault(watch) is None  # that one alone lets go may be all there was
    assert fault(played(watch, A="60x160", B=f"0x40 {AGAIN}")) == "frozen"


@pytest.mark.parametrize(("own_pump", "told"), [("offx90 onx80 offx40", "frozen"), ("offx210", None)])
def test_circuit_set_anew_alone_moves_no_other_whose_pump_rests(own_pump: str, told: str | None) -> None:
    """On the ground, for its bad seal: by its own pump, with the other still on the panel."""
    steps = "60x10 59.5x10 60x10"
    b_pump = "offx90 onx80 offx40"
    watch = played(A=f"{steps} 60x180", B=f"61x30 61>0x20 0x40 {AGAIN}", A_pump=own_pump, B_pump=b_pump)
    assert fault(watch) == told


def test_circuit_set_anew_alone_moves_no_other_whose_pump_says_nothing_before_a_lift() -> None:
    assert fault(played(A="60x10 59.5x10 60x190", B=f"61x30 61>0x20 0x40 {AGAIN}")) is None


@pytest.mark.parametrize(("low_kpa", "told"), [(7.8, "frozen"), (7.9, None)])  # where its pads hold nothing
def test_circuit_that_is_not_let_go_whole_moves_no_other(low_kpa: float, told: str | None) -> None:
    vacuum = f"61x40 61>{low_kpa}x20 {low_kpa}x80 {low_kpa}>61x40 61x60"
    assert fault(played(A="60x10 59x10 60x220", B=vacuum, load_kg="600x40 0x1")) == told


def test_gauge_that_moved_once_may_stand_while_a_circuit_that_was_open_from_the_first_is_drawn_down() -> None:
    assert fault(played(A="60.1x1 60x300", B="0x180 0>61x60 61x60", load_kg="600x40 0x1")) is None


def test_gauge_that_moved_since_another_let_go_may_stand_still_while_that_is_drawn_down() -> None:
    vacuum = f"61x30 61>0x20 0x40 {AGAIN}"
    assert fault(played(A="60x10 59x10 60x60 59x130", B=vacuum, load_kg="600x20 0x1")) is None


def test_gauge_of_pads_that_are_let_go_may_stand_still_while_another_circuit_is_drawn_down() -> None:
    assert fault(played(A="0x210", B=f"61x30 61>0x20 0x40 {AGAIN}", load_kg="600x20 0x1")) is None


@pytest.mark.parametrize(("low_n", "told"), [(50, None), (72, "frozen")])  # six seconds, looked at on ticks
def test_loose_contact_is_no_pad_let_go(low_n: int, told: str | None) -> None:
    vacuum = f"61x40 0x{low_n} 61x40"
    assert fault(played(A=f"60x10 59x10 60x{60 + low_n}", B=vacuum, load_kg="600x30 0x1")) == told


@pytest.mark.parametrize(("own_pump", "told"), [("offx60 onx60 offx60", "frozen"), ("offx180", None)])
def test_gauge_never_seen_to_move_beside_one_drawn_down_is_frozen_if_its_own_pump_came_on(
    own_pump: str, told: str | None
) -> None:
    assert fault(played(A="60x180", B="0x60 0>61x60 61x60", A_pump=own_pump)) == told
