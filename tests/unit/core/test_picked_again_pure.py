"""What is remembered since "landed and fixed", and from when on the lifter is taken to carry again."""

import pytest

from monitor.core.picked_again import Landed, follow, picked_again


@pytest.mark.parametrize(
    ("before", "climb_from", "climb_kpa", "any_open", "after"),
    [
        (None, "height", 0.5, False, Landed("height", 0.5, False)),
        (None, "height", 0.5, True, Landed("height", 0.5, True)),
        (Landed("height", 0.5), "height", 0.3, False, Landed("height", 0.3, False)),
        (Landed("height", 0.5), "height", 0.8, False, Landed("height", 0.5, False)),
        (Landed("height", 0.5, True), "height", 0.8, False, Landed("height", 0.5, True)),
        (Landed("height", 0.5, True), "ambient", 0.8, False, Landed("ambient", 0.8, True)),
        (Landed("height", 0.5), "height", None, False, Landed("height", None, False)),
        (Landed("height", None), "height", 0.8, True, Landed("height", 0.8, True)),
    ],
    ids=["first", "first open", "lower", "higher", "was open", "another source", "lost sight of", "seen again"],
)
def test_lowest_place_by_one_source_is_remembered(before, climb_from, climb_kpa, any_open, after):
    assert follow(before, climb_from=climb_from, climb_kpa=climb_kpa, any_open=any_open) == after


@pytest.mark.parametrize(
    ("landed", "climb_kpa", "all_sealed", "again"),
    [
        (Landed("height", None, True), None, True, True),
        (Landed("height", None, True), None, False, False),
        (Landed("height", None, False), None, True, False),
        (Landed("height", 0.1), None, True, False),
        (Landed("height", None), 9.0, True, False),
        # air weighs 12 Pa a metre near the ground (ICAO standard atmosphere): 3 m are 0.036 kPa, 6 m 0.072 kPa
        (Landed("height", 0.1), 0.134, False, False),
        (Landed("height", 0.1), 0.138, False, True),
        (Landed("ambient", 0.1), 0.170, False, False),
        (Landed("ambient", 0.1), 0.174, False, True),
    ],
)
def test_sealed_anew_or_hoisted_is_picked_again(landed, climb_kpa, all_sealed, again):
    assert picked_again(landed, climb_kpa=climb_kpa, all_sealed=all_sealed) is again
