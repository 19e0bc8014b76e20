"""Guided seal tests, played through the engine: what passes, what never does, and what is kept of them."""

import functools
import pickle

import pytest

from monitor.core.events import Resumed
from monitor.core.seal_tests import SealState, SealTest, SealTestKind, reserve_needed_s
from monitor.words.say import say, seal_test_dict, summary_dict
from tests.histories import NO_CELL, RESTING, STILL, Watch, dock

PRE_PICK, SHIFT = SealTestKind.PRE_PICK, SealTestKind.SHIFT


@functools.cache
def _attached(changes: tuple[tuple[str, object], ...]) -> bytes:
    watch = Watch(dock(**dict(changes)))  # type: ignore[arg-type]
    watch.play(
        A="0x5 0>64x100 64x200", B="0x5 0>64x100 64x200", A_pump="onx105 offx1", B_pump="onx105 offx1",
        load_kg="0x1", noise_kpa=0.05, seed=1, **STILL,
    )  # fmt: skip
    return pickle.dumps(watch.copy())


def attached(**changes: object) -> Watch:
    """Both circuits at 64 kPa on the panel for 20 s, pumps off, nothing lifted."""
    watch: Watch = pickle.loads(_attached(tuple(sorted(changes.items()))))  # noqa: S301  # our own
    return watch


def rest(watch: Watch, seconds: float, *, seed: int = 5, **signals: str) -> None:
    """Time goes on with the pumps at rest; what is not said stays as in ``attached``."""
    last = {"A": "64x1", "B": "64x1", "load_kg": "0x1", **STILL, **RESTING, **signals}
    last["z"] = f"0x{round(10 * seconds)}"
    watch.play(**last, noise_kpa=0.05, seed=seed)


def all_ended(watch: Watch) -> list[SealTest]:
    return list(watch.state.lifters["dock-6"].seal_tests.ended)


def ended(watch: Watch) -> SealTest:
    assert watch.state.lifters["dock-6"].seal_tests.running is None
    return all_ended(watch)[-1]


def running(watch: Watch) -> SealTest:
    test = watch.state.lifters["dock-6"].seal_tests.running
    assert test is not None
    return test


def why(watch: Watch, circuit: str) -> str:
    return ended(watch).circuits[circuit].text.key.removeprefix("seal.circuit.")


# --- pre-pick


@pytest.mark.parametrize("kind", ["pre_pick", "shift"])
@pytest.mark.parametrize(("first", "reason"), [("64x5", "never_moved"), ("64.1x1 64x4", "passed")])
def test_gauge_never_seen_to_move_passes_nothing(kind: str, first: str, reason: str) -> None:
    """B has said the same since it was first heard: stuck, or tight and coarse; a seal is shown by a gauge that moves."""
    watch = Watch(dock(seal_shift_test_s=240.0))
    watch.play(A="64.1x5 64x300", B=f"{first} 64x300", A_pump="onx105 offx1", B_pump="offx1", load_kg="0x1", **STILL)
    watch.act("seal_test", test=kind, who="supervisor")
    watch.play(A="64x1", B="64x1", load_kg="0x1", z="0x3100", **STILL, **RESTING)
    assert why(watch, "B").startswith(reason)
    assert why(watch, "A").startswith("passed")


def test_tight_panel_passes_after_a_minute_and_not_before() -> None:
    watch = attached()
    assert watch.act("seal_test", test="pre_pick", who="supervisor") == "done.seal_test"
    rest(watch, 59.5)
    assert running(watch).state is SealState.RUNNING
    assert running(watch).left_s(watch.now_s) == pytest.approx(0.5, abs=0.2)
    rest(watch, 1.5)
    assert ended(watch).state is SealState.PASSED
    assert {one.state for one in ended(watch).circuits.values()} == {SealState.PASSED}
    assert ended(watch).needed_s == 480.0
    assert (ended(watch).who, ended(watch).role) == ("supervisor", "supervisor")


