"""Cases a hostile review of the whole engine found: each stays found."""

import itertools

from tests.histories import carry, carrying


def test_fall_before_a_value_that_is_not_one_is_not_forgotten() -> None:
    watch = carrying()
    carry(watch, A="63x5 40x1 nanx2", B="63x5 40x1 nanx2")
    watch.wait(1.5)
    assert watch.call == "land_now"


def test_land_now_does_not_turn_to_holding_in_an_instant() -> None:
    watch = carrying()
    carry(watch, B="63x5 45x30 63x20")
    assert watch.call == "land_now"
    carry(watch, B="63x150")
    assert watch.call != "land_now"


def test_flicker_at_the_warning_level_does_not_flutter() -> None:
    watch = carrying()
    told = carry(watch, noise_kpa=0.0, B="53x10" + " 52x10 53x10" * 12)
    calls = [status.called.call.value for status in told]
    assert sum(a != b for a, b in itertools.pairwise(calls)) <= 2
