"""A leak is seen however the pads were pumped down, and however finely the gauge reads: through the whole engine."""

import pytest

from tests.histories import RESTING, STILL, Watch


@pytest.mark.parametrize("pumping_s", [5, 10, 20, 40])
@pytest.mark.parametrize("rate_hz", [5.0, 10.0])
def test_leak_after_a_quick_or_slow_pump_down_is_seen(pumping_s: int, rate_hz: float) -> None:
    watch = Watch()
    n = round(pumping_s * rate_hz)
    vacuum, pump = f"0x5 0>64x{n} 64x100", f"onx{n + 5} offx1"
    watch.play(A=vacuum, B=vacuum, A_pump=pump, B_pump=pump, load_kg="0x1", noise_kpa=0.05, rate_hz=rate_hz, **STILL)
    slow = round(60 * rate_hz)  # B loses 4 kPa in a minute, A nothing
    watch.play(A="64x1", B=f"64>60x{slow}", load_kg="0x1", noise_kpa=0.05, seed=1, rate_hz=rate_hz, **STILL, **RESTING)
    assert (watch.circuit("A"), watch.circuit("B")) == ("holding", "losing")
    leak = watch.status.facts.circuits["B"].leak
    assert leak is not None
    assert leak.leak_kpa_per_min == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize("digits", [0, 1, 2, 3, 9])
def test_gauge_of_any_resolution_shows_a_leak(digits: int) -> None:
    watch = Watch()
    how = {"noise_kpa": 0.05, "digits": digits}
    vacuum, pump = "0x5 0>64x200 64x100", "onx205 offx1"
    watch.play(A=vacuum, B=vacuum, A_pump=pump, B_pump=pump, load_kg="0x1", **how, **STILL)  # type: ignore[arg-type]
    watch.play(A="64x1", B="64>58x900", load_kg="0x1", seed=1, **how, **STILL, **RESTING)  # type: ignore[arg-type]
    leak = watch.status.facts.circuits["B"].leak
    assert leak is not None
    assert leak.leak_kpa_per_min == pytest.approx(4.0, rel=0.3)
    assert watch.circuit("A") == "holding"


def test_first_reading_of_many_digits_is_no_certainty() -> None:
    watch = Watch()
    vacuum = "3.123456789x1 0x30 0>64x200 64x300"
    watch.play(A=vacuum, B=vacuum, A_pump="onx231 offx1", B_pump="onx231 offx1", load_kg="0x1")  # warnings are errors
    leak = watch.status.facts.circuits["A"].leak
    assert leak is not None
    assert leak.leak_kpa_per_min is None or abs(leak.leak_kpa_per_min) < 1.0