@pytest.mark.parametrize(
    ("lost_kpa_per_min", "state"), [(0.3, "passed"), (3.0, "not_passed")], ids=["38 min to 52", "4 min to 52"]
)
def test_reserve_decides_circuit_by_circuit(lost_kpa_per_min: float, state: str) -> None:
    """From 64 to 52 kPa at a constant rate: 12 kPa. 0.3 kPa/min leave about 38 min, 3 kPa/min 3; 8 min are asked for."""
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    end_kpa = 64.0 - lost_kpa_per_min * 62.0 / 60.0
    rest(watch, 62.0, B=f"64>{end_kpa}x620")
    assert ended(watch).circuits["A"].state is SealState.PASSED
    assert ended(watch).circuits["B"].state == state
    assert ended(watch).state == state
    if state == "not_passed":
        assert why(watch, "B") == "reserve_short"
        assert ended(watch).text.values == {"circuit": "B"}


@pytest.mark.parametrize(("to_land_s", "needed_s"), [(100.0, 300.0), (150.0, 300.0), (151.0, 302.0), (240.0, 480.0)])
def test_reserve_asked_for_is_five_minutes_or_twice_the_time_to_land(to_land_s: float, needed_s: float) -> None:
    assert reserve_needed_s(to_land_s) == needed_s
    watch = attached(time_to_land_s=to_land_s)
    watch.act("seal_test", test="pre_pick")
    rest(watch, 1.0)
    assert running(watch).needed_s == needed_s


def test_reserve_beyond_what_is_looked_at_is_not_taken_for_more() -> None:
    watch = attached(time_to_land_s=2400.0, projection_horizon_s=3600.0)
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0)
    assert why(watch, "A") == "beyond_short"  # 80 min are asked for, an hour is looked at


def test_test_waits_until_every_pump_rests_and_then_begins_by_itself() -> None:
    watch = attached()
    rest(watch, 2.0, B_pump="onx1")
    watch.act("seal_test", test="pre_pick")
    rest(watch, 5.0, B_pump="onx1")
    assert running(watch).state is SealState.WAITING
    assert running(watch).circuits["A"].text.key == "seal.circuit.ready"
    assert running(watch).circuits["B"].text.key == "seal.circuit.pump_runs"
    rest(watch, 0.5)
    assert running(watch).state is SealState.RUNNING
    rest(watch, 62.0)
    assert ended(watch).state is SealState.PASSED


def test_test_that_can_not_begin_is_broken_off() -> None:
    watch = attached()
    rest(watch, 1.0, B_pump="onx1")
    watch.act("seal_test", test="pre_pick")
    rest(watch, 119.5, B_pump="onx1")
    assert running(watch).state is SealState.WAITING
    rest(watch, 1.0, B_pump="onx1")
    assert ended(watch).text.key == "seal.broken.waited"
    assert ended(watch).state is SealState.NOT_PASSED


def test_circuit_under_its_level_is_waited_for() -> None:
    watch = attached()
    rest(watch, 10.0, B="64>50x50 50x1")
    watch.act("seal_test", test="pre_pick")
    rest(watch, 1.0, B="50x1")
    assert running(watch).circuits["B"].text.key == "seal.circuit.builds"


# --- what never passes


def test_pump_that_comes_on_proves_nothing() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, B_pump="offx300 onx20 offx1")
    assert ended(watch).state is SealState.NOT_PASSED
    assert why(watch, "B") == "pump_came_on"
    assert ended(watch).circuits["B"].text.values["after_s"] == pytest.approx(30.0, abs=1.0)
    assert ended(watch).circuits["A"].state is SealState.PASSED  # watched to the end all the same


def test_vacuum_that_rises_has_a_pump_behind_it_whatever_the_pump_says() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, B="64x300 64>67x50 67x1")
    assert why(watch, "B") == "rose"


def test_pump_that_does_not_report_is_known_by_its_work() -> None:
    watch = attached()
    rest(watch, 12.0, A_pump="-x1", B_pump="-x1")
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, A_pump="-x1", B_pump="-x1", B="64>63x300 63>64.2x10 64.2x1")
    assert ended(watch).circuits["B"].state is SealState.NOT_PASSED
    assert ended(watch).circuits["A"].state is SealState.PASSED


def test_gap_in_the_readings_is_not_passed_though_they_come_back() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, A="64x200 _x50 64x1", B="64x1")
    assert {why(watch, name) for name in "AB"} == {"no_reading"}
    assert ended(watch).state is SealState.NOT_PASSED


