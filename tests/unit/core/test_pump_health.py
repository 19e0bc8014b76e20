"""Is a pump still what it was? Pump-down by this lifter's own history, duty over one lift; both sides of each limit."""

import pytest

from monitor.core.duty import Duty, note_duty
from monitor.core.events import LastLifts
from monitor.core.past_lifts import PastLifts
from monitor.core.readings import Pump
from tests.histories import Watch, dock, values_of

QUIET = {"load_kg": "0x1", "tilt_deg": "90x1"}
USUAL = PastLifts(pump_down_s={"A": (8.0,) * 5, "B": (8.0,) * 5})


# --- what past lifts teach


@pytest.mark.parametrize(
    ("times_s", "limit_s"),
    [
        ((), None),
        ((10.0,) * 4, None),
        ((10.0,) * 5, 15.0),
        ((4.0,) * 5, 7.0),  # three seconds at least
        ((10.0, 10.0, 30.0, 10.0, 10.0), 15.0),  # one bad seal teaches nothing
        ((99.0,) * 30 + (10.0,) * 30, 15.0),  # the last thirty only
    ],
)
def test_pump_down_is_slow_by_this_circuits_own_history(times_s: tuple[float, ...], limit_s: float | None) -> None:
    assert PastLifts(pump_down_s={"A": times_s}).pump_down_limit_s("A") == limit_s
    assert PastLifts(pump_down_s={"A": times_s}).pump_down_limit_s("B") is None


def test_what_a_lift_did_not_show_teaches_nothing() -> None:
    past = PastLifts((100.0,), {"A": (8.0,)}).with_lift(None, {"A": None, "B": 9.0})
    assert past == PastLifts((100.0,), {"A": (8.0,), "B": (9.0,)})


def test_thirty_lifts_are_kept() -> None:
    past = PastLifts()
    for number in range(40):
        past = past.with_lift(float(number), {"A": float(number)})
    assert past.landing_s == past.pump_down_s["A"] == tuple(float(number) for number in range(10, 40))


# --- pump-down slower than usual


def pumping(for_n: int, *, past: PastLifts = USUAL, pump: str = "onx1") -> Watch:
    """Both circuits pumped down; A is drawn from 10 kPa to its warning level of 52 kPa in ``for_n`` tenths of a second."""
    watch = Watch(dock())
    watch.take(LastLifts("dock-6", past))
    watch.play(A=f"0x10 10>52x{for_n + 1} 52>64x20 64x100", B="0x10 0>64x90 64x100", A_pump=pump, B_pump=pump, **QUIET)
    return watch


@pytest.mark.parametrize(("for_n", "raised"), [(118, False), (122, True)])
def test_pump_down_half_as_long_again_is_slow(for_n: int, raised: bool) -> None:
    assert ("pump_down_slow" in pumping(for_n).raised()) is raised


def test_slow_pump_down_is_told_while_it_lasts() -> None:
    watch = Watch(dock())
    watch.take(LastLifts("dock-6", USUAL))
    watch.play(A="0x10 10>30x140", B="0x10 0>64x90 64x60", A_pump="onx1", B_pump="onx1", **QUIET)
    assert watch.alarms["pump_down_slow A"] == "unacknowledged"


def test_pads_that_hold_little_without_a_running_pump_are_no_slow_pump_down() -> None:
    watch = Watch(dock())
    watch.take(LastLifts("dock-6", USUAL))
    watch.play(A="0x10 10>30x50 30x300", B="0x1", A_pump="onx60 offx1", B_pump="offx1", **QUIET)
    assert "pump_down_slow" not in watch.raised()


def test_first_lifts_of_a_lifter_have_no_history() -> None:
    assert "pump_down_slow" not in pumping(400, past=PastLifts()).raised()


def test_pump_that_does_not_report_is_judged_by_its_pump_down_too() -> None:
    assert "pump_down_slow" in pumping(200, pump="-x1").raised()


def test_a_lift_that_ends_teaches_its_pump_down_and_its_record_tells_it() -> None:
    watch = pumping(80, past=PastLifts())
    watch.play(A="64x1", B="64x1", **{**QUIET, "load_kg": "0>600x10 600x50 600>0x10 0x60"})
    watch.play(A="64>0x20 0x20", B="64>0x20 0x20", **QUIET)
    assert watch.phase == "released"
    assert watch.state.lifters["dock-6"].past.pump_down_s["A"] == (pytest.approx(8.0, abs=0.2),)
    assert watch.closed[0].summary.log.circuits["A"].condition.pump_down_s == pytest.approx(8.0, abs=0.2)