def test_one_silent_circuit_is_not_passed_alone() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, B="64x200 -x100 64x1")
    assert ended(watch).circuits["A"].state is SealState.PASSED
    assert why(watch, "B") == "no_reading"


@pytest.mark.parametrize("said", ["nan", "200"])
def test_reading_that_is_none_is_not_passed(said: str) -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0, B=f"64x200 {said}x1 64x1")
    assert why(watch, "B") == "sensor_fault"


def test_silence_at_the_very_end_passes_nothing() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 59.0)
    watch.wait(10.0)
    assert ended(watch).state is SealState.NOT_PASSED
    assert why(watch, "A") == "no_reading"


def test_load_that_comes_on_breaks_the_test_off() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 30.0, load_kg="0x200 0>600x30 600x1")
    assert ended(watch).text.key == "seal.broken.load_on"
    assert {one.state for one in ended(watch).circuits.values()} == {SealState.NOT_PASSED}


def test_restart_breaks_the_test_off() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 20.0)
    watch.take(Resumed(watch.now_s - 1.0))
    assert ended(watch).text.key == "seal.broken.restart"


def test_other_pads_in_the_plan_break_the_test_off() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 20.0)
    watch.act("plan", pads=["A1", "A2", "A3"])
    rest(watch, 1.0)
    assert ended(watch).text.key == "seal.broken.pads"


def test_broken_off_by_hand_is_not_passed() -> None:
    watch = attached()
    assert watch.act("end_seal_test") == "refused.seal_test_none"
    watch.act("seal_test", test="pre_pick")
    assert watch.act("seal_test", test="shift") == "refused.seal_test_runs"
    assert watch.act("end_seal_test") == "done.end_seal_test"
    assert ended(watch).state is SealState.NOT_PASSED


# --- shift test


@pytest.mark.parametrize(
    ("lost_ratio", "held"),
    [(0.15, True), (0.24, False)],
    ids=["15 % lost", "24 % lost, but under its level after 5 min"],
)
def test_shift_test_asks_for_the_loss_in_four_minutes_and_the_level_for_five(lost_ratio: float, held: bool) -> None:
    """BTH-1 (from memory): at most 25 % in 4 min; EN 13155 5.2.2.7 (from memory): above the level for 5 min."""
    watch = attached()
    watch.act("seal_test", test="shift")
    rest(watch, 240.0, B=f"64>{64 * (1 - lost_ratio)}x2400")
    rest(watch, 55.0, B=f"{64 * (1 - lost_ratio)}x1")
    assert running(watch).circuits["A"].state is SealState.RUNNING
    rest(watch, 7.0, B=f"{64 * (1 - lost_ratio)}x1")
    assert (ended(watch).state is SealState.PASSED) is held
    if held:
        assert say(ended(watch).circuits["B"].text).startswith("Held: from 64.")
    else:
        assert why(watch, "B") == "low.warning"  # 48.6 kPa; its warning level is 52


@pytest.mark.parametrize(("end_kpa", "passes"), [(45.6, True), (44.4, False)])
def test_a_quarter_lost_in_four_minutes_is_the_most(end_kpa: float, passes: bool) -> None:
    """From 60 kPa, 45.0 at 240 s is the last that passes (CHECK: v(240 s) >= 45.0 kPa); the level lies lower here."""
    low = {name: circuit.__class__(name, 30.0, 62.0) for name, circuit in dock().circuits.items()}
    watch = Watch(dock(circuits=low))
    watch.play(
        A="0>60x100 60x150", B="0>60x100 60x150", A_pump="onx100 offx1", B_pump="onx100 offx1", load_kg="0x1", **STILL
    )
    watch.act("seal_test", test="shift")
    for signals in ({"A": "60x1", "B": f"60>{end_kpa}x2400"}, {"A": "60x620", "B": f"{end_kpa}x1"}):
        watch.play(load_kg="0x1", **STILL, **RESTING, **signals)
    assert (ended(watch).circuits["B"].state is SealState.PASSED) is passes
    if not passes:
        assert why(watch, "B") == "lost_too_much"


# --- who may, and what is kept


@pytest.mark.parametrize("wrong", [{}, {"test": "wide"}, {"test": 1}, {"test": ["shift"]}])
def test_unknown_test_is_refused(wrong: dict[str, object]) -> None:
    assert attached().act("seal_test", **wrong) == "refused.seal_test"


def test_test_is_made_before_the_pick_on_something_attached() -> None:
    assert Watch().act("seal_test", test="pre_pick") == "refused.seal_test_open"
    watch = attached()
    rest(watch, 10.0, load_kg="0>600x30 600x1")
    assert watch.act("seal_test", test="pre_pick") == "refused.seal_test_load_on"


def test_without_a_load_cell_it_ends_with_the_pick_that_is_told() -> None:
    watch = attached(**NO_CELL)
    assert watch.act("seal_test", test="pre_pick") == "done.seal_test"
    rest(watch, 10.0, load_kg="-x1")
    assert running(watch).state is SealState.RUNNING
    watch.act("picked_up")
    assert ended(watch).text.key == "seal.broken.load_on"


def fly(watch: Watch) -> dict[str, object]:
    """Pick, land, let go; the record of the lift."""
    rest(watch, 20.0, load_kg="0>600x30 600x1")
    rest(watch, 20.0, load_kg="600>0x30 0x1")
    rest(watch, 5.0, A="64>0x30 0x1", B="64>0x30 0x1")
    return summary_dict(watch.closed[-1].summary)


def test_every_test_stands_in_the_record_with_its_result_in_words() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick", who="first")
    rest(watch, 62.0, B="64x300 64>61x50 61x1")
    watch.act("seal_test", test="pre_pick", who="second")
    rest(watch, 62.0, B="61x1")
    record = fly(watch)
    tests = record["seal_tests"]
    assert isinstance(tests, list)
    assert [test["who"] for test in tests] == ["first", "second"]
    assert tests[1]["state"] == "passed"
    assert all(one["words"] for one in tests[1]["circuits"].values())
    assert [act["kind"] for act in record["actions"]] == ["seal_test", "seal_test"]  # type: ignore[attr-defined]
    assert all_ended(watch) == []


def test_shift_test_on_a_plate_is_told_with_every_lift_that_follows() -> None:
    watch = attached(seal_shift_test_s=240.0)
    watch.act("seal_test", test="shift")
    rest(watch, 302.0)
    rest(watch, 10.0, A="64>0x30 0x1", B="64>0x30 0x1")  # the plate comes off: no lift
    assert watch.closed == []
    assert watch.said["seal_tests"]["shift"]["state"] == "passed"  # type: ignore[index]
    for _ in range(2):
        rest(watch, 30.0, A="0>64x100 64x1", B="0>64x100 64x1")
        [test] = fly(watch)["seal_tests"]  # type: ignore[misc,attr-defined]
        assert (test["test"], test["state"]) == ("shift", "passed")


def test_pads_that_came_off_end_what_a_pre_pick_test_showed() -> None:
    watch = attached()
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0)
    assert watch.said["seal_tests"]["pre_pick"]["state"] == "passed"  # type: ignore[index]
    rest(watch, 10.0, A="64>0x30 0x1", B="64>0x30 0x1")
    assert watch.phase == "idle"
    assert watch.said["seal_tests"] == {"pre_pick": None, "shift": None}


def test_status_counts_down_and_is_told_at_once_when_a_test_begins_and_ends() -> None:
    watch = attached()
    seen_n = len(watch.told)
    watch.act("seal_test", test="pre_pick")
    rest(watch, 62.0)
    told = [(t.changed, t.status.seal_tests.latest(PRE_PICK)) for t in watch.told[seen_n:]]
    states = [(changed, test.state) for changed, test in told if test is not None]
    assert next(changed for changed, state in states if state is SealState.RUNNING)
    assert next(changed for changed, state in states if state is SealState.PASSED)
    left = [seal_test_dict(test, 0.0, watch.now_s)["left_s"] for _, test in told if test and test.begun_s]
    assert left[-1] is None


def test_the_same_history_gives_the_same_tests() -> None:
    first, second = attached(), attached()
    for watch in (first, second):
        watch.act("seal_test", test="pre_pick")
        rest(watch, 62.0, B="64>60x620")
    assert all_ended(first) == all_ended(second)