# --- duty


def duty(pump: str, *, vacuum: str = "62x1", step_s: float = 1.0) -> Duty:
    found, values = Duty(), values_of(vacuum)
    for number, word in enumerate(values_of(pump)):
        value = values[min(number, len(values) - 1)]
        assert isinstance(value, float)
        note_duty(found, None if word == "quiet" else Pump(str(word)), value, 52.0, number * step_s)
    return found


def test_duty_is_running_time_over_the_time_from_start_to_start() -> None:
    found = duty("offx5 onx10 offx30 onx20 offx20 onx1")
    assert (found.first_ratio, found.last_ratio) == (0.25, 0.5)


def test_one_long_stroke_is_no_rise() -> None:
    assert duty("offx5 onx10 offx30 onx20 offx20 onx10 offx30 onx1").steady_ratio == 0.25


@pytest.mark.parametrize(("first_n", "limit"), [((4, 96), 0.12), ((20, 60), 0.5)])
def test_duty_has_risen_when_it_is_twice_the_first_and_more(first_n: tuple[int, int], limit: float) -> None:
    on_n, off_n = first_n
    assert duty(f"offx5 onx{on_n} offx{off_n} onx1").limit_ratio() == pytest.approx(limit)


def test_first_pump_down_is_no_stroke_of_these() -> None:
    found = duty("offx5 onx20 offx40 onx5 offx20 onx1", vacuum="0x10 0>62x15 62x100")
    assert found.first_ratio == pytest.approx(0.2)


def test_silence_and_an_unreported_pump_begin_anew() -> None:
    assert duty("offx5 onx10 quietx3 onx5 offx20 onx10").first_ratio is None
    assert duty("offx5 onx10 offx20 onx5", step_s=4.0).first_ratio is None


def strokes(*shares: tuple[int, int]) -> str:
    return " ".join(f"onx{on_n} offx{off_n}" for on_n, off_n in shares)


@pytest.mark.parametrize(
    ("shares", "raised"),
    [
        ([(20, 180)] * 5, False),
        ([(20, 180), (20, 180), (40, 160), (40, 160), (20, 20)], True),  # 0.1, then 0.2 twice
        ([(20, 180), (20, 180), (40, 165), (40, 165), (20, 20)], False),  # 0.195
        ([(20, 180), (20, 180), (60, 60), (20, 180), (20, 20)], False),
    ],
)
def test_duty_that_rises_over_a_lift_raises_its_alarm(shares: list[tuple[int, int]], raised: bool) -> None:
    watch = Watch(dock())
    saw = " ".join(f"60>66x{on_n} 66>60x{off_n}" for on_n, off_n in shares)
    watch.play(A="0>66x80 66>60x60", B="0>66x80 66x60", A_pump="onx80 offx1", load_kg="0x100 600x40", tilt_deg="90x1")
    watch.play(A=saw, B="66x1", A_pump=strokes(*shares), load_kg="600x1", tilt_deg="90x1")
    assert ("pump_duty_rising" in watch.raised()) is raised


def test_duty_that_rose_in_the_last_lift_is_over_with_it() -> None:
    watch = Watch(dock())
    shares = [(20, 180), (20, 180), (60, 60), (60, 60), (60, 60), (20, 20)]
    saw = " ".join(f"60>66x{on_n} 66>60x{off_n}" for on_n, off_n in shares)
    watch.play(A="0>66x80 66>60x60", B="0>66x80 66x60", A_pump="onx80 offx1", load_kg="0x100 600x40", tilt_deg="90x1")
    watch.play(A=saw, B="66x1", A_pump=strokes(*shares), load_kg="600x1", tilt_deg="90x1")
    assert watch.alarms["pump_duty_rising A"] == "unacknowledged"
    watch.play(A="64x100", B="66x1", A_pump="offx1", load_kg="600>0x20 0x1", tilt_deg="90x1")
    watch.play(A="64>0x20 0x1400", B="66>0x20 0x1", A_pump="offx1", load_kg="0x1", tilt_deg="90x1")
    assert watch.phase == "idle"
    assert watch.alarms["pump_duty_rising A"] == "returned_unacknowledged"
